"""A6: what a stated fineness rests on, and what may be promised by it."""

import pytest

from settle.reckoning.notices import of_quote, of_terms, of_wishes
from settle.reckoning.problems import Faults
from settle.reckoning.proof import look_at_proof, most_stated, read_method
from settle.reckoning.reading import Reader
from settle.reckoning.terms import ASSAY_METHODS

from .shop import F, bars, quote, terms, wishes

# Fire assay and XRF: common practice, no source. Difference (impurities measured): ISO 15093, from memory.
LEAST = {"fire_assay": "0.2", "xrf": "2", "difference": "0.02"}


def bound(least=LEAST, **changes):
    return terms(assay_methods={method: {"least_u": u} for method, u in least.items()}, **changes)


def faults(assay, u, *stated_under):
    """(kind, field) of each fault of an assay; its standard u as it was read."""
    found = Faults()
    look_at_proof(Reader(assay, found, "/assay"), F(u), stated_under)
    return [(fault.kind, fault.pointer.removeprefix("/assay/")) for fault in found.found]


REPORT = {"report": "LB 26/118"}


@pytest.mark.rule("A6")
@pytest.mark.parametrize(
    ("assay", "u", "refused"),
    [
        ({"method": "fire_assay", "u": "0.2"}, "0.2", []),
        ({"method": "fire_assay", "u": "0.19"}, "0.19", [("out-of-range", "u")]),
        ({"method": "fire_assay"}, "0", [("out-of-range", "u")]),  # no u at all claims none
        ({"method": "xrf", "u": "0.001"}, "0.001", [("out-of-range", "u")]),
        ({"method": "xrf", "u": "2"}, "2", []),
        ({"method": "difference", "u": "0.02", **REPORT}, "0.02", []),
        # what is compared is the standard one: an expanded 0.3 of k 2 is 0.15, of 0.4 it is 0.2
        ({"method": "fire_assay", "expanded_u": "0.3", "k": "2"}, "0.15", [("out-of-range", "expanded_u")]),
        ({"method": "fire_assay", "expanded_u": "0.4", "k": "2"}, "0.2", []),
        ({"method": "icp"}, "0", []),  # the terms don't name it
        ({"u": "0.2"}, "0.2", [("missing", "method")]),
        ({"method": "guess", "u": "0.2"}, "0.2", [("not-one-of", "method")]),
        ({"method": "difference", "u": "0.02"}, "0.02", [("missing", "report")]),
        ({"method": "difference", "u": "0.01"}, "0.01", [("missing", "report"), ("out-of-range", "u")]),
    ],
)
def test_no_method_claims_less_uncertainty_than_the_terms_let_it(assay, u, refused):
    assert faults(assay, u, bound()) == refused


@pytest.mark.rule("A6")
def test_a_smaller_u_is_refused_with_the_figure_that_would_be_right():
    found = Faults()
    look_at_proof(Reader({"method": "xrf"}, found), F("0.001"), [bound()])
    assert "2 ‰" in found.found[0].right


@pytest.mark.rule("A6")
@pytest.mark.parametrize("method", ASSAY_METHODS)
def test_terms_that_name_no_method_bind_none_but_each_assay_names_its_own(method):
    assert faults({"method": method, **REPORT}, "0", terms()) == []
    assert faults({}, "0", terms()) == [("missing", "method")]
    assert faults({"method": "difference"}, "0") == [("missing", "report")]


@pytest.mark.rule("A6")
def test_the_terms_of_every_lot_that_a_bar_may_be_stated_under_are_looked_at():
    strict = bound({"fire_assay": "0.5"})
    assert faults({"method": "fire_assay"}, "0.3", bound(), strict) == [("out-of-range", "u")]
    assert faults({"method": "fire_assay"}, "0.3", bound(), terms()) == []


@pytest.mark.rule("A6")
def test_a_report_may_be_named_beside_any_method():
    found = Faults()
    assert read_method(Reader({"method": "icp", **REPORT}, found)) == "icp"
    assert not found.found


@pytest.mark.rule("A6")
def test_by_fire_assay_alone_nothing_above_999_is_stated():
    # 1000 − 2 × 0.2 = 999.6 is sure of pure gold, 996 by XRF, 999.96 by difference
    assert most_stated(bound()) == {"fire_assay": 999, "xrf": 995, "difference": F("999.9")}
    without_steps = {"fire_assay": F("999.6"), "xrf": 996, "difference": F("999.9")}
    assert most_stated(bound(fineness_steps=[])) == without_steps


def told(of, fineness):
    """The codes of what is said of a promise when it is quoted, and the texts."""
    found = of_quote(quote(of, asked={"gold": {"bars": [bars("1", 1, fineness)]}}))
    about = [n for n in found if n.code in ("proof-needed", "promise-unreachable")]
    return [n.code for n in about], " ".join(n.text for n in about)


BY_FIRE = {"fire_assay": "0.2", "xrf": "2"}


@pytest.mark.rule("A6")
@pytest.mark.parametrize(
    ("least", "promised", "codes"),
    [
        (LEAST, "995", []),
        (LEAST, "999", []),  # a fire assay is enough
        (LEAST, "999.1", ["proof-needed"]),
        (LEAST, "999.9", ["proof-needed"]),
        (LEAST, "999.95", ["promise-unreachable"]),  # beyond the steps, told once
        (BY_FIRE, "999", []),
        (BY_FIRE, "999.9", ["promise-unreachable"]),
        ({"xrf": "2"}, "995", []),
        ({"xrf": "2"}, "999", ["promise-unreachable"]),
        ({"xrf": "2", "icp": "0.3"}, "999", ["proof-needed"]),
        ({"difference": "0.02"}, "999.9", []),  # the only proof there is
        ({}, "999.9", []),  # nothing is bound
    ],
)
def test_a_promise_is_quoted_with_the_proof_that_it_takes(least, promised, codes):
    assert told(bound(least), promised)[0] == codes


@pytest.mark.rule("A6")
def test_the_proof_that_a_promise_takes_is_named_with_what_a_fire_assay_can():
    _, text = told(bound(), "999.9")
    assert "by difference (an outside laboratory's report)" in text
    assert "by fire assay 999 ‰ at most" in text
    _, text = told(bound(BY_FIRE), "999.9")
    assert "no method" in text
    assert "by fire assay 999 ‰ at most" in text


@pytest.mark.rule("A6")
def test_what_is_poured_needs_no_word_on_its_proof_any_more():
    of = bound()
    assert of_wishes(of, wishes(of, gold={"bars": [bars("1", 1, "999.9")]})) == []


@pytest.mark.rule("A6")
@pytest.mark.parametrize(
    ("least", "steps", "warned"),
    [
        (LEAST, ["995", "999", "999.9"], False),
        (BY_FIRE, ["995", "999", "999.9"], True),
        (BY_FIRE, ["995", "999"], False),
        (BY_FIRE, [], False),
        ({}, ["999.9"], False),
    ],
)
def test_terms_that_promise_what_no_method_of_theirs_can_prove_are_warned_about(least, steps, warned):
    found = [n.code for n in of_terms(bound(least, fineness_steps=steps))]
    assert found == (["promise-unreachable"] if warned else [])
