"""Every document on every paper: whole, tagged, the same each time, and its totals legible."""

import json
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from api.paper.render import render

from .house import CLIENT, SHOP, Json, long, open_shop, pages, pdf, printer, sell_a_bar

ROOT = Path(__file__).resolve().parents[2]
KINDS = (
    "quote", "receipt", "report", "bar_list", "settlement", "reconciliation", "purchase", "certificate",
    "credit_note", "account", "parting_plan", "bar_sale",
)  # fmt: skip
# Which figures of its JSON a reader must find on the paper: paths, `*` for each member.
TOTALS = {
    "quote": [
        "net_range/*", "cases/*/net", "cases/*/payouts_total", "cases/likely/charges_total",
        "cases/likely/charges/*/amount", "cases/likely/taxes/*/amount", "cases/*/metals/*/accountable",
        "items/*/gross", "items/*/net", "prices/*",
    ],
    "receipt": ["items/*/gross", "items/*/net"],
    "report": ["weights/gross", "weights/melt", "outturns/*/fine", "credited/*/credited"],
    "bar_list": ["totals/*/stated_weight", "totals/*/stated_fine", "items/*/stated_fine"],
    "settlement": [
        "net", "weights/gross", "weights/melt", "prices/*", "comparison/difference",
        "comparison/steps/*/worth",
        "cases/final/payouts_total", "cases/final/charges_total", "cases/final/tax_total",
        "cases/final/charges/*/amount", "cases/final/metals/*/accountable", "cases/final/metals/*/recovered",
        "cases/final/metals/*/fine", "cases/final/metals/*/kept", "cases/final/metals/*/bars/*/stated_weight",
    ],
    "reconciliation": [
        "metals/*/in", "metals/*/out", "metals/*/expected_loss", "metals/*/residual", "metals/*/credited/*",
        "metals/*/house_share",
    ],
    "purchase": ["net", "cases/final/payouts_total", "items/*/gross", "prices/*"],
    "certificate": ["says/weight", "says/fine"],
    "bar_sale": [
        "net", "value", "taxes/*/amount", "taxes/*/base", "price", "stated_weight", "stated_fine",
        "payment/amount",
    ],
    "credit_note": ["lines/*/amount", "taxes/*/amount"],
    "account": ["closing/*/*", "movements/*/lines/*/amount", "movements/*/lines/*/balance"],
    "parting_plan": ["silver_to_add", "melt_with_silver", "quantities/*/from", "quantities/*/to"],
}  # fmt: skip


def members(value: Any, path: list[str]) -> list[Any]:
    if not path:
        return [value]
    inner = list(value.values()) if isinstance(value, dict) else value
    found = inner if path[0] == "*" else [value[path[0]]]
    return [m for one in found for m in members(one, path[1:])]


def figures(document: Json, kind: str, locale: str) -> set[str]:
    """The figures of a document's totals, as this reader writes them."""
    printed = (
        printer(locale).printed(m) for path in TOTALS[kind] for m in members(document, path.split("/"))
    )
    return {found["n"] for found in printed}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("paper", "locale"), [("a4", "en_GB"), ("letter", "en_US"), ("a4", "de_DE"), ("receipt", "en_GB")]
)
def test_a_document_is_legible_on_its_paper(
    documents: dict[str, Json], kind: str, paper: str, locale: str
) -> None:
    text = " ".join(pages(pdf(kind, documents[kind], locale, paper)))
    missing = {f for f in figures(documents[kind], kind, locale) if f not in text}
    assert missing == set()


