"""What the security requirements want written down, held against the program.

Checked against: OWASP Application Security Verification Standard 5.0.0, the requirements that
docs/safety/asvs.csv names beside each test; RFC 8996 (TLS 1.0 and 1.1 are not to be used).
"""

import ast
import csv
import json
import re
import ssl
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
import trustme
import uvicorn

from decussate.records import attachments, passwords, people, signed_in
from decussate.web import access_guesses, access_rate, access_tickets, limits, security

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "decussate"
PAGE = (ROOT / "docs" / "safety" / "security.md").read_text(encoding="utf-8")
TEMPLATES = SOURCE / "web" / "templates"


def section(title: str) -> str:
    found = re.search(rf"^## {title}\n(.*?)(?=^## |\Z)", PAGE, re.DOTALL | re.MULTILINE)
    assert found, title
    return " ".join(found[1].split())


def trees():
    for file in sorted(SOURCE.rglob("*.py")):
        yield file.relative_to(SOURCE).as_posix(), ast.parse(file.read_text(encoding="utf-8"))


def test_the_limits_are_those_of_the_program():
    said = section("Limits")
    for words in (
        f"{limits.LARGEST_HEAD // 1024} KB, {limits.HEAD_SECONDS:.0f} seconds",
        f"{security.LARGEST_BODY // 1024} KB, a file {attachments.LARGEST // 1024**2} MB; "
        f"{limits.BODY_SECONDS:.0f} seconds",
        f"{limits.DEEPEST_JSON} levels deep",
        f"{limits.CONNECTIONS} at once",
        f"{access_rate.A_MINUTE['person']} a minute of a person, "
        f"{access_rate.A_MINUTE['address']} of an address",
        f"{access_guesses.FREE['account']} free, {access_guesses.FREE['address']} of an address",
        f"up to {access_guesses.LONGEST_WAIT.total_seconds():.0f} seconds",
        f"forgotten after {access_guesses.FORGOTTEN_AFTER.total_seconds() / 60:.0f} minutes",
        f"locks after {people.USUAL_LOCK} minutes "
        f"({people.LOCK_MINUTES[0]} to {people.LOCK_MINUTES[1]})",
        f"ends after {signed_in.ABSOLUTE.total_seconds() / 3600:.0f} hours",
        f"{passwords.SHORTEST} to {passwords.LONGEST} characters",
        f"within {access_tickets.TICKET_FOR.total_seconds() / 60:.0f} minutes",
    ):
        assert words in said, words


def test_every_way_to_sign_in_is_written_down():
    said = section("Ways to sign in")
    for way in ("password", "second factor", "read token", "patient's screen", "invented examiner"):
        assert way in said


def test_kinds_of_data_have_their_protection():
    rows = [row for row in section("Kinds of data").split(" | ") if row.strip(" |-")]
    for kind in ("secret", "key", "of a patient", "of a person", "of the program"):
        assert any(kind in row for row in rows), kind


def test_what_is_logged_is_written_down():
    said = section("What is logged")
    for what in ("sign-ins", "failures", "refused", "second factors", "standard error"):
        assert what in said


def test_rules_for_what_is_entered_together_are_written_down():
    said = section("Rules for what is entered together")
    for rule in ("has a side where its test has sides", "needs a reason", "unit and range"):
        assert rule in said


CRYPTOGRAPHY = {
    "argon2", "hashlib", "hmac", "pyotp", "random", "secrets", "sqlcipher3", "ssl",
}  # fmt: skip


def test_every_use_of_cryptography_is_in_the_inventory():
    said = section("Cryptography")
    using = set()
    for name, tree in trees():
        for node in ast.walk(tree):
            names = []
            if isinstance(node, ast.Import):
                names = [one.name for one in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [str(node.module)]
            if {one.split(".")[0] for one in names} & CRYPTOGRAPHY:
                using.add(name)
    assert {name for name in using if name not in said} == set()


def test_no_program_is_started_but_the_scanner_and_nothing_is_evaluated():
    starts, evaluates = set(), set()
    for name, tree in trees():
        for node in ast.walk(tree):
            modules = (
                {one.name for one in node.names}
                if isinstance(node, ast.Import)
                else {str(node.module)}
                if isinstance(node, ast.ImportFrom)
                else set()
            )
            if "subprocess" in modules:
                starts.add(name)
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func)
                if called in {"eval", "exec", "__import__"}:
                    evaluates.add(name)
                if re.fullmatch(r"os\.(system|popen|exec\w*|spawn\w*)", called):
                    starts.add(name)
                assert not any(one.arg == "shell" for one in node.keywords), name
    assert starts == {"records/scanning.py"}
    assert evaluates == set()


async def _nothing(*_: object) -> None:
    """A program that answers nothing: only its encryption is looked at."""


