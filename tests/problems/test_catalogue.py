"""The catalogue of problems: each has a page, and an example that gives the golden body.

`PYTHONPATH=.:tests python tests/problems/test_catalogue.py` writes the golden bodies anew.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from reproduced import golden, reproduced, types_of
from setups import SETUPS
from staged import House, house_at
from stages import ROAD

from settle.reckoning.problems import KINDS

GOLDEN = Path(__file__).parent / "golden"
CATALOGUE = json.loads((Path(__file__).parents[2] / "shared" / "problems.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Any:
    with house_at("empty", tmp_path_factory.mktemp("house")) as opened:
        yield opened


def test_the_catalogue_holds_every_kind_and_no_other() -> None:
    assert list(CATALOGUE) == list(KINDS)
    assert {file.stem for file in GOLDEN.glob("*.json")} == set(KINDS)


def test_examples_presuppose_only_what_has_a_word() -> None:
    stages = {"empty", *(name for name, _, _ in ROAD)}
    assert {example["at"] for example in CATALOGUE.values()} <= stages
    assert {word for example in CATALOGUE.values() for word in example.get("setup", ())} == set(SETUPS)


@pytest.mark.parametrize("kind", KINDS)
def test_an_example_gives_its_problem_to_the_letter(kind: str) -> None:
    answer = reproduced(CATALOGUE[kind])
    assert answer.content_type == "application/problem+json"
    assert kind in types_of(answer.json)
    assert answer.json["status"] == answer.status_code
    assert golden(answer.json) == (GOLDEN / f"{kind}.json").read_text("utf-8")
    told = CATALOGUE[kind].get("answer_headers", {})
    assert {name: answer.headers.get(name) for name in told} == told


def test_who_is_to_wait_is_told_how_long() -> None:
    waiting = [kind for kind in KINDS if KINDS[kind].status in (429, 503)]
    assert all("Retry-After" in CATALOGUE[kind]["answer_headers"] for kind in waiting)


def test_a_golden_body_says_what_would_be_right() -> None:
    for kind in KINDS:
        problem = json.loads((GOLDEN / f"{kind}.json").read_text("utf-8"))
        assert set(problem) <= {"type", "title", "status", "detail", "errors"}
        for error in problem.get("errors", ()):
            assert error["wrong"], kind
            assert error["right"], kind


@pytest.mark.parametrize("kind", KINDS)
def test_every_type_has_a_page(house: House, kind: str) -> None:
    told = house.till.ask("GET", f"/problems/{kind}", Authorization=None)
    assert (told.status_code, told.json["status"]) == (200, KINDS[kind].status)
    assert told.json["title"] == KINDS[kind].title
    assert told.json["example"]["path"] == CATALOGUE[kind]["path"]
    accepted = {"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"}
    page = house.till.ask("GET", f"/problems/{kind}", Authorization=None, **accepted)
    assert page.mimetype == "text/html"
    assert f"<code>/problems/{kind}</code>" in page.text
    # What the example's own members mean stands there too.
    assert all(f"<code>{member}</code>" in page.text for member in ("at", "before", "key"))
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]


def test_a_page_shows_no_markup_of_an_example(house: House) -> None:
    page = house.till.ask("GET", "/problems/unsupported-media-type", Authorization=None, Accept="text/html")
    assert "&#34;Content-Type&#34;" in page.text


def test_there_is_no_page_of_what_is_no_type(house: House) -> None:
    assert house.till.ask("GET", "/problems/none", Authorization=None).status_code == 404


if __name__ == "__main__":
    for name, example in CATALOGUE.items():
        (GOLDEN / f"{name}.json").write_text(golden(reproduced(example).json), "utf-8")
