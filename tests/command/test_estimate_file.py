"""`settle estimate FILE`: the worked nets, three columns, and faults by JSON Pointer."""

import json
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
WORKED = json.loads((ROOT / "tests/published/worked/estimate-a-grams-gbp.json").read_text("utf-8"))
CASES = ("low", "likely", "high")
WIDEST = 100


@pytest.fixture
def lot(tmp_path):
    """The worked estimate as a file."""
    file = tmp_path / "lot.json"
    file.write_text(json.dumps({"terms": WORKED["terms"], **WORKED["request"]}), "utf-8")
    return str(file)


def test_the_worked_nets_come_out_of_a_file(settle, lot):
    found = settle("estimate", lot, "--json")
    answer = json.loads(found.stdout)
    assert [answer["cases"][case]["net"]["amount"] for case in CASES] == [
        WORKED["answer"][case]["net"] for case in CASES
    ]
    assert found.returncode == 0
    assert "working" not in answer


def test_the_worked_figures_stand_side_by_side(settle, lot):
    printed = settle("estimate", lot).stdout
    rows = {line.strip().partition("  ")[0]: line.split()[-3:] for line in printed.splitlines() if line}
    assert rows["net"] == [WORKED["answer"][case]["net"] for case in CASES]
    assert rows["treatment"] == ["−58.50"] * 3
    assert [line for line in printed.splitlines() if len(line) > WIDEST] == []


def test_working_is_shown_when_asked_for(settle, lot):
    printed = settle("estimate", lot, "--working").stdout
    assert "net × filled part × likely fineness ÷ 1000" in printed
    assert [line for line in printed.splitlines() if len(line) > WIDEST] == []
    assert json.loads(settle("estimate", lot, "--working", "--json").stdout)["working"]


def test_the_example_that_ships_is_estimated(settle):
    found = settle("estimate", str(ROOT / "shared/examples/estimate.json"))
    assert found.returncode == 0
    assert "What the client would get" in found.stdout
    assert "worth of it all" in found.stdout


def test_an_estimate_makes_no_books(settle, lot, tmp_path):
    settle("estimate", lot)
    assert [file.name for file in tmp_path.iterdir()] == ["lot.json"]


def test_faults_are_told_all_at_once_each_with_its_pointer_and_what_would_be_right(settle):
    wrong = {
        "terms": {**WORKED["terms"], "currency": "XYZ"},
        "items": [{"evidence": "hallmark", "karat": "9", "gross": {"amount": 5, "unit": "oz"}}],
        "wishes": {},
    }
    found = settle("estimate", "-", given=json.dumps(wrong))
    assert (found.returncode, found.stdout) == (2, "")
    for pointer in ("/terms/currency", "/items/0/gross/amount", "/items/0/gross/unit", "/wishes"):
        assert f"\n{pointer}\n" in found.stderr
    assert 'say which: "ozt" or "oz_av"' in found.stderr


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"items": 5}', '{"terms": 1, "items": [1]}', '{"a": 1, "a": 2}']
)
def test_what_is_no_estimate_at_all_is_a_fault_and_no_trace(settle, text):
    found = settle("estimate", "-", given=text)
    assert found.returncode == 2
    assert "1 fault" in found.stderr or " faults" in found.stderr


def test_a_metal_without_a_price_is_a_fault(settle):
    unpriced = {"terms": WORKED["terms"], **WORKED["request"], "prices": {}}
    found = settle("estimate", "-", given=json.dumps(unpriced))
    assert found.returncode == 2
    assert "/prices/gold" in found.stderr


def test_a_meaning_at_fault_is_told_where_the_shape_is_right(settle):
    wrong = {"terms": WORKED["terms"], **WORKED["request"]}
    wrong["items"] = [{**wrong["items"][0], "evidence": "hearsay"}]
    found = settle("estimate", "-", given=json.dumps(wrong))
    assert found.returncode == 2
    assert "\n/items/0/evidence\n" in found.stderr
