"""Logs: JSON lines that tell of each request what may be told, and nothing of whom it was about."""

import io
import json
import logging
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from staged import House
from stages import BARS, CLIENT, LOT, QUOTE, SETTLEMENT, asked

from api.logs import json_lines

PERSONAL = ("Quillfeather", "quill@nowhere.example", "1 Nowhere Lane", "Zebedee", "brooch of an aunt")


@pytest.fixture
def written() -> Iterator[io.StringIO]:
    """What is logged, as a server would write it."""
    stream, ours = io.StringIO(), logging.getLogger("settle")
    handler, level = json_lines(stream), ours.level
    ours.addHandler(handler)
    ours.setLevel(logging.INFO)
    yield stream
    ours.removeHandler(handler)
    ours.setLevel(level)


def lines(written: io.StringIO) -> list[dict[str, Any]]:
    return [json.loads(line) for line in written.getvalue().splitlines()]


def test_a_request_is_told_by_its_route_its_outcome_and_the_id_of_its_key(
    house: House, written: io.StringIO
) -> None:
    answer = house.till.ask("GET", f"/v1/lots/{LOT}?paper=a4")
    (line,) = lines(written)
    told = {k: line[k] for k in ("event", "level", "method", "route", "status", "key", "request_id")}
    assert told == {
        "event": "request",
        "level": "info",
        "method": "GET",
        "route": "/v1/lots/<number>",
        "status": 200,
        "key": "K-7",
        "request_id": answer.headers["X-Request-Id"],
    }
    assert line["duration_s"] >= 0


def test_the_id_that_a_proxy_gave_is_kept(house: House, written: io.StringIO) -> None:
    answer = house.till.ask("GET", "/livez", X_Request_Id="proxy-1.a_B")
    assert answer.headers["X-Request-Id"] == lines(written)[0]["request_id"] == "proxy-1.a_B"


@pytest.mark.parametrize("given", ["a b", "x" * 65, "<script>", "é", ""])
def test_an_id_that_is_none_is_replaced_by_a_new_one(house: House, given: str) -> None:
    ids = {house.till.ask("GET", "/livez", X_Request_Id=given).headers["X-Request-Id"] for _ in range(2)}
    assert len(ids) == 2
    assert given not in ids


@pytest.mark.parametrize(
    ("method", "path", "told"),
    [
        ("GET", "/nowhere/Quillfeather", ("GET", "none", 404)),
        ("QUILLFEATHER", "/livez", ("other", "none", 405)),
        ("GET", "/v1/lots/Quillfeather", ("GET", "/v1/lots/<number>", 404)),
    ],
)
def test_what_a_client_made_up_is_not_repeated(
    house: House, written: io.StringIO, method: str, path: str, told: tuple[Any, ...]
) -> None:
    house.till.ask(method, path)
    (line,) = lines(written)
    assert (line["method"], line["route"], line["status"]) == told
    assert "quillfeather" not in written.getvalue().lower()


def test_an_answer_that_is_streamed_is_told_of_once_it_is_whole(house: House, written: io.StringIO) -> None:
    answer = house.till.ask("POST", "/v1/estimates", json.dumps(asked()).encode(), media="application/jsonl")
    iterable = iter(answer.response)
    next(iterable)
    assert lines(written) == []
    answer.close()
    assert [line["route"] for line in lines(written)] == ["/v1/estimates"]


def stumble(*_: Any, **__: Any) -> None:
    raise RuntimeError("could not keep Quillfeather of 1 Nowhere Lane")


def test_an_error_of_ours_tells_where_it_was_but_not_in_its_own_words(
    house: House, written: io.StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("settle.books.clients.add", stumble)
    answer = house.till.ask("POST", "/v1/clients", {"name": "Quillfeather"})
    assert answer.status_code == 500
    error, request = lines(written)
    assert (error["level"], error["error"]) == ("error", "RuntimeError")
    assert error["where"][-1].endswith("stumble")
    assert error["request_id"] == request["request_id"]
    assert not any(word in written.getvalue() for word in PERSONAL)


def test_what_others_say_of_an_error_is_written_without_what_they_filled_in(written: io.StringIO) -> None:
    try:
        stumble()
    except RuntimeError:
        logging.getLogger("settle").exception("Exception on %s", "/v1/clients/Quillfeather")
    (line,) = lines(written)
    assert (line["event"], line["error"]) == ("Exception on %s", "RuntimeError")
    assert not any(word in written.getvalue() for word in PERSONAL)


def _day(house: House) -> None:
    """Personal data in every place where a client may put it."""
    till = house.till
    client = till.client("Quillfeather", email="quill@nowhere.example", address="1 Nowhere Lane")
    odd = [
        {"description": "brooch of an aunt", "evidence": "nobody's", "gross": {"amount": "x", "unit": "g"}}
    ]
    till.ask("POST", "/v1/quotes", {"items": odd, "client": client["id"]})
    till.ask("POST", "/v1/clients", b'{"name": "Quillfeather"')
    till.ask("POST", "/v1/clients", {"name": "Quillfeather", "Zebedee": "1 Nowhere Lane"})
    till.ask("GET", "/v1/clients?cursor=Quillfeather&name=Zebedee")
    till.ask("GET", "/v1/clients/Quillfeather")
    till.ask("GET", "/v1/clients", Settle_Person="Zebedee")
    till.ask("GET", "/v1/clients", Origin="https://Quillfeather.example", User_Agent="Zebedee")
    quote = till.quote({**asked(), "client": client["id"]})
    till.accept(quote, who="Quillfeather")
    till.ask("POST", f"/v1/clients/{client['id']}/erasure", {"reason": "Zebedee asked"})
    till.ask("POST", f"/v1/clients/{client['id']}/erasure")
    for path in (f"/v1/clients/{CLIENT}", f"/v1/quotes/{QUOTE}", f"/v1/settlements/{SETTLEMENT}",
                 f"/v1/bars/{BARS[0]}/certificate", "/v1/register", "/v1/journal"):  # fmt: skip
        till.ask("GET", path)


def test_no_name_address_key_or_body_is_in_the_logs_of_a_day(house: House, written: io.StringIO) -> None:
    _day(house)
    house.till.with_key("a-key-that-nobody-knows").ask("GET", "/v1/clients")
    text = written.getvalue()
    assert len(lines(written)) > 15
    secrets = [*house.keys.values(), "a-key-that-nobody-knows", "Bearer"]
    assert [word for word in (*PERSONAL, "Ann Other", *secrets) if word in text] == []


@pytest.fixture
def quiet(house: House, capfd: pytest.CaptureFixture[str]) -> Callable[[], str]:
    house.till.ask("GET", "/v1/lots")
    return lambda: "".join(capfd.readouterr())


def test_an_app_that_nobody_told_to_write_writes_nothing(quiet: Callable[[], str]) -> None:
    assert quiet() == ""
