"""The command that makes, lists and ends read tokens; what it makes lets a program read."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from fastapi.testclient import TestClient

from decussate.cli import main
from decussate.records import Store
from decussate.records.people import People
from decussate.records.roles import Role
from decussate.web.app import create_app
from signing_in import PASSWORD

WHAT = "the ward’s list"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def database(tmp_path: Path) -> Path:
    file = tmp_path / "records.db"
    store = Store(file)
    People(store).add_owner("Olga Example", PASSWORD)
    People(store).add("Rita Example", Role.READER)
    store.close()
    return file


def may_read(database: Path, token: str) -> bool:
    app = create_app(database, demo=False)
    program = TestClient(
        app, base_url="http://127.0.0.1:8000", headers={"authorization": f"Bearer {token}"}
    )
    answer = program.get("/api/patients")
    app.state.store.close()
    return answer.status_code == 200


def test_a_token_is_made_once_listed_and_ended(database: Path):
    at = ("--database", database)
    made = run("tokens", "make", "olga example", "--for", WHAT, *at, "--by", "the keeper")
    assert made.exit_code == 0, made.output
    token = made.stdout.strip()  # alone there, so that it can be handed on
    assert "Olga Example (owner)" in made.stderr
    assert may_read(database, token)
    for words in (("tokens", "list"), ("tokens", "list", "Olga Example")):
        listed = run(*words, *at).output
        assert listed.startswith(f"Olga Example  {WHAT}  until 20")
        assert token not in listed
    assert run("tokens", "list", "Rita Example", *at).output == ""
    ended = run("tokens", "end", "Olga Example", "--for", WHAT, *at, "--by", "the keeper")
    assert ended.exit_code == 0, ended.output
    assert not may_read(database, token)
    assert run("tokens", "list", *at).output == ""
    trail = run("audit", *at).output
    assert trail.count(f": {WHAT}") == 2
    assert trail.count("the keeper") == 2
    assert token not in trail
    assert run("audit", "--verify", *at).exit_code == 0


def test_what_cannot_be_is_refused_in_one_sentence(database: Path, tmp_path: Path):
    run("tokens", "make", "Olga Example", "--for", WHAT, "--database", database)
    for words, said in (
        (("make", "Nobody Example", "--for", WHAT), "a person with an account"),
        (("make", "Rita Example", "--for", WHAT), "password of their own"),
        (("make", "Olga Example", "--for", WHAT), "no other token"),
        (("make", "Olga Example", "--for", ""), "1 to 60 letters"),
        (("end", "Olga Example", "--for", "another"), "a token that Olga Example has"),
        (("list", "Nobody Example"), "a person with an account"),
    ):
        refused = run("tokens", *words, "--database", database)
        assert refused.exit_code == 1
        assert said in refused.output
        assert "Traceback" not in refused.output
    missing = tmp_path / "missing.db"
    assert run("tokens", "list", "--database", missing).exit_code == 1
    assert not missing.exists()
