"""H9: which lots may share a batch, and which batches a silver recovery."""

import pytest
from reckoning.shop import metal, terms

from settle.reckoning.shared import Joining, recovery_faults, sharing_faults

GOLD = {"settle_on": "outturn", "recovery": "0.995", "recovery_u": "0.001", "balance": "0.002"}
SILVER = {"settle_on": "outturn", "recovery": "0.97"}


def agreed(gold=None, silver=None, **changes):
    return terms(
        metals={"gold": metal(**GOLD | (gold or {})), "silver": metal(**SILVER | (silver or {}))}, **changes
    )


def lot(name="two", of=None, **changes):
    return Joining(name, of or agreed(), **({"consents": True} | changes))


def reasons(*lots):
    return [(f.kind, f.pointer) for f in sharing_faults([lot("one"), *lots])]


MAY_JOIN = [
    lot(),
    lot(owner_allows_platinum=True, found=("gold", "platinum")),
    lot(found=("gold", "silver")),
    lot(
        of=agreed(umpire_fee="40", stating_step={"amount": "0.1", "unit": "g"})
    ),  # nothing a batch has in common
    lot(of=agreed(gold={"accountable": "0.98", "payout_rate": "0.9"})),
    lot(consents=False, bought=True, of=agreed(silver_rule="house_first")),
    lot(consents=False, bought=True, of=terms()),
]


@pytest.mark.rule("H9")
@pytest.mark.parametrize("joining", MAY_JOIN)
def test_lots_of_like_terms_and_willing_clients_and_the_houses_own_metal_share_a_batch(joining):
    assert reasons(joining) == []


KEPT_APART = [
    # what is so of the second lot: kind
    ({"consents": False}, "not-accepted"),
    ({"refine_alone": True}, "kept-apart"),
    ({"found": ("gold", "platinum")}, "kept-apart"),
    ({"found": ("palladium",)}, "kept-apart"),
    ({"holding_until": "2026-03-01T09:00:00Z"}, "holding-period"),
    ({"frozen": True}, "frozen"),
    # bought metal has a holding period too, and may hold platinum
    ({"bought": True, "consents": False, "holding_until": "2026-03-01T09:00:00Z"}, "holding-period"),
    ({"bought": True, "consents": False, "frozen": True}, "frozen"),
    ({"bought": True, "consents": False, "found": ("platinum",)}, "kept-apart"),
]


@pytest.mark.rule("H9")
@pytest.mark.parametrize(("so", "kind"), KEPT_APART)
def test_each_reason_to_keep_a_lot_apart_is_told(so, kind):
    assert reasons(lot(**so)) == [(kind, "/lots/1")]


DIFFERENT = [
    # terms of the second lot: what differs
    (agreed(silver_rule="house_first"), ["silver_rule"]),
    (agreed(parting_target="0.3"), ["parting_target"]),
    (agreed(house_silver={"fineness": "999"}), ["house_silver fineness"]),
    (agreed(house_silver={"fineness": "999", "gold": "1"}), ["house_silver fineness", "house_silver gold"]),
    (agreed(gold={"settle_on": "assay"}), ["settle_on of gold"]),
    (agreed(gold={"recovery": "0.99"}), ["recovery of gold"]),
    (agreed(gold={"recovery_u": "0.002"}), ["recovery_u of gold"]),
    (agreed(gold={"balance": "0.003"}), ["balance of gold"]),
    (agreed(silver={"balance": "0.003"}), ["balance of silver"]),  # the first lot's terms give none
    (
        agreed(silver={"settle_on": "assay", "recovery": "0.96"}),
        ["settle_on of silver", "recovery of silver"],
    ),
    (terms(metals={"gold": metal(**GOLD)}), ["settle_on of silver"]),
]


@pytest.mark.rule("H9")
@pytest.mark.parametrize(("of", "fields"), DIFFERENT)
def test_each_figure_that_the_terms_differ_in_is_told(of, fields):
    found = sharing_faults([lot("one"), lot("two", of)])
    assert {(f.kind, f.pointer) for f in found} == {("kept-apart", "/lots/1")}
    assert [f.wrong.split(" is ")[0] for f in found] == fields
    assert [f.wrong.split(" is ")[0] for f in recovery_faults([("B1", agreed()), ("B2", of)])] == fields


@pytest.mark.rule("H9")
def test_a_difference_names_both_figures_and_both_lots():
    (found,) = sharing_faults([lot("L-1"), lot("L-2", agreed(silver={"balance": "0.003"}))])
    assert found.wrong == "balance of silver is 0.003 for L-2, not given for L-1"


@pytest.mark.rule("H9")
def test_all_reasons_of_all_lots_are_told_at_once():
    found = reasons(
        lot(consents=False, frozen=True), lot("three", agreed(silver_rule="house_first"), found=("platinum",))
    )
    assert found == [
        ("frozen", "/lots/1"),
        ("not-accepted", "/lots/1"),
        ("kept-apart", "/lots/2"),
        ("kept-apart", "/lots/2"),
    ]


@pytest.mark.rule("H9")
@pytest.mark.parametrize(
    ("so", "kinds"),
    [
        ({"consents": False, "refine_alone": True, "found": ("platinum",)}, []),
        ({"holding_until": "2026-03-01T09:00:00Z"}, ["holding-period"]),
        ({"frozen": True}, ["frozen"]),
    ],
)
def test_a_lot_that_is_refined_alone_asks_nobodys_leave_but_the_laws(so, kinds):
    assert [f.kind for f in sharing_faults([lot(**so)])] == kinds


@pytest.mark.rule("H9")
def test_the_houses_own_metal_binds_nobody_to_its_terms():
    house = lot("house", terms(silver_rule="house_first"), consents=False, bought=True)
    assert sharing_faults([house, lot("one"), lot("two")]) == ()
