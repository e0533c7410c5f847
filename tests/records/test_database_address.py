"""A database on another host is reached with TLS, and its certificate is checked.

Checked against: OWASP Application Security Verification Standard 5.0.0, 12.3.1 and 12.3.2;
PostgreSQL documentation, libpq, SSL support (`verify-full` checks the chain and the host's name).
"""

from types import SimpleNamespace

import pytest

from decussate.errors import BadInput
from decussate.records import database

pytest.importorskip("psycopg")


@pytest.mark.parametrize(
    ("host", "wanted"),
    [
        ("records.example", {"sslmode": "verify-full"}),
        ("192.0.2.7", {"sslmode": "verify-full"}),
        ("127.0.0.1", {}),
        ("localhost", {}),
    ],
)
def test_the_certificate_of_another_host_is_checked(monkeypatch, host, wanted):
    seen = []
    make = database.create_engine

    def noted(url, **words):
        seen.append(words["connect_args"])
        return make(url, **words)

    monkeypatch.setattr(database, "create_engine", noted)
    database._postgresql(f"postgresql://name@{host}/records")
    assert seen == [wanted]


def test_another_host_without_tls_is_refused_whatever_the_address_says():
    _, engine = database._postgresql("postgresql://name@192.0.2.7/records?sslmode=disable")
    (check,) = (
        one for one in engine.pool.dispatch.connect if getattr(one, "__name__", "") == "_check"
    )
    plain = SimpleNamespace(
        info=SimpleNamespace(hostaddr="192.0.2.7", host="192.0.2.7"),
        pgconn=SimpleNamespace(ssl_in_use=False),
    )
    with pytest.raises(BadInput, match="not encrypted"):
        check(plain, None)