@pytest.mark.parametrize("kind", KINDS)
def test_a_document_is_tagged_and_brings_its_fonts(documents: dict[str, Json], kind: str) -> None:
    read = PdfReader(BytesIO(pdf(kind, documents[kind])))
    root = read.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value
    assert "StructTreeRoot" in str(root.keys())
    assert root["/Lang"].startswith("en")
    assert "<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data().decode()
    for page in read.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            descendant = font.get_object()["/DescendantFonts"][0].get_object()
            described = descendant["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(described.keys()), described


def test_a_reversed_invoice_says_so_and_its_credit_note_names_it(opened: Any) -> None:
    house = opened()
    open_shop(house)
    number = sell_a_bar(house)
    bar = house.shown(f"/v1/bar-sales/{number}")["bar"]
    note = house.post(f"/v1/bars/{bar}/sale/reversal", {"reason": "The wrong bar."}).json["reversal"][
        "credit_note"
    ]
    papers = {f"/v1/bar-sales/{number}": ("Reversed", note), f"/v1/credit-notes/{note}": (number, "93.14")}
    for path, said in papers.items():
        answer = house.get(path, Accept="application/pdf")
        assert answer.mimetype == "application/pdf"
        text = " ".join(pages(answer.data))
        assert [one for one in (*said, CLIENT, SHOP.name, SHOP.tax_identity) if one not in text] == []


SIZES = {"a4": (210, 297), "letter": (216, 279), "receipt": (80, None)}


@pytest.mark.parametrize("paper", SIZES)
def test_a_paper_has_its_size(documents: dict[str, Json], paper: str) -> None:
    width, height = SIZES[paper]
    for page in PdfReader(BytesIO(pdf("receipt", documents["receipt"], paper=paper))).pages:
        in_mm = [round(float(side) * 25.4 / 72) for side in (page.mediabox.width, page.mediabox.height)]
        assert in_mm[0] == width
        assert height is None or in_mm[1] == height


@pytest.mark.parametrize("kind", ["quote", "settlement", "certificate"])
def test_the_same_document_gives_the_same_bytes(documents: dict[str, Json], kind: str) -> None:
    assert pdf(kind, documents[kind]) == pdf(kind, documents[kind])


def test_another_process_gives_the_same_bytes(documents: dict[str, Json]) -> None:
    """Without a way to the network: whoever asks for one finds a closed port."""
    program = (
        "import json, sys; from tests.paper.house import pdf;"
        "sys.stdout.buffer.write(pdf('bar_list', json.load(sys.stdin)))"
    )
    closed = dict.fromkeys(("HTTP_PROXY", "HTTPS_PROXY", "http_proxy", "https_proxy"), "http://127.0.0.1:9")
    env = closed | {"PYTHONPATH": ":".join([str(ROOT), *(p for p in sys.path if p)])}
    told = json.dumps(documents["bar_list"]).encode()
    done = subprocess.run(
        [sys.executable, "-c", program], env=env, input=told, capture_output=True, check=True
    )
    assert done.stdout == pdf("bar_list", documents["bar_list"])


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("items", [1, 60])
def test_a_quote_may_be_short_or_long(documents: dict[str, Json], paper: str, items: int) -> None:
    told = long(documents["quote"], items)
    text = pages(pdf("quote", told, paper=paper))
    assert sum(f"piece {n + 1} " in " ".join(text) for n in range(items)) == items
    gross = sum(Decimal(i["gross"]["g"]) for i in told["items"])
    assert printer().figure(str(gross)) in " ".join(text)
    assert all(f"Page {n + 1} of {len(text)}" in page for n, page in enumerate(text))


@pytest.mark.parametrize("items", range(6, 22))
def test_a_total_is_never_alone_on_its_page(documents: dict[str, Json], items: int) -> None:
    told = long(documents["quote"], items)
    count = sum(i["count"] for i in told["items"])
    text = next(page for page in pages(pdf("quote", told)) if f"Total {count} " in page)
    assert f"piece {items} " in text
    assert items < 2 or f"piece {items - 1} " in text


def test_a_long_word_stays_on_the_sheet(documents: dict[str, Json]) -> None:
    told = long(documents["quote"], 1)
    told["items"][0]["description"] = "x" * 400
    assert "x" * 20 in " ".join(pages(pdf("quote", told)))


def test_british_paper_says_carat_and_american_karat(documents: dict[str, Json]) -> None:
    british, american = (" ".join(pages(pdf("quote", documents["quote"], at))) for at in ("en_GB", "en_US"))
    assert "carat" in british
    assert "karat" not in british.lower()
    assert "karat" in american
    assert "carat" not in american


def test_a_name_that_no_font_can_show_is_spelled_by_its_code_points(documents: dict[str, Json]) -> None:
    named = {"name": "王 Ann \U0001f600", "address": "1 Any Street\x07"}
    text = " ".join(pages(pdf("quote", documents["quote"], client=named)))
    assert "[U+738B] Ann [U+1F600]" in text


def test_a_certificate_names_no_client(documents: dict[str, Json]) -> None:
    told = documents["certificate"]
    assert CLIENT not in str(told)
    assert "C-1" not in str(told["says"])
    assert CLIENT not in " ".join(pages(pdf("certificate", told)))


def test_no_template_asks_for_anything_outside_the_package() -> None:
    from importlib.resources import files

    for template in (files("api.paper") / "templates").iterdir():
        text = template.read_text("utf-8")
        assert "@preview" not in text
        assert "://" not in text


def test_an_invoice_is_of_who_issued_it_whoever_the_shop_is_by_now(documents: Any) -> None:
    sale = documents["bar_sale"]
    shop = replace(SHOP, name="Another House", tax_identity="XX 9")
    text = " ".join(pages(render("bar_sale", sale, shop, printer(), "a4")))
    assert (SHOP.name in text, SHOP.tax_identity in text) == (True, True)
    assert ("Another House" in text, "XX 9" in text) == (False, False)


def test_a_credit_note_says_which_way_its_money_goes(documents: Any) -> None:
    note = documents["credit_note"]
    back = note["net"] | {"amount": "-" + note["net"]["amount"].removeprefix("-")}
    for net, said in ((back, "Charged back"), (back | {"amount": back["amount"][1:]}, "Credited back")):
        assert said in " ".join(pages(pdf("credit_note", note | {"net": net})))