@pytest.fixture(scope="module")
def served(tmp_path_factory) -> ssl.SSLContext:
    """The context that `decussate serve` gives its server."""
    folder = tmp_path_factory.mktemp("tls")
    issued = trustme.CA().issue_cert("ward.example")
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    issued.cert_chain_pems[0].write_to_path(certificate)
    issued.private_key_pem.write_to_path(key)
    config = uvicorn.Config(
        _nothing, ssl_certfile=certificate, ssl_keyfile=key, **limits.SERVER_LIMITS
    )
    config.load()
    assert config.ssl is not None
    return config.ssl


def shake_hands(server: ssl.SSLContext, **client: ssl.TLSVersion) -> str | None:
    """Let a client of some versions meet the server in memory; return the version agreed on."""
    asks = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    asks.check_hostname, asks.verify_mode = False, ssl.CERT_NONE
    asks.set_ciphers("ALL:@SECLEVEL=0")
    for name, version in client.items():
        setattr(asks, name, version)
    here, there = ssl.MemoryBIO(), ssl.MemoryBIO()
    sides = [
        asks.wrap_bio(here, there, server_hostname="ward.example"),
        server.wrap_bio(there, here, server_side=True),
    ]
    for _ in range(10):
        for side in sides:
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
    return sides[0].version()


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion.TLSv1")
def test_nothing_older_than_tls_1_2_is_spoken(served):
    assert served.minimum_version >= ssl.TLSVersion.TLSv1_2
    assert shake_hands(served) == "TLSv1.3"
    older = {"minimum_version": ssl.TLSVersion.TLSv1, "maximum_version": ssl.TLSVersion.TLSv1_1}
    with pytest.raises(ssl.SSLError):
        shake_hands(served, **older)


def test_every_cipher_is_strong(served):
    for one in served.get_ciphers():
        assert one["strength_bits"] >= 128, one["name"]
        assert not re.search(r"RC4|3DES|NULL|EXPORT|MD5|anon", one["name"]), one["name"]


def test_nothing_hinders_pasting_or_a_manager_of_passwords():
    for file in TEMPLATES.rglob("*.html"):
        text = file.read_text(encoding="utf-8")
        for field in re.findall(r'<input[^>]*type="password"[^>]*>', text):
            assert "autocomplete=" in field, file.name
            assert 'autocomplete="off"' not in field, file.name
    for file in (SOURCE / "web" / "static").glob("*.js"):
        assert not re.search(r"[\"'](on)?paste[\"']", file.read_text(encoding="utf-8")), file.name


def test_signing_out_is_on_every_page():
    base = (TEMPLATES / "base.html").read_text(encoding="utf-8")
    assert 'action="/sign-out"' in base
    for file in TEMPLATES.glob("*.html"):
        text = file.read_text(encoding="utf-8")
        whole = "<html" in text and file.name != "base.html"
        patients = "patient" in file.name or "screen" in file.name or "letter" in file.name
        assert not whole or patients or 'action="/sign-out"' in text, file.name


def test_the_bill_of_materials_is_that_of_the_lock_file():
    tool = ROOT / "tools" / "bill_of_materials.py"
    done = subprocess.run([sys.executable, tool, "--check"], check=False)
    assert done.returncode == 0
    bill = json.loads((ROOT / "docs" / "safety" / "bill_of_materials.json").read_text("utf-8"))
    locked = re.findall(
        r"^([\w.-]+)==([^ \\;]+)", (ROOT / "requirements.lock").read_text("utf-8"), re.MULTILINE
    )
    assert {(one["name"].lower(), one["version"]) for one in bill["components"]} == {
        (name.lower(), version) for name, version in locked
    }


def test_times_to_mend_libraries_are_written_down_and_kept():
    """Every library of the lock file was looked at as it is locked, and none waits too long."""
    said = section("Libraries")
    for words in ("each month", "within 7 days", "within 30", "within 180"):
        assert words in said
    table = (ROOT / "docs" / "safety" / "libraries.csv").read_text(encoding="utf-8")
    looked = list(csv.DictReader(table.splitlines()))
    locked = re.findall(
        r"^([\w.-]+)==([^ \\;]+)", (ROOT / "requirements.lock").read_text("utf-8"), re.MULTILINE
    )
    assert [(one["library"], one["version"]) for one in looked] == locked
    for one in looked:
        date.fromisoformat(one["looked_at"])
        if one["newest"] != one["version"]:
            assert f"{one['library']} ({one['version']}, newest {one['newest']})" in said, one


def test_the_server_writes_no_log_of_addresses():
    tree = ast.parse((SOURCE / "cli" / "serve.py").read_text(encoding="utf-8"))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    run = next(call for call in calls if ast.unparse(call.func) == "uvicorn.run")
    given = {one.arg: ast.unparse(one.value) for one in run.keywords}
    assert given["access_log"] == "False"
