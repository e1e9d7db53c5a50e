"""Problems, running it, settings, and the published document."""

import logging
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.app import create_app
from api.settings import default_database, read_settings
from settle.books.work import THE_COMMAND


@pytest.mark.parametrize(
    ("method", "path", "status", "kind"),
    [
        ("GET", "/nowhere", 404, "not-found"),
        ("GET", "/v1/things/SC-404", 404, "not-found"),
        ("PUT", "/livez", 405, "method-not-allowed"),
    ],
)
def test_what_flask_refuses_is_a_problem_too(
    client: Any, key: Any, method: str, path: str, status: int, kind: str
) -> None:
    answer = client.open(path, method=method, headers=key("quote"))
    assert (answer.status_code, answer.content_type) == (status, "application/problem+json")
    assert (answer.json["type"], answer.json["status"]) == (f"/problems/{kind}", status)


def test_a_405_says_what_is_allowed(client: Any) -> None:
    assert "GET" in client.put("/livez").headers["Allow"]


def test_an_unexpected_error_tells_nothing_and_is_logged(post: Any, thing: Any, caplog: Any) -> None:
    with caplog.at_level(logging.ERROR):
        answer = post({**thing, "name": "slip"})
    assert (answer.status_code, answer.json["type"]) == (500, "/problems/internal-error")
    assert "nobody may see" not in answer.get_data(as_text=True)
    assert "nobody may see" in caplog.text


def test_busy_books_are_503_with_retry_after_but_can_still_be_read(
    impatient: Any, books: Any, thing: Any, key: Any
) -> None:
    headers = key("work")
    with books.writing(THE_COMMAND):
        answer = impatient.post("/v1/things", json=thing, headers=headers)
        assert impatient.get("/v1/things", headers=headers).status_code == 200
    assert (answer.status_code, answer.json["type"], answer.headers["Retry-After"]) == (
        503,
        "/problems/busy",
        "2",
    )
    assert impatient.post("/v1/things", json=thing, headers=headers).status_code == 201


def test_every_answer_is_guarded_against_sniffing_and_storing(client: Any) -> None:
    for path in ("/livez", "/nowhere", "/openapi.json"):
        headers = client.get(path).headers
        assert (headers["X-Content-Type-Options"], headers["Cache-Control"]) == ("nosniff", "no-store")


def test_it_is_ready_when_the_books_have_the_schema_and_not_before(client: Any, tmp_path: Path) -> None:
    assert client.get("/readyz").status_code == 200
    fresh = create_app(read_settings({"SETTLE_DATABASE_URL": f"sqlite:///{tmp_path / 'fresh.sqlite3'}"}))
    answer = fresh.test_client().get("/readyz")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
    assert fresh.test_client().get("/livez").status_code == 200


def test_the_type_of_a_problem_can_be_looked_up(client: Any) -> None:
    assert client.get("/problems/price-too-old").json["status"] == 409
    assert client.get("/problems/nonsense").status_code == 404


def test_the_published_document_is_valid_openapi_31(client: Any) -> None:
    document = client.get("/openapi.json").json
    OpenAPIV31SpecValidator(document).validate()
    assert (document["openapi"], document["info"]["title"]) == ("3.1.0", "settle")


def test_the_published_document_tells_shapes_headers_and_problems(client: Any) -> None:
    document = client.get("/openapi.json").json
    schemas = document["components"]["schemas"]
    assert schemas["Thing"]["additionalProperties"] is False
    assert schemas["Thing"]["required"] == ["division", "name"]
    assert schemas["Thing"]["properties"]["division"]["$ref"] == "#/components/schemas/Weight"
    assert schemas["Weight"]["properties"]["amount"]["type"] == "string"
    assert schemas["Weight"]["properties"]["amount"]["pattern"].startswith("^(0|")
    assert schemas["Thing"]["properties"]["legs"] == {"type": "integer", "minimum": 1, "maximum": 8}
    post = document["paths"]["/v1/things"]["post"]
    assert {"Idempotency-Key", "Settle-Person", "dry_run"} <= {p["name"] for p in post["parameters"]}
    assert post["requestBody"]["content"]["application/json"]["schema"]["$ref"].endswith("/Thing")
    assert {"201", "400", "401", "403", "409", "413", "415", "422", "503"} <= set(post["responses"])
    assert "application/problem+json" in document["components"]["responses"]["Problem422"]["content"]
    patch = document["paths"]["/v1/things/{thing_id}"]["patch"]
    assert {"412", "428"} <= set(patch["responses"])


def test_an_app_works_by_the_clock_that_it_was_given(tmp_path: Path) -> None:
    then = datetime(2031, 1, 1, tzinfo=UTC)
    app = create_app(
        read_settings({"SETTLE_DATABASE_URL": f"sqlite:///{tmp_path / 'b.sqlite3'}"}), clock=lambda: then
    )
    with app.extensions["settle.books"].reading() as work:
        assert work.now == then


def test_settings_come_from_the_environment_and_have_defaults() -> None:
    assert read_settings({}).database_url == f"sqlite:///{default_database()}"
    assert read_settings({"SETTLE_TIME_ZONE": ""}).time_zone == "UTC"
    given = {"SETTLE_TIME_ZONE": "Europe/London", "SETTLE_HOUSE_NAME": "H", "SETTLE_BODY_LIMIT": "4096"}
    read = read_settings(given)
    assert (read.time_zone, read.house_name, read.body_limit) == ("Europe/London", "H", 4096)


@pytest.mark.parametrize(
    ("name", "value"),
    [("TIME_ZONE", "Mars/Olympus"), ("TIME_ZONE", "../etc"), ("BODY_LIMIT", "x"), ("BODY_LIMIT", "5")],
)
def test_a_setting_that_cannot_be_is_refused_by_its_name(name: str, value: str) -> None:
    with pytest.raises(ValueError, match=f"SETTLE_{name}"):
        read_settings({f"SETTLE_{name}": value})
