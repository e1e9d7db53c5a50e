"""Words and numbers: one catalogue, two languages; figures are formatted and never rounded again."""

import re
from importlib.resources import files

import pytest
from babel import Locale

from api.paper.sentences import told
from api.paper.words import words
from api.settings import LOCALES

from .house import A, House, Json, asked, printer

GERMAN = Locale.parse("de_DE")
# Words that templates look up by what stands in a document: by a beginning, or whole.
LOOKED_UP = (
    "reason_",
    "gets_",
    "drillings_",
    "base_",
    "class_",
    "bound_",
    "time_",
    "method_",
    "party_",
    "step_",
)
OF_DOCUMENTS = {
    "gold", "silver", "platinum", "palladium", "copper", "low", "likely", "high", "final", "in_person",
    "telephone", "e_mail", "website", "letter", "carrier", "cash", "transfer", "lots", "bars", "shot",
    "money", "metal_account", "pay_out", "cover_charges", "most", "whole", "payout_rate", "accountable",
    "charge",
}  # fmt: skip


@pytest.mark.parametrize("locale", LOCALES)
def test_every_word_is_there_in_every_language(locale: str) -> None:
    found = words(Locale.parse(locale))
    assert found.keys() == words(Locale.parse("en_GB")).keys()
    assert all(found.values())


@pytest.mark.parametrize(
    ("locale", "text", "printed"),
    [
        ("en_GB", "1006.30", "1,006.30"),
        ("de_DE", "1006.30", "1.006,30"),
        ("de_CH", "1006.30", "1’006.30"),
        ("en_US", "-0.690", "−0.690"),
        ("de_DE", "57.411", "57,411"),
        ("en_GB", "0.1234567891234", "0.1234567891234"),
        ("en_GB", "1/3", "1/3"),
        ("en_GB", "12345678901234567890.5", "12,345,678,901,234,567,890.5"),
    ],
)
def test_a_figure_keeps_every_digit(locale: str, text: str, printed: str) -> None:
    assert printer(locale).figure(text) == printed


@pytest.mark.parametrize(
    ("locale", "amount", "currency", "full"),
    [
        ("en_GB", "797.06", "GBP", "£797.06"),
        ("de_DE", "797.06", "EUR", "797,06\N{NO-BREAK SPACE}€"),
        ("en_US", "-5", "JPY", "−¥5"),
        ("en_GB", "1.234", "KWD", "KWD\N{NO-BREAK SPACE}1.234"),
        ("en_US", "1034.20", "USD", "$1,034.20"),
    ],
)
def test_money_has_the_places_of_its_currency(locale: str, amount: str, currency: str, full: str) -> None:
    assert printer(locale).money({"amount": amount, "currency": currency})["full"] == full


def test_a_stamp_is_copied_as_seen() -> None:
    item = {"stamped": "585.0", "fineness": "585.0", "description": "1000.5"}
    printed = printer("de_DE").printed(item)
    assert (printed["stamped"], printed["fineness"], printed["description"]) == ("585.0", "585,0", "1000.5")


def test_a_time_is_on_the_clock_of_the_house() -> None:
    summer = printer().printed({"made_at": "2026-07-01T22:30:00.000Z"})["made_at"]
    assert (summer["date"], summer["time"]) == ("1 July 2026", "23:30 BST")


def sentences(documents: dict[str, Json]) -> list[str]:
    notices = [
        n["text"] for kind in ("quote", "purchase", "parting_plan") for n in documents[kind]["notices"]
    ]
    steps = [s["sentence"] for s in documents["settlement"]["comparison"]["steps"]]
    verdicts = [m["verdict_in_words"] for m in documents["reconciliation"]["metals"].values()]
    rows = [
        row for kind in ("quote", "settlement", "purchase", "bar_sale") for row in documents[kind]["working"]
    ]
    working = [row[part] for row in rows for part in ("what", "formula")]
    return [*notices, *steps, *verdicts, *working]


def test_what_the_reckoning_says_is_said_in_german(documents: dict[str, Json]) -> None:
    left = {" the ", " is ", " and ", " of ", "The ", " where ", " were ", " than "}
    for sentence in sentences(documents):
        german = told(sentence, GERMAN, printer("de_DE").figure)
        assert german != sentence
        assert not [word for word in left if word in german], german


BY_FIRE = {"fire_assay": {"least_u": "0.2"}, "xrf": {"least_u": "2"}}
BY_ALL = BY_FIRE | {"icp": {"least_u": "0.03"}, "difference": {"least_u": "0.02"}}


@pytest.mark.parametrize(
    ("methods", "german"),
    [
        (
            BY_ALL,
            "Ein Barren (Gold) von 999,9 ‰ verlangt den Nachweis durch Plasmaspektrometrie oder Differenz "
            "(Bericht eines Fremdlabors); durch Feuerprobe werden höchstens 999 ‰ angegeben.",
        ),
        (
            BY_FIRE,
            "Ein Barren (Gold) von 999,9 ‰ ist versprochen, und kein Verfahren dieser Bedingungen weist ihn "
            "nach; durch Feuerprobe werden höchstens 999 ‰ angegeben.",
        ),
    ],
)
def test_the_proof_that_a_promise_takes_is_said_in_german(house: House, methods: Json, german: str) -> None:
    terms = house.post("/v1/terms", {**A["terms"], "name": "proof", "assay_methods": methods}).json["number"]
    [text] = [
        notice["text"]
        for notice in house.post("/v1/estimates", asked(terms=terms)).json["notices"]
        if notice["code"] in ("proof-needed", "promise-unreachable")
    ]
    assert told(text, GERMAN, printer("de_DE").figure).startswith(german)


def test_every_word_is_used_somewhere() -> None:
    paper = files("api.paper")
    used = [t.read_text("utf-8") for t in (paper / "templates").iterdir()]
    used += [(paper / name).read_text("utf-8") for name in ("pictures.py", "numbers.py")]
    found = set(re.findall(r"[a-z_]+", " ".join(used)))
    unused = set(words(GERMAN)) - found - OF_DOCUMENTS
    assert {w for w in unused if not w.startswith(LOOKED_UP)} == set()
