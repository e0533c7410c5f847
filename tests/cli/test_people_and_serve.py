"""The commands that look after accounts, and the one that serves: this machine, or others with TLS.

The certificate is a throw-away one of trustme; Python's own TLS client checks it.
"""

import http.client
import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from pathlib import Path

import pytest
import trustme
from click.testing import CliRunner, Result

from decussate.cli import main
from decussate.records import Store
from decussate.records.people import People

EVERYWHERE = "0.0.0.0"  # noqa: S104
PROGRAM = [sys.executable, "-c", "from decussate.cli import main; main()"]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def database(tmp_path: Path) -> Path:
    file = tmp_path / "records.db"
    made = run("people", "add", "Olga Example", "--role", "owner", "--database", file)
    assert made.exit_code == 0, made.output
    return file


def password_in(printed: str) -> str:
    return printed.splitlines()[0].rsplit(" ", 1)[1]


def test_people_are_added_changed_and_closed(database: Path):
    at = ("--database", database, "--by", "the keeper")
    given = password_in(run("people", "add", "Ed Example", "--role", "reader", *at).output)
    store = Store(database)
    assert People(store).check("Ed Example", given).must_change
    store.close()
    assert run("people", "role", "ed example", "examiner", *at).exit_code == 0
    again = password_in(run("people", "password", "Ed Example", *at).output)
    assert again != given
    listed = run("people", "list", "--database", database).output.splitlines()
    assert listed == ["Ed Example  examiner  given password", "Olga Example  owner  given password"]
    assert run("people", "close", "Ed Example", *at).exit_code == 0
    assert "Ed Example  examiner  closed" in run("people", "list", "--database", database).output
    told = run("audit", "--database", database).output
    assert told.count("the keeper") == 4
    assert given not in told
    assert run("audit", "--verify", "--database", database).exit_code == 0


def test_what_cannot_be_is_refused_in_one_sentence(database: Path, tmp_path: Path):
    for words, said in (
        (("close", "Olga Example"), "at least one owner"),
        (("role", "Nobody Example", "reader"), "open account"),
        (("add", "OLGA example", "--role", "reader"), "no account has or had"),
    ):
        refused = run("people", *words, "--database", database)
        assert refused.exit_code == 1
        assert said in refused.output
        assert "Traceback" not in refused.output
    missing = tmp_path / "missing.db"
    assert run("people", "add", "Ed", "--role", "reader", "--database", missing).exit_code == 1
    assert not missing.exists()


@pytest.mark.parametrize("host", [EVERYWHERE, "::", "192.0.2.7", "ward.example"])
def test_no_other_machine_is_served_without_tls(host: str, database: Path):
    refused = run("serve", "--host", host, "--database", database)
    assert refused.exit_code == 1
    assert "TLS for every address but this machine’s own" in refused.output
    assert "--certificate FILE and --certificate-key FILE" in refused.output


@pytest.fixture
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def tls(authority: trustme.CA, tmp_path: Path) -> tuple[Path, Path]:
    issued = authority.issue_cert("ward.example", "127.0.0.1")
    certificate, key = tmp_path / "certificate.pem", tmp_path / "key.pem"
    for blob in issued.cert_chain_pems:
        blob.write_to_path(str(certificate), append=True)
    issued.private_key_pem.write_to_path(str(key))
    return certificate, key


def test_a_certificate_and_its_key_come_together_and_fit(database, tls, tmp_path: Path):
    certificate, key = tls
    at = ("--host", EVERYWHERE, "--name", "ward.example", "--database", database)
    assert "together" in run("serve", *at, "--certificate", certificate).output
    assert "together" in run("serve", *at, "--certificate-key", key).output
    other = tmp_path / "other.pem"
    trustme.CA().issue_cert("ward.example").private_key_pem.write_to_path(str(other))
    refused = run("serve", *at, "--certificate", certificate, "--certificate-key", other)
    assert refused.exit_code == 1
    assert "the key that belongs to it" in refused.output


def test_others_are_served_only_once_there_is_an_owner_and_never_a_demonstration(tls, tmp_path):
    certificate, key = tls
    both = ("--certificate", certificate, "--certificate-key", key)
    at = ("--host", EVERYWHERE, "--name", "ward.example")
    new = ("--database", tmp_path / "new.db")
    assert "Make one first" in run("serve", *at, *both, *new).output
    assert "--demo" in run("serve", *at, *both, *new, "--demo").output
    nameless = run("serve", "--host", EVERYWHERE, *both, *new)
    assert "Give the names in its certificate" in nameless.output


def test_pages_are_served_with_tls(database: Path, tls, authority, tmp_path: Path):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    certificate, key = tls
    command = [
        *PROGRAM, "serve", "--host", EVERYWHERE, "--port", str(port), "--name", "ward.example",
        "--certificate", str(certificate), "--certificate-key", str(key),
        "--database", str(database),
    ]  # fmt: skip
    with (tmp_path / "log").open("w") as log:
        server = subprocess.Popen(command, stdout=log, stderr=log, cwd=tmp_path)
    try:
        trusted = ssl.create_default_context()
        authority.configure_trust(trusted)
        deadline = time.monotonic() + 60
        while True:
            try:
                secure = trusted.wrap_socket(
                    socket.create_connection(("127.0.0.1", port), 10),
                    server_hostname="ward.example",
                )
                break
            except OSError:
                assert server.poll() is None, (tmp_path / "log").read_text()
                assert time.monotonic() < deadline
                time.sleep(0.2)
        assert secure.version() in ("TLSv1.2", "TLSv1.3")
        client = http.client.HTTPSConnection("ward.example", port)
        client.sock = secure
        client.request("GET", "/", headers={"Host": "ward.example"})
        answer = client.getresponse()
        assert answer.status == 401
        assert b"Sign in" in answer.read()
        assert "max-age" in answer.headers["Strict-Transport-Security"]
        client.request("GET", "/", headers={"Host": "127.0.0.1"})
        assert client.getresponse().status == 421  # it is addressed by its own name alone
        plain = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        plain.request("GET", "/", headers={"Host": "ward.example"})
        with pytest.raises((http.client.HTTPException, OSError)):
            plain.getresponse()
    finally:
        os.kill(server.pid, signal.SIGTERM)
        server.wait(20)
