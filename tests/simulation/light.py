"""The light form: the reckoning alone, without books. Coverage of the band, review, drift."""

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from settle.reckoning import band as bands
from settle.reckoning.batch import LotIn, Weighed, reconcile
from settle.reckoning.drift import LIMIT, Chart, Residual, Sums, chart
from settle.reckoning.exact import ZERO, Exact, decimal
from settle.reckoning.history import Account, AssayedLot, assayed_lot
from settle.reckoning.item import read_items
from settle.reckoning.parting import need
from settle.reckoning.problems import Faults
from settle.reckoning.terms import Terms, read_terms
from settle.reckoning.weight import in_grams
from settle.reckoning.working import SILENT
from tests.simulation import truth
from tests.simulation.truth import Assayed, Lot, Market, World


@dataclass(frozen=True)
class Refined:
    """A lot that went through the reckoning: what was entered, found and came back."""

    lot: Lot
    assayed: Assayed
    gold_out: str

    def own(self, world: World, metal: str = "gold") -> Weighed:
        return Weighed(
            decimal(self.assayed.melt),
            decimal(f"{world.division}"),
            decimal(self.assayed.ppt[metal]),
            decimal(f"{world.assay_u}") ** 2,
        )


LOTS_A_SHOP = 10
_OUT_PPT, _OUT_U_PPT = decimal("999.9"), decimal("0.05")


def refined(world: World, rng: random.Random, lot: Lot) -> Refined:
    came = lot.fine_g("gold") * truth.recovered(rng, world.gold_recovery)
    fineness = 0.9999 + rng.gauss(0.0, 0.00005)
    return Refined(lot, truth.assay(world, rng, lot), truth.read(came / fineness, world.division))


def account(world: World, terms: Terms, of: Refined) -> Any:
    """The account of a batch of this lot alone (H2 to H4)."""
    out = Weighed(decimal(of.gold_out), decimal(f"{world.division}"), _OUT_PPT, _OUT_U_PPT**2)
    return reconcile(terms, "gold", [LotIn("L", of.own(world))], [], [out])


def is_inside(world: World, terms: Terms, of: Refined) -> bool:
    """Whether R of the gold lay inside the quote's band (C4, H2, G3)."""
    faults = Faults()
    items = read_items({"items": of.lot.entered}, terms, {}, faults)
    faults.refuse_if_any()
    content = bands.fine("gold", items, SILENT)
    needed = need(terms, content.likely_g, sum((i.net_g for i in items), ZERO), SILENT)
    band = bands.band(terms, "gold", content, needed, SILENT)
    r = in_grams(account(world, terms, of).shares.lots_mg[0])
    return band.recovered_g["low"] <= r <= band.recovered_g["high"]


Tick = Callable[[], None]


def coverage(world: World, terms: Terms, seed: int, lots: int, tick: Tick = lambda: None) -> int:
    """How many of `lots` lots lay inside; what a kind has in common is drawn anew for each shop."""
    rng = random.Random(seed)
    market = Market(world, rng)
    inside = 0
    for i in range(lots):
        if i % LOTS_A_SHOP == 0:
            market.new_shop()
        inside += is_inside(world, terms, refined(world, rng, market.lot()))
        tick()
    return inside


def history(world: World, terms: Terms, market: Market, lots: int) -> tuple[list[AssayedLot], list[Account]]:
    """Lots of one shop as a review takes them, with the account of each."""
    assayed, accounts = list[AssayedLot](), list[Account]()
    for i in range(lots):
        of = refined(world, market.rng, market.lot())
        found = {"gold": of.own(world)}
        assayed.append(assayed_lot(f"L-{i}", terms, {"items": of.lot.entered}, {}, found))
        accounts.append(_account(f"B-{i}", world, terms, of))
    return assayed, accounts


def _account(pot: str, world: World, terms: Terms, of: Refined) -> Account:
    done, rule = account(world, terms, of), terms.metals["gold"]
    measured = done.u_g**2 - (in_grams(done.in_mg) * rule.recovery_u) ** 2
    return Account(pot, "gold", in_grams(done.in_mg), done.residual_g, measured, rule.recovery)


def read(terms_json: Mapping[str, Any]) -> Terms:
    return read_terms(terms_json, "T-1")


# Drift ----------------------------------------------------------------------------------------


def silver_residuals(
    world: World, terms: Terms, rng: random.Random, stolen: float = 0.0
) -> Iterator[Residual]:
    """Batch after batch: silver of lots and a loan in, what came back out, a part of it stolen."""
    n = 0
    division, u_in, u_out = decimal(f"{world.division}"), Exact(1), decimal("0.5")
    while True:
        n += 1
        melt, ppt = rng.uniform(40.0, 150.0), rng.uniform(60.0, 200.0)
        lent, lent_ppt = rng.uniform(60.0, 250.0), 999.0
        own = Weighed(decimal(truth.read(melt, world.division)), division, _ppt(rng, ppt, u_in), u_in**2)
        loan = Weighed(decimal(truth.read(lent, world.division)), division, _ppt(rng, lent_ppt, ZERO), ZERO)
        fine = melt * ppt / 1000.0 + lent * lent_ppt / 1000.0
        came = fine * truth.recovered(rng, world.silver_recovery) * (1.0 - stolen)
        out_ppt = 998.0
        weighed = decimal(truth.read(came / out_ppt * 1000.0, world.division))
        out = Weighed(weighed, division, _ppt(rng, out_ppt, u_out), u_out**2)
        done = reconcile(terms, "silver", [LotIn("L", own)], [loan], [out])
        yield Residual(str(n), done.residual_g, done.u_g)


def _ppt(rng: random.Random, true_ppt: float, u: Exact) -> Exact:
    return decimal(f"{min(true_ppt + rng.gauss(0.0, float(u)), 1000.0):.2f}")


def alarms(world: World, terms: Terms, seed: int, batches: int) -> Chart:
    """The chart of an honest shop."""
    residuals = silver_residuals(world, terms, random.Random(seed))
    return chart(next(residuals) for _ in range(batches))


def found_after(world: World, terms: Terms, seed: int, stolen: float, most: int) -> int | None:
    """How many batches of theft until the chart says that metal is missing; None if not within `most`."""
    residuals = silver_residuals(world, terms, random.Random(seed), stolen)
    sums = Sums()
    for n in range(1, most + 1):
        sums = sums.after(str(n), next(residuals).z or ZERO)
        if sums.missing > LIMIT:
            return n
    return None
