"""Many lots in one `POST /v1/estimates`: JSON Lines in and out."""

import json
from typing import Any

import pytest
from staged import House
from stages import asked

from api.app import create_app
from api.settings import Settings

LINES = "application/jsonl"
MOST = 5


def sent(house: House, *lines: Any, scope: str = "quote", path: str = "/v1/estimates") -> Any:
    raw = b"\n".join(line if isinstance(line, bytes) else json.dumps(line).encode() for line in lines)
    return house.as_(scope).ask("POST", path, raw, media=LINES)


def answers(response: Any) -> list[Any]:
    assert response.status_code == 200
    assert response.content_type == LINES
    text = response.get_data(as_text=True)
    assert text.endswith("\n")
    return [json.loads(line) for line in text.splitlines()]


def of_weight(amount: str) -> dict[str, Any]:
    chain = {"karat": "9", "evidence": "hallmark", "gross": {"amount": amount, "unit": "g"}}
    return {"items": [chain]}


def test_each_line_is_answered_as_it_would_be_alone_and_in_order(house: House) -> None:
    lots = [of_weight("10"), asked(), of_weight("0.5")]
    alone = [house.as_("quote").estimate(lot) for lot in lots]
    assert answers(sent(house, *lots)) == alone


def test_a_line_with_faults_is_answered_by_its_problem_and_takes_no_other_with_it(house: House) -> None:
    found = answers(sent(house, of_weight("10"), of_weight("ten"), b"{", b"", of_weight("20")))
    assert [line.get("status") for line in found] == [None, 422, 400, 400, None]
    assert found[1]["errors"][0]["pointer"] == "/items/0/gross/amount"
    assert found[2]["type"] == "/problems/unparsable-body"
    assert [found[i]["items"][0]["gross"]["g"] for i in (0, 4)] == ["10.000", "20.000"]


def test_the_end_of_the_last_line_is_not_another_line(house: House) -> None:
    assert len(answers(sent(house, of_weight("10"), b""))) == 1


def test_working_is_left_out_of_every_line_where_it_is_not_wanted(house: House) -> None:
    lots = (of_weight("10"), of_weight("20"))
    assert all("working" in line for line in answers(sent(house, *lots)))
    without = answers(sent(house, *lots, path="/v1/estimates?working=false"))
    assert not any("working" in line for line in without)


def test_a_key_with_estimate_alone_sees_no_more_by_lines_than_by_itself(house: House) -> None:
    other = {**of_weight("10"), "terms": "T-404"}
    found = answers(sent(house, of_weight("10"), other, scope="estimate"))
    assert found[0] == house.as_("estimate").estimate(of_weight("10"))
    assert (found[1]["status"], found[1]["type"]) == (403, "/problems/forbidden")


def test_a_key_that_may_not_estimate_may_not_by_lines(house: House) -> None:
    assert sent(house, of_weight("10"), scope="work").status_code == 403


@pytest.fixture
def short(house: House) -> House:
    settings = Settings(str(house.books.engine.url), lines_limit=MOST)
    return house.with_app(create_app(settings, house.clock, house.books))


def test_as_many_lines_as_the_setting_says_and_not_one_more(short: House) -> None:
    lots = [of_weight("10")] * MOST
    assert len(answers(sent(short, *lots))) == MOST
    refused = sent(short, *lots, of_weight("10"))
    assert (refused.status_code, refused.json["type"]) == (413, "/problems/body-too-large")


def test_the_first_answer_is_sent_before_the_last_is_reckoned(house: House) -> None:
    seen: list[Any] = []
    response = sent(house, of_weight("10"), of_weight("20"))
    clock = house.clock

    def counting() -> Any:
        seen.append(len(seen))
        return clock.now

    house.books.clock = counting
    lines = iter(response.response)
    next(lines)
    after_first = len(seen)
    next(lines)
    assert len(seen) > after_first


def test_no_other_call_takes_lines(house: House) -> None:
    response = house.as_("quote").ask("POST", "/v1/quotes", b"{}", media=LINES)
    assert response.status_code == 415
