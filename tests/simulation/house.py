"""What the simulated house believes: its terms, from a world or from what it wrongly takes for one."""

from collections.abc import Iterable
from typing import Any

from tests.simulation.truth import Kind, World, weight


def of_kind(kind: Kind, **wrong: float) -> dict[str, str]:
    said = {"bias": kind.bias, "scatter": kind.scatter, "shared": kind.shared} | wrong
    method = "xrf" if kind.by_instrument else "mark"
    return {"method": method, **{name: f"{value:.1f}" for name, value in said.items()}}


def terms(world: World, wrong: Iterable[tuple[str, dict[str, float]]] = (), **changes: Any) -> dict[str, Any]:
    """Terms that match a world, but for what is said of some kinds."""
    believed = dict(wrong)
    return {
        "name": "simulated",
        "public": True,
        "currency": "GBP",
        "karat_basis": "standard",
        "division": weight(f"{world.division}"),
        "estimate_silver": True,
        "evidence": {
            **{kind.name: of_kind(kind, **believed.get(kind.name, {})) for kind in world.kinds},
            "alloy_table": {"method": "table", "shared": "20"},
        },
        "metals": {
            "gold": {
                "settle_on": "outturn",
                "recovery": f"{world.gold_recovery[0]}",
                "recovery_u": f"{world.gold_recovery[1]}",
                "accountable": "0.985",
                "payout_rate": "0.97",
                "balance": "0.02",
            },
            "silver": {
                "settle_on": "outturn",
                "recovery": f"{world.silver_recovery[0]}",
                "recovery_u": f"{world.silver_recovery[1]}",
                "accountable": "0.90",
                "payout_rate": "0.90",
                "balance": "0.05",
            },
        },
        "silver_rule": "house_first",
        "house_silver": {"fineness": "999", "gold": "0"},
        "taxes": {"standard": {"rate": "0.20", "class": "standard"}},
        "charges": [
            {"name": "treatment", "base": "gross_weight", "per": "g", "rate": "0.55", "minimum": "15.00",
             "tax": "standard"},
        ],
        **changes,
    }  # fmt: skip


# Kinds of a usual counter, and a world in which they are worth this.
USUAL = (
    Kind("hallmark", -1.0, 3.0, 1.0),
    Kind("stamp only", -8.0, 9.0, 4.0),
    Kind("filled goods", -40.0, 60.0, 20.0, filled_part="1/20"),
    Kind("xrf", 0.0, 4.0, 2.0, by_instrument=True),
)
