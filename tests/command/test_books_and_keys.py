"""`settle migrate`, `keys create`, `terms example`, `serve`, `openapi` and the help."""

import json
import re
import signal
import subprocess

import pytest
import requests

from .conftest import COMMAND, PATIENCE_S, surroundings

EXAMPLE = re.compile(r"FILL IN \(for example ([^)]*)\)")


@pytest.fixture
def books(settle):
    assert settle("migrate").returncode == 0


@pytest.fixture
def served(started, books):
    with started("serve", "--port", "0") as process:
        yield process, process.stderr.readline().split()[0]


@pytest.mark.usefixtures("books")
def test_making_a_key_prints_the_key_alone(settle):
    found = settle("keys", "create", "--name", "till", "--scope", "quote", "--scope", "work")
    assert found.returncode == 0
    assert re.fullmatch(r"\S{43}\n", found.stdout)
    assert "“till”: quote, work" in found.stderr
    assert found.stdout.strip() not in found.stderr


@pytest.mark.usefixtures("books")
def test_a_scope_that_nobody_knows_is_refused_with_those_there_are(settle):
    found = settle("keys", "create", "--name", "till", "--scope", "everything")
    assert (found.returncode, found.stdout) == (1, "")
    assert "estimate quote settle work price read owner" in found.stderr


@pytest.mark.parametrize("command", [("serve",), ("keys", "create", "--name", "n", "--scope", "owner")])
def test_books_that_were_never_made_are_not_used_but_named_as_missing(settle, tmp_path, command):
    found = settle(*command)
    assert found.returncode == 1
    assert "settle migrate" in found.stderr
    assert list(tmp_path.iterdir()) == [], "and none are made"


def test_books_without_a_schema_are_not_served(settle, tmp_path):
    (tmp_path / "books.sqlite3").touch()
    found = settle("serve")
    assert found.returncode == 1
    assert "settle migrate" in found.stderr


def test_books_are_named_when_nobody_said_where_they_are(settle, tmp_path):
    at_home = {"SETTLE_DATABASE_URL": "", "HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path)}
    found = settle("migrate", **at_home)
    assert found.returncode == 0
    assert "SETTLE_DATABASE_URL is not set" in found.stderr


def test_a_setting_that_cannot_be_is_told_by_its_name(settle):
    found = settle("migrate", SETTLE_TIME_ZONE="Nowhere/At_All")
    assert found.returncode == 1
    assert "SETTLE_TIME_ZONE" in found.stderr


@pytest.mark.parametrize("asked", [signal.SIGINT, signal.SIGTERM])
def test_the_server_listens_on_loopback_answers_and_ends_when_asked(served, asked):
    process, address = served
    assert address.startswith("http://127.0.0.1:")
    session = requests.Session()
    session.trust_env = False
    assert session.get(f"{address}/readyz", timeout=30).json() == {"status": "ready"}
    session.close()
    process.send_signal(asked)
    assert process.wait(PATIENCE_S) == 0


def filled_in(terms):
    """Every placeholder replaced by the figure that it gives as an example."""
    return json.loads(EXAMPLE.sub(r"\1", json.dumps(terms, ensure_ascii=False)))


@pytest.fixture
def post_terms(settle, served):
    key = settle("keys", "create", "--name", "owner", "--scope", "owner").stdout.strip()

    def post(terms):
        with requests.Session() as session:
            session.trust_env = False
            headers = {"Authorization": f"Bearer {key}"}
            return session.post(f"{served[1]}/v1/terms", json=terms, headers=headers, timeout=30)

    return post


KINDS_OF_TERMS = pytest.mark.parametrize("kind", [(), ("--counter",)], ids=["refining", "counter"])


@KINDS_OF_TERMS
def test_terms_to_fill_in_are_refused_until_they_are_and_accepted_then(settle, post_terms, kind):
    found = settle("terms", "example", *kind)
    terms = json.loads(found.stdout)
    assert "POST /v1/terms" in found.stderr
    refused = post_terms(terms)
    assert refused.status_code == 422
    assert len(refused.json()["errors"]) > 20
    accepted = post_terms(filled_in(terms))
    assert accepted.status_code == 201, accepted.json()


@KINDS_OF_TERMS
def test_every_figure_of_the_terms_to_fill_in_is_a_placeholder(settle, kind):
    printed = settle("terms", "example", *kind).stdout
    outside = EXAMPLE.sub("", printed)
    assert not re.search(r"\d", re.sub(r'"[a-z ]+": "[a-z_ ]*"', "", outside))


def test_one_figure_left_to_fill_in_is_enough_to_be_refused(settle, post_terms):
    terms = json.loads(settle("terms", "example").stdout)
    left = filled_in(terms)
    left["metals"]["gold"]["accountable"] = terms["metals"]["gold"]["accountable"]
    refused = post_terms(left)
    assert [error["pointer"] for error in refused.json()["errors"]] == ["/metals/gold/accountable"]


def test_the_openapi_document_is_the_one_that_the_server_publishes(settle, served):
    found = settle("openapi")
    with requests.Session() as session:
        session.trust_env = False
        published = session.get(f"{served[1]}/openapi.json", timeout=30).json()
    assert json.loads(found.stdout) == published


HELPED = [
    ("demo",),
    ("serve",),
    ("migrate",),
    ("keys", "create"),
    ("terms", "example"),
    ("estimate",),
    ("openapi",),
]


@pytest.mark.parametrize("command", HELPED, ids=" ".join)
def test_each_command_has_help_that_shows_an_example(settle, command):
    found = settle(*command, "--help")
    assert "Example:  " in found.stdout
    assert f"settle {' '.join(command)}" in found.stdout.partition("Example:")[2]


def test_help_imports_nothing_heavy():
    environment = surroundings(PYTHONPROFILEIMPORTTIME="1")
    found = subprocess.run([*COMMAND, "--help"], env=environment, capture_output=True, encoding="utf-8")
    assert found.returncode == 0
    imported = {line.rpartition("|")[2].strip() for line in found.stderr.splitlines()}
    assert "click" in imported
    assert not imported & {"flask", "sqlalchemy", "pint", "marshmallow", "rich", "requests", "waitress"}
