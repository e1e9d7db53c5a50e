"""An app of its own with one tiny resource that uses every convention, over a real database."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import stores
from flask import Flask, g
from flask.testing import FlaskClient
from sqlalchemy import insert, select, update

from api.app import create_app
from api.http import running
from api.http.access import scope
from api.http.body import body
from api.http.conditional import if_match, must_match, tagged, version
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query
from api.schemas import fields
from api.schemas.answers import Answer
from api.schemas.base import Schema, Weight
from api.settings import Settings
from settle.books.access import make_key
from settle.books.listing import page_of
from settle.books.tables import scales
from settle.books.work import THE_COMMAND, Books, open_books
from settle.reckoning.problems import Fault, Refused
from settle.reckoning.reading import Reader

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


class ThingSchema(Schema):
    """A thing, as it is posted."""

    name = fields.Text(required=True, least=1, most=20)
    division = Weight(required=True)
    legs = fields.Count(most=8)
    digital = fields.Flag()


class WantedSchema(Schema):
    """What a list may be narrowed by."""

    since = fields.Day()


class ThingAnswer(Answer):
    """A thing, as it is shown."""

    may_lack = ("name", "secret", "person")

    id = fields.Text()
    name = fields.Text()
    secret = fields.Text()
    person = fields.Text(allow_none=True)


def a_resource() -> Blueprint:
    blp = Blueprint("things", __name__, url_prefix="/v1/things")

    def found(thing_id: str) -> Any:
        row = the_work().connection.execute(select(scales).where(scales.c.id == thing_id)).first()
        if row is None:
            raise Refused(Fault("not-found", "", "no such thing", "an id"))
        return row

    @blp.route("", methods=["POST"])
    @scope("owner", "work")
    @keeps(secrets=["secret"], dry_run=True)
    @body(ThingSchema)
    @answers(201, ThingAnswer)
    def post_thing(data: dict[str, Any], faults: Any) -> Any:
        """Keep a thing."""
        Reader(data, faults).weight("division")
        faults.refuse_if_any()
        work = the_work()
        row = {"id": work.name("SC"), "name": data["name"], "data": data, "made_at": work.now}
        work.connection.execute(insert(scales).values(row))
        if data["name"] == "trouble":
            raise Refused(Fault("wrong-state", "", "not now", "later"))
        if data["name"] == "slip":
            raise RuntimeError("a detail that nobody may see")
        shown = {"id": row["id"], "secret": "s3cret", "person": work.actor.person}
        return tagged(shown, "secret", Location=f"/v1/things/{row['id']}")

    @blp.route("/forgetful", methods=["POST"])
    @scope("work")
    @keeps(demanded=True)
    @body(ThingSchema)
    @answers(201)
    def forget(data: dict[str, Any], _faults: Any) -> Any:
        """Keep without asking for faults."""
        work = the_work()
        name = data["name"]
        row = {"id": work.name("SC"), "name": name, "data": {}, "made_at": work.now}
        work.connection.execute(insert(scales).values(row))
        return {"id": row["id"]}

    @blp.route("")
    @scope("work")
    @reads
    @paged
    @query(WantedSchema)
    @answers(200)
    def list_things(page: Any, asked: dict[str, str]) -> Any:
        """The things, newest first."""
        wanted = (
            select(scales).where(scales.c.made_at >= datetime.fromisoformat(asked["since"] + "T00:00:00Z"))
            if asked
            else select(scales)
        )
        listed = page_of(the_work(), wanted, scales, page)
        return page_answer([{"id": row.id} for row in listed.rows], listed.next_after)

    @blp.route("/<thing_id>")
    @scope("quote")
    @reads
    @answers(200, ThingAnswer)
    def get_thing(thing_id: str) -> Any:
        """One thing."""
        row = found(thing_id)
        return tagged({"id": row.id, "name": row.name})

    @blp.route("/<thing_id>", methods=["PATCH"])
    @scope("work")
    @keeps()
    @if_match
    @body(ThingSchema)
    @answers(200, ThingAnswer)
    def patch_thing(data: dict[str, Any], faults: Any, thing_id: str) -> Any:
        """Change a thing that was seen."""
        faults.refuse_if_any()
        row = found(thing_id)
        must_match(version({"id": row.id, "name": row.name}))
        changed = {"name": data["name"]}
        the_work().connection.execute(update(scales).where(scales.c.id == thing_id).values(changed))
        return tagged({"id": row.id, "name": data["name"]})

    @blp.route("/<thing_id>/unseen", methods=["POST"])
    @scope("work")
    @keeps()
    @if_match
    @answers(200)
    def unseen(thing_id: str) -> Any:
        """Change without looking at the version."""
        changed = {"name": "changed unseen"}
        the_work().connection.execute(update(scales).where(scales.c.id == thing_id).values(changed))
        return {}

    @blp.route("/secrets")
    @scope("owner")
    @reads
    @answers(200)
    def secrets() -> Any:
        """What is the owner's alone."""
        return {"who": g.actor.key_name}

    return blp


@pytest.fixture
def books(tmp_path: Path) -> Iterator[Books]:
    opened = open_books(stores.migrated(tmp_path / "books.sqlite3"), lambda: NOW)
    yield opened
    opened.close()


@pytest.fixture
def app(books: Books) -> Flask:
    settings = Settings(str(books.engine.url), body_limit=20_000)
    return create_app(settings, books=books, blueprints=[running.blp, a_resource()])


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def impatient(books: Books) -> Iterator[FlaskClient]:
    """A client of another process, so to speak: its own connections, and no patience with a lock."""
    url = str(books.engine.url)
    opened = open_books(url, lambda: NOW)
    stores.impatient(opened.engine)
    yield create_app(Settings(url), books=opened, blueprints=[a_resource()]).test_client()
    opened.close()


@pytest.fixture
def key(books: Books) -> Any:
    def made(*scopes: str) -> dict[str, str]:
        with books.writing(THE_COMMAND) as work:
            return {"Authorization": f"Bearer {make_key(work, 'till', scopes)}"}

    return made


@pytest.fixture
def post(client: FlaskClient, key: Any) -> Any:
    """Post JSON text or data with a key of scope `work`."""
    work = key("work")

    def posted(sent: Any, path: str = "/v1/things", **headers: str) -> Any:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        how: dict[str, Any] = {"headers": {**work, **named}}
        if isinstance(sent, bytes):
            return client.post(path, data=sent, content_type="application/json", **how)
        return client.post(path, json=sent, **how)

    return posted


@pytest.fixture
def thing() -> dict[str, Any]:
    return {"name": "bench", "division": {"amount": "0.01", "unit": "g"}}


@pytest.fixture
def count(books: Books) -> Any:
    """How many things the books hold."""

    def counted() -> int:
        with books.reading() as work:
            return len(work.connection.execute(select(scales)).all())

    return counted
