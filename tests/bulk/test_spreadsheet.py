"""`settle estimate FILE --csv --terms FILE`: a spreadsheet of items, and its faults by row."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from api import cli
from api.estimate_file import estimate_of
from api.spreadsheet import COLUMNS, read_lots

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "shared" / "examples" / "estimate.json"
Estimate = Callable[..., Result]


@pytest.fixture
def estimate(tmp_path: Path) -> Estimate:
    """Run the command over this spreadsheet and these terms."""

    def run(sheet: str | bytes, *more: str, about: str | None = None) -> Result:
        file, terms = tmp_path / "items.csv", tmp_path / "about.json"
        file.write_bytes(sheet if isinstance(sheet, bytes) else sheet.encode())
        terms.write_text(about or EXAMPLE.read_text("utf-8"), "utf-8")
        arguments = ["estimate", str(file), "--csv", "--terms", str(terms), *more]
        return CliRunner().invoke(cli.main, arguments, env={"COLUMNS": "100"})

    return run


def answers(result: Result) -> list[dict[str, Any]]:
    assert result.exit_code == 0, result.stderr
    return [json.loads(line) for line in result.stdout.splitlines()]


def by_file(*items: dict[str, Any]) -> dict[str, Any]:
    """What the JSON road gives for the same items."""
    whole = json.loads(EXAMPLE.read_text("utf-8"))
    found = estimate_of(json.dumps({**whole, "items": list(items)}).encode())
    return {k: v for k, v in found.items() if k != "working"}


CHAIN = {"karat": "9", "evidence": "hallmark", "gross": {"amount": "42.36", "unit": "g"}}


def test_a_row_is_reckoned_as_the_same_item_in_a_json_file(estimate: Estimate) -> None:
    (found,) = answers(estimate("karat,evidence,gross\n9,hallmark,42.36\n", "--json"))
    assert found == {"lot": "", **by_file(CHAIN)}


def test_every_column_reaches_its_place(estimate: Estimate) -> None:
    sheet = (
        "lot,description,metal,karat,fineness,in,stamped,colour,filled_part,evidence,count,gross,unit,"
        "deduction,deduction_plus_minus,deduction_reason\n"
        'tin,"brooch, garnets",gold,18,,,750,yellow,1/20,hallmark,2,0.6,ozt,0.09,0.03,garnets\n'
    )
    assert set(sheet.partition("\n")[0].split(",")) == set(COLUMNS)
    stones, guess = {"amount": "0.09", "unit": "ozt"}, {"amount": "0.03", "unit": "ozt"}
    item = {
        "description": "brooch, garnets", "metal": "gold", "karat": "18", "stamped": "750",
        "colour": "yellow", "filled_part": "1/20", "evidence": "hallmark", "count": 2,
        "gross": {"amount": "0.6", "unit": "ozt"},
        "deductions": [{"reason": "garnets", "weight": stones, "plus_minus": guess}],
    }  # fmt: skip
    assert read_lots(sheet.encode())[0].items == [item]
    assert answers(estimate(sheet, "--json")) == [{"lot": "tin", **by_file(item)}]


def test_a_fineness_that_is_asked_back_is_meant_where_its_row_says_permille(estimate: Estimate) -> None:
    sheet = "fineness,in,stamped,evidence,gross\n417,{},585,xrf,3.2\n"
    assert "stamped" in faults(estimate(sheet.format("")))["row 2, fineness"]
    (found,) = answers(estimate(sheet.format("permille"), "--json"))
    assert found["items"][0]["holds"]["gold"]["fineness"] == "417"


def test_rows_of_one_lot_are_one_lot_wherever_they_stand(estimate: Estimate) -> None:
    sheet = "lot,karat,evidence,gross\na,9,hallmark,1\nb,9,hallmark,2\na,9,hallmark,3\n"
    found = answers(estimate(sheet, "--json"))
    assert [(lot["lot"], [i["gross"]["g"] for i in lot["items"]]) for lot in found] == [
        ("a", ["1.000", "3.000"]),
        ("b", ["2.000"]),
    ]


def test_many_lots_are_a_table_and_one_alone_a_page(estimate: Estimate) -> None:
    many = estimate("lot,karat,evidence,gross\nblue tin,9,hallmark,42.36\nenvelope,18,hallmark,9\n")
    rows = {line.split("  ")[0]: line for line in many.stdout.splitlines()}
    (tin,) = answers(estimate("lot,karat,evidence,gross\nblue tin,9,hallmark,42.36\n", "--json"))
    assert tin["net_range"]["likely"]["amount"] in rows["blue tin"]
    assert "envelope" in rows
    one = estimate("karat,evidence,gross\n9,hallmark,42.36\n")
    assert "Three cases" in one.stdout
    assert "Three cases" not in many.stdout


@pytest.mark.parametrize(
    "sheet",
    [
        "karat;evidence;gross\n9;hallmark;42.36\n",
        "karat\tevidence\tgross\n9\thallmark\t42.36\n",
        "\ufeffKarat , Evidence,GROSS\r\n 9 ,hallmark, 42.36\r\n\r\n,,\r\n",
        'karat,evidence,gross\n"9","hallmark","42.36"',
    ],
    ids=["semicolons", "tabs", "from a spreadsheet", "quoted"],
)
def test_a_spreadsheet_is_read_however_it_was_saved(estimate: Estimate, sheet: str) -> None:
    assert answers(estimate(sheet, "--json")) == [{"lot": "", **by_file(CHAIN)}]


def faults(result: Result) -> dict[str, str]:
    """Row and column → what is told of them."""
    assert result.exit_code == 2
    told = re.split(r"\n\n", result.stderr.strip())[1:]
    return {each.partition("\n")[0].strip(): " ".join(each.partition("\n")[2].split()) for each in told}


def test_every_faulty_row_is_told_by_its_number_and_column(estimate: Estimate) -> None:
    sheet = (
        "karat,evidence,gross,unit,count,deduction,filled_part\n"
        '9,hallmark,"42,36",g,,,\n'
        "9,hallmark,1,g,,,\n"
        "9,nobody's,1,g,,,\n"
        "25,hallmark,1,oz,,,\n"
        ",,,,,,\n"
        "9,hallmark,1,g,two,0.1x,\n"
        "9,hallmark,1,g,,,2\n"
    )
    told = faults(estimate(sheet))
    assert set(told) == {
        "row 2, gross",
        "row 4, evidence",
        "row 5, karat",
        "row 5, unit",
        "row 7, count",
        "row 7, deduction",
        "row 8, filled_part",
    }
    assert "decimal" in told["row 2, gross"]


def test_lots_in_order_are_answered_though_another_is_not(estimate: Estimate) -> None:
    sheet = "lot,karat,evidence,gross\na,9,hallmark,x\nb,9,hallmark,2\n"
    result = estimate(sheet, "--json")
    assert set(faults(result)) == {"row 2, gross"}
    assert [json.loads(line)["lot"] for line in result.stdout.splitlines()] == ["b"]


SHEETS = [
    ("carat,evidence,gross\n9,hallmark,1\n", "row 1, carat"),
    ("karat,gross\n9,1\n", "row 1, evidence"),
    ("karat,karat,evidence,gross\n9,9,hallmark,1\n", "row 1, karat"),
    ("karat,evidence,gross\n9,hallmark,1,2\n", "row 2"),
    ("karat,evidence,gross\n\n", "row 2"),
    ("", "row 1, evidence"),
    (b"karat,evidence,gross\n9,hallm\xe4rk,1\n", "(the whole)"),
    ('karat,evidence,gross\n9,"hallmark,1\n', "(the whole)"),
]


@pytest.mark.parametrize(("sheet", "where"), SHEETS)
def test_what_is_no_spreadsheet_of_items_is_refused(estimate: Estimate, sheet: Any, where: str) -> None:
    assert where in faults(estimate(sheet))


def test_a_fault_of_the_terms_is_told_once_however_many_lots_there_are(estimate: Estimate) -> None:
    about = json.loads(EXAMPLE.read_text("utf-8"))
    about["terms"]["metals"]["gold"]["recovery"] = "2"
    sheet = "lot,karat,evidence,gross\na,9,hallmark,1\nb,9,hallmark,2\n"
    assert set(faults(estimate(sheet, about=json.dumps(about)))) == {"/terms/metals/gold/recovery"}


@pytest.mark.parametrize("about", ["[]", "{", '{"terms": {}, "terms": {}}'])
def test_terms_that_cannot_be_read_are_refused(estimate: Estimate, about: str) -> None:
    result = estimate("karat,evidence,gross\n9,hallmark,1\n", about=about)
    assert result.exit_code == 2
    assert "about.json" in result.stderr


@pytest.mark.parametrize("arguments", [["--csv"], ["--terms", str(EXAMPLE)]])
def test_a_spreadsheet_and_terms_belong_together(arguments: list[str]) -> None:
    result = CliRunner().invoke(cli.main, ["estimate", str(EXAMPLE), *arguments])
    assert result.exit_code == 2
    assert "belong together" in result.stderr


def test_the_help_names_every_column_and_no_other() -> None:
    told = CliRunner().invoke(cli.main, ["estimate", "--help"]).stdout
    listed = told.partition("in any order:")[2].partition("Lots whose")[0]
    assert [line.split()[0] for line in listed.splitlines() if line.strip()] == [*COLUMNS]


def test_the_example_of_the_readme_is_answered(estimate: Estimate) -> None:
    sheet = (ROOT / "shared" / "examples" / "items.csv").read_bytes()
    assert [lot["lot"] for lot in answers(estimate(sheet, "--json"))] == ["blue tin", "envelope"]
