"""B2: which figures of fineness are asked back, since they look like a slip."""

import pytest

from settle.reckoning.fineness import marks_in
from settle.reckoning.item import read_items
from settle.reckoning.problems import Faults

from .shop import F, faults_of, item_json, read_item, terms

KINDS = {
    "hallmark": {"method": "mark", "bias": "-1", "scatter": "2", "shared": "1"},
    "old stamp": {"method": "mark", "bias": "-14", "scatter": "24", "shared": "7"},  # 14 + 2 × 25 = 64
    "xrf": {"method": "xrf", "scatter": "4", "shared": "3"},  # 2 × 5, and half a karat: 20.83
    "touchstone": {"method": "touchstone", "bias": "3", "scatter": "12", "shared": "5"},  # 3 + 2 × 13 = 29
    "unread": {"method": "none", "reckon": False},
}
PERCENT = "looks-like-percent"


def asked_back(evidence="hallmark", **said):
    """What a shop that enters this is asked: the kind of question and the field; None if nothing."""
    refused = faults_of(lambda: read_item(terms(evidence=KINDS), evidence=evidence, **said))
    assert len(refused) <= 1, "one question is enough"
    return next(((kind, pointer.rpartition("/")[2]) for kind, pointer in refused), None)


@pytest.mark.rule("B2")
@pytest.mark.parametrize(
    ("fineness", "more", "question"),
    [
        ("0.750", {}, PERCENT),
        ("75", {}, PERCENT),
        ("58.5", {}, PERCENT),
        ("0", {}, PERCENT),
        ("99.9", {}, PERCENT),
        ("100", {}, PERCENT),  # pure metal, in percent
        ("101", {}, PERCENT),
        ("101.1", {}, None),
        ("92.5", {"metal": "silver"}, PERCENT),
        ("75", {"in": "permille"}, None),
        ("75", {"filled_part": "1/20"}, None),  # so little may be in what is filled
        ("75", {"filled_part": "1"}, PERCENT),
        ("58.5", {"stamped": "585"}, PERCENT),  # one question, not two
    ],
)
def test_a_fineness_that_looks_like_percent_is_asked_back(fineness, more, question):
    assert asked_back(fineness=fineness, **more) == (question and (question, "fineness"))


@pytest.mark.rule("B2")
def test_a_karat_is_never_asked_whether_it_is_percent():
    assert asked_back(karat="1") is None
    assert asked_back(karat="0.75", evidence="xrf") is None


@pytest.mark.rule("B2")
@pytest.mark.parametrize(
    ("stamped", "known", "evidence", "asked"),
    [
        ("750", {"fineness": "570"}, "hallmark", True),  # 750 as a hasty eye reads it
        ("750", {"karat": "8"}, "hallmark", True),
        ("375", {"karat": "10"}, "hallmark", True),  # 41.7 apart
        ("14K", {"fineness": "585"}, "hallmark", False),  # 583.33
        ("14K", {"karat": "14"}, "hallmark", False),
        ("750", {"fineness": "729.2"}, "hallmark", False),  # half a karat is 20.83
        ("750", {"fineness": "729.1"}, "hallmark", True),
        ("750", {"fineness": "770.9"}, "hallmark", True),
        # a test may well find less than is stamped
        ("585", {"fineness": "570"}, "xrf", False),
        ("585", {"fineness": "565"}, "xrf", False),
        ("585", {"fineness": "564"}, "xrf", True),
        ("585", {"fineness": "564", "in": "permille"}, "xrf", False),
        ("585", {"fineness": "417", "in": "permille"}, "xrf", False),
        ("585", {"fineness": "556"}, "touchstone", False),  # as far as such readings lie
        ("585", {"fineness": "555.9"}, "touchstone", True),
        ("18K", {"karat": "14"}, "touchstone", True),
        ("18K", {"fineness": "583.3", "in": "permille"}, "touchstone", False),  # so it is said
        ("750", {"fineness": "686"}, "old stamp", False),
        ("750", {"fineness": "685.9"}, "old stamp", True),
        # a composition is measured, filled goods hold less, and what is on assay only is not reckoned
        ("585", {"composition": {"gold": "417", "silver": "300"}}, "xrf", False),
        ("585", {"fineness": "417", "filled_part": "1/10"}, "hallmark", False),
        ("585", {"fineness": "417"}, "unread", False),
        # one mark that agrees is enough, and a mark that nobody knows says nothing
        ("375 on the clasp, 750", {"karat": "9"}, "hallmark", False),
        ("375 on the clasp, 750", {"karat": "14"}, "hallmark", True),
        ("LION & CO", {"karat": "9"}, "hallmark", False),
        ("925", {"karat": "9"}, "hallmark", False),  # a mark of silver
        ("925", {"metal": "silver", "fineness": "800"}, "hallmark", True),
        ("18K", {"metal": "silver", "fineness": "800"}, "hallmark", False),
        (None, {"karat": "9"}, "hallmark", False),
    ],
)
def test_a_figure_that_the_stamp_contradicts_is_asked_back(stamped, known, evidence, asked):
    field = next(name for name in ("fineness", "karat", "composition") if name in known)
    given = {"fineness": None, **known}
    assert asked_back(evidence, stamped=stamped, **given) == (("contradiction", field) if asked else None)


@pytest.mark.rule("B2")
@pytest.mark.parametrize(
    ("stamped", "marks"),
    [
        ("9 375", ["375"]),
        ("9 .375", ["375"]),
        ("18K 0,750", ["750", "750"]),
        ("750/1000", ["750"]),
        ("585er", ["585"]),
        ("9ct, worn", ["375"]),
        ("14 KT", ["1750/3"]),
        ("14kp", ["1750/3"]),
        ("18 carat", ["750"]),
        ("1/20 12K", []),  # no table gives 12 karat a mark
        ("1/10ct", []),
        ("14KGF", []),  # filled
        ("0.14ct", []),
        ("18K 0.585ct", ["750"]),  # what a stone weighs
        ("18K .375 ct", ["750"]),
        ("No 13750", []),
        ("7501", []),
        ("750 916", ["750", "916"]),
        ("18", []),
        ("K", []),
        ("", []),
    ],
)
def test_of_what_is_stamped_only_marks_of_the_tables_are_read(stamped, marks):
    assert marks_in(stamped, "gold") == [F(mark) for mark in marks]


@pytest.mark.rule("B2")
@pytest.mark.parametrize("known", [{"fineness": "75"}, {"karat": "8"}, {"composition": {"gold": "60"}}])
def test_what_was_kept_is_not_asked_about_when_it_is_read_again(known):
    body = {"items": [item_json(stamped="750", **{"fineness": None, **known})]}
    asked, again = Faults(), Faults()
    assert read_items(body, terms(), {}, asked) == read_items(body, terms(), {}, again, again=True)
    assert (len(asked.found), again.found) == (1, [])
