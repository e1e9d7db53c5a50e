"""H4: whoever has the printed account of a batch redoes every figure of it, from printed figures alone."""

import json
import re
from fractions import Fraction

import pytest
from hypothesis import given
from oracle.quantities import parts, root, to_mg, within

from settle.reckoning import document
from settle.reckoning.batch import Held, LotIn, Weighed, reconcile
from settle.reckoning.terms import read_terms
from settle.reckoning.working import Working

from .refining import batches, came_out, held, lent, lot_in
from .strategies import Json

VERDICTS = ("as expected", "within tolerance", "query")


def printed(of: Json, case: Json, metal: str) -> Json:
    """The account as a reader has it: text, nothing else."""
    terms, working = read_terms(of), Working()
    names = [f"L-{i}" for i in range(len(case["lots"]))]
    lots = [lot_in(terms, lot, metal, name) for lot, name in zip(case["lots"], names, strict=True)]
    made = reconcile(
        terms, metal, lots, lent(terms, case, metal), came_out(case, metal), held(case, metal), working
    )
    answer: Json = json.loads(json.dumps(document.reconciliation(made, names, terms, [], working)))
    return answer


def grams(of: Json) -> Fraction:
    return Fraction(of["g"])


def rows(account: Json, beginning: str) -> list[Json]:
    return [row for row in account["working"] if row["what"].startswith(beginning)]


def inputs(row: Json) -> dict[str, Fraction]:
    return {name: Fraction(text) for name, text in row["inputs"].items()}


def redone_weights(account: Json) -> None:
    """What each lot brought, what was lent, came out and is held."""
    metal = account["metal"]
    weighed = {row["what"].split(" in ")[1].split(",")[0]: row for row in rows(account, f"{metal} in ")}
    for row in weighed.values():
        of = inputs(row)
        assert of["weight"] * of["assay"] / 1000 == Fraction(row["exact"])
        assert to_mg(Fraction(row["exact"])) == Fraction(row["rounded"])
    fine = {name: Fraction(row["rounded"]) for name, row in weighed.items()}
    assert {lot: grams(g) for lot, g in account["own"].items()} == {x: fine[x] for x in account["own"]}
    for name, total in (("loan", "lent"), ("outturn", "out")):
        assert sum(g for of, g in fine.items() if of.startswith(name)) == grams(account[total])
    kept = sum(Fraction(row["rounded"]) for row in rows(account, f"{metal} held"))
    assert kept == grams(account["held"])


def redone_u(account: Json) -> Fraction:
    """u of the residual, of each weighing and assay that went in or came out, of what is held, of the recovery."""
    metal, variance = account["metal"], {"in": Fraction(0), "out": Fraction(0)}
    for row in rows(account, f"variance of {metal} in "):
        of, way = inputs(row), "out" if " in outturn " in row["what"] else "in"
        found = (of["assay"] / 1000) ** 2 * of["weighings"] * of["division"] ** 2 / 12
        variance[way] += found + (of["weight"] / 1000) ** 2 * of["variance of the assay"]
    variance["out"] += sum(inputs(row)["u"] ** 2 for row in rows(account, f"{metal} held"))
    [row] = rows(account, "u of the residual")
    scatter = (grams(account["in"]) * inputs(row)["recovery u"]) ** 2
    u = root(Fraction(account["recovery"]) ** 2 * variance["in"] + variance["out"] + scatter)
    assert u == Fraction(row["exact"])
    assert to_mg(u) == grams(account["residual_u"])
    return u


def redone_verdict(account: Json, u: Fraction) -> str:
    size, went_in = abs(grams(account["residual"])), grams(account["in"])
    if size <= 2 * u:
        return VERDICTS[0]
    tolerated = account["balance"] is not None and size <= Fraction(account["balance"]) * went_in
    return VERDICTS[1] if tolerated else VERDICTS[2]


def redone_shares(account: Json) -> dict[str, Fraction]:
    """R of each lot (H2, H3), by the rule that its row names."""
    own = {lot: grams(g) for lot, g in account["own"].items()}
    lent_g, back = grams(account["lent"]), grams(account["out"]) + grams(account["held"])
    shared = rows(account, f"{account['metal']} of lot ")
    formula, went_in = shared[0]["formula"], grams(account["in"])
    if formula.startswith("own − (own + needed to part it)"):
        lost = 1 - back / went_in if went_in else Fraction(0)
        needs = [to_mg(inputs(row)["needed to part it"]) for row in shared]
        given = [to_mg(mine - (mine + need) * lost) for mine, need in zip(own.values(), needs, strict=True)]
        given = given if went_in else [Fraction(0)] * len(own)
    elif formula.startswith("pro rata"):
        given = parts(back, [lent_g, *own.values()])[1:]
    else:
        given = parts(back, [*own.values(), lent_g])[:-1]
    return {lot: within(Fraction(0), r, own[lot]) for lot, r in zip(own, given, strict=True)}


def redone_sentence(account: Json, u: Fraction) -> None:
    """What the verdict says in words is true as it is read."""
    figures = re.findall(r"([0-9.]*[0-9]) g", account["verdict_in_words"])
    if not figures:
        assert grams(account["residual"]) == 0
        return
    size, loss, said_u = map(Fraction, figures)
    assert (size, loss) == (abs(grams(account["residual"])), grams(account["expected_loss"]))
    assert said_u in (u, to_mg(u))
    assert (size <= 2 * said_u) == (account["verdict"] == VERDICTS[0])


def redone(account: Json) -> None:
    redone_weights(account)
    own = sum(grams(g) for g in account["own"].values())
    went_in, back = grams(account["in"]), grams(account["out"]) + grams(account["held"])
    assert went_in == own + grams(account["lent"])
    assert grams(account["expected_loss"]) == went_in * (1 - Fraction(account["recovery"]))
    assert grams(account["residual"]) == went_in - grams(account["expected_loss"]) - back
    u = redone_u(account)
    assert account["verdict"] == redone_verdict(account, u)
    redone_sentence(account, u)
    credited = {lot: grams(g) for lot, g in account["credited"].items()}
    assert credited == redone_shares(account)
    assert grams(account["house_share"]) == back - sum(credited.values())


@pytest.mark.parametrize("metal", ["gold", "silver"])
@given(drawn=batches())
def test_every_figure_of_a_printed_account_is_redone_from_printed_figures(metal, drawn):
    redone(printed(*drawn, metal))


def test_an_account_whose_residual_is_rounded_is_found():
    terms = read_terms({
        "name": "bare", "currency": "GBP", "division": {"amount": "0.01", "unit": "g"},
        "evidence": {"sure": {"method": "fire_assay"}},
        "metals": {"gold": {"settle_on": "outturn", "recovery": "0.9951", "accountable": "1", "payout_rate": "1"}},
    })  # fmt: skip
    working = Working()
    own = LotIn("L-0", Weighed(Fraction("57.969"), Fraction("0.01"), Fraction(1000)))
    out, kept = (
        Weighed(Fraction("57.6"), Fraction("0.01"), Fraction(1000)),
        Held(Fraction("0.05"), Fraction("0.02")),
    )
    made = reconcile(terms, "gold", [own], [], [out], [kept], working)
    account = document.reconciliation(made, ["L-0"], terms, [], working)
    redone(account)
    with pytest.raises(AssertionError):
        redone(account | {"residual": {"g": f"{float(account['residual']['g']):.3f}"}})
