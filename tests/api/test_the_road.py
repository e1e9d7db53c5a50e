"""From an empty shop to a posted settlement: every figure of the published settlement D."""

from collections.abc import Iterator
from functools import reduce
from typing import Any

import pytest
from stages import BARS, BATCH, CLIENT, LOT, QUOTE, ROAD, SETTLEMENT, A, D

SETTLED = f"/v1/settlements/{SETTLEMENT}"
HELD = "house:stock + house:bars"
LOT_ACCOUNT = f"client:{CLIENT}:lot:{LOT}"


def found(answer: Any, path: tuple[Any, ...]) -> Any:
    return reduce(lambda value, step: value[step], path, answer)


def of_case(metals: Any, case: str) -> Iterator[tuple[str, tuple[Any, ...], str]]:
    for metal, figures in metals.items():
        for name, grams in figures.items():
            shown = "bars_total" if name == "bars" else name
            yield f"{case} {metal} {name}", ("cases", case, "metals", metal, shown, "g"), grams


def of_money(answer: Any, case: str) -> Iterator[tuple[str, tuple[Any, ...], str]]:
    for metal, amount in answer["payouts"].items():
        yield f"{case} payout of {metal}", ("cases", case, "metals", metal, "payout", "amount"), amount
    for i, (charge, amount) in enumerate(answer["charges"].items()):
        yield f"{case} name of {charge}", ("cases", case, "charges", i, "name"), charge
        yield f"{case} charge {charge}", ("cases", case, "charges", i, "amount", "amount"), amount
    for i, (code, amount) in enumerate(answer["taxes"].items()):
        yield f"{case} code {code}", ("cases", case, "taxes", i, "code"), code
        yield f"{case} tax {code}", ("cases", case, "taxes", i, "amount", "amount"), amount
    for name in ("charges_total", "tax_total", "net"):
        yield f"{case} {name}", ("cases", case, name, "amount"), answer[name]


def of_settlement() -> Iterator[tuple[str, tuple[Any, ...], Any]]:
    yield from of_case(D["answer"]["metals"], "final")
    yield from of_money(D["answer"], "final")
    yield "net above all", ("net", "amount"), D["answer"]["net"]
    yield "melt weight", ("weights", "melt", "g"), "118.400"
    for metal, ppt in D["assay"].items():
        yield f"assay of {metal}", ("assay", metal), ppt
    for metal, r in D["R"].items():
        yield f"R of {metal}", ("cases", "final", "metals", metal, "recovered", "g"), r
    for metal, price in D["prices"].items():
        yield f"price of {metal}", ("prices", metal, "amount"), price["amount"]
    for i, bar in enumerate(D["bars"]):
        of = ("cases", "final", "metals", "gold", "bars", i)
        yield f"bar {i} fineness", (*of, "stated_fineness"), bar["stated_fineness"]
        yield f"bar {i} weight", (*of, "stated_weight", "g"), "20.000"
        yield f"bar {i} serial", (*of, "serial"), BARS[i]
    for i, step in enumerate(D["comparison"]):
        of = ("comparison", "steps", i)
        yield f"step {i}", (*of, "step"), step["step"]
        yield f"V of {step['step']}", (*of, "worth", "amount"), step["V"]
        yield f"difference of {step['step']}", (*of, "difference", "amount"), step["difference"]


def of_quote() -> Iterator[tuple[str, tuple[Any, ...], Any]]:
    for case, answer in A["answer"].items():
        yield from of_case(answer["metals"], case)
        yield from of_money(answer, case)
    for name, case in (("least", "low"), ("likely", "likely"), ("greatest", "high")):
        yield name, ("net_range", name, "amount"), A["answer"][case]["net"]
    yield "bars covered", ("bars_covered", "gold"), A["answer"]["low"]["bar_counts"]["gold"]


@pytest.mark.parametrize(
    ("path", "figure"), [pytest.param(path, figure, id=name) for name, path, figure in of_settlement()]
)
def test_the_settlement_holds_every_figure_of_the_published_one(
    standing: Any, path: tuple[Any, ...], figure: Any
) -> None:
    assert found(standing("settled").get(SETTLED), path) == figure


@pytest.mark.parametrize(
    ("path", "figure"), [pytest.param(path, figure, id=name) for name, path, figure in of_quote()]
)
def test_the_quote_holds_every_figure_of_the_published_estimate(
    standing: Any, path: tuple[Any, ...], figure: Any
) -> None:
    assert found(standing("quoted").get(f"/v1/quotes/{QUOTE}"), path) == figure


def test_nothing_is_charged_that_the_published_settlement_does_not_charge(standing: Any) -> None:
    final = standing("settled").get(SETTLED)["cases"]["final"]
    assert [c["name"] for c in final["charges"]] == list(D["answer"]["charges"])
    assert [t["code"] for t in final["taxes"]] == list(D["answer"]["taxes"])
    assert list(final["metals"]) == list(D["answer"]["metals"])
    assert len(final["metals"]["gold"]["bars"]) == len(D["bars"])


def test_the_comparison_stands_at_its_own_address_and_its_steps_add_up(standing: Any) -> None:
    told = standing("settled").get(f"{SETTLED}/comparison")
    assert [s["difference"]["amount"] for s in told["steps"]] == [s["difference"] for s in D["comparison"]]
    assert all(step["sentence"] for step in told["steps"])
    # 3292.79 − 3243.31, and −227.60 + 227.98 for weight and fineness together.
    assert (told["difference"]["amount"], told["metal_found"]["amount"]) == ("49.48", "0.38")
    assert told["inside_band"] == {"gold": True, "silver": True}


@pytest.mark.parametrize(
    ("metal", "name", "grams"),
    [
        ("gold", "own", "57.969"),  # 118.40 × 489.6 ‰
        ("gold", "lent", "0.000"),
        ("gold", "out", "57.708"),  # 57.71 × 999.97 ‰
        ("gold", "credited", D["R"]["gold"]),
        ("gold", "house_share", "0.000"),
        ("silver", "own", "13.995"),  # 118.40 × 118.2 ‰
        ("silver", "lent", "114.785"),  # 114.90 × 999 ‰
        ("silver", "out", "125.179"),  # 125.43 × 998 ‰
        ("silver", "credited", D["R"]["silver"]),
        ("silver", "house_share", "114.745"),  # 125.179 − 10.434
    ],
)
def test_the_reconciliation_accounts_for_the_batch(standing: Any, metal: str, name: str, grams: str) -> None:
    account = standing("reconciled").get(f"/v1/batches/{BATCH}/reconciliation")["metals"][metal]
    of = account[name][LOT] if name in ("own", "credited") else account[name]
    assert (of["g"], account["state"], account["verdict"]) == (grams, "posted", "as expected")


@pytest.mark.parametrize("stage", [name for name, _, _ in ROAD])
def test_the_journal_balances_at_every_stage(standing: Any, stage: str) -> None:
    balances = standing(stage).balances()
    for commodity in ("gold", "silver", "GBP"):
        assert sum(amount for (_, c), amount in balances.items() if c == commodity) == 0


@pytest.mark.parametrize(
    ("stage", "account", "commodity", "amount"),
    [
        ("opened", "house:stock", "silver", 499_500),
        ("lent", "house:stock", "silver", 499_500 - 114_785),
        ("lent", f"house:lent:{BATCH}", "silver", 114_785),
        ("reconciled", f"house:lent:{BATCH}", "silver", 0),
        ("reconciled", "house:stock", "silver", 499_500 - 114_785 + 125_179),
        ("reconciled", HELD, "gold", 57_708),
        ("reconciled", LOT_ACCOUNT, "gold", -57_708),
        ("reconciled", LOT_ACCOUNT, "silver", -10_434),
        ("settled", LOT_ACCOUNT, "gold", 0),
        ("settled", LOT_ACCOUNT, "silver", 0),
        ("settled", f"client:{CLIENT}:bars", "gold", -39_996),
        ("settled", f"client:{CLIENT}:metal", "gold", 0),
        ("settled", f"client:{CLIENT}:money", "GBP", -81_104),
        ("settled", "house:kept", "gold", -(57_708 - 56_842)),
        ("settled", "house:kept", "silver", -(10_434 - 9_391)),
        ("settled", "conversion", "gold", -16_846),
        ("settled", "conversion", "GBP", 101_394 + 634),
        ("settled", "tax:standard", "GBP", -3_487),
        ("settled", "charges:bar casting", "GBP", -2_900),
    ],
)
def test_what_the_books_say_is_what_the_documents_say(
    standing: Any, stage: str, account: str, commodity: str, amount: int
) -> None:
    assert standing(stage).balance(account, commodity) == amount


def test_the_stock_that_is_shown_is_what_the_journal_adds_up_to(standing: Any) -> None:
    till = standing("settled")
    shown = {metal: fine["g"] for metal, fine in till.get("/v1/stock")["stock"].items()}
    assert list(shown) == ["gold", "silver", "platinum", "palladium"]
    assert shown == {metal: f"{till.balance('house:stock', metal) / 1000:.3f}" for metal in shown}
    assert shown["silver"] == "509.894"


@pytest.mark.parametrize(
    ("stage", "state"),
    [
        ("received", "received"),
        ("melted", "melted"),
        ("assayed", "assayed"),
        ("in batch", "in_batch"),
        ("poured", "in_batch"),
        ("reconciled", "refined"),
        ("settled", "refined"),
    ],
)
def test_the_lot_says_where_its_metal_is(standing: Any, stage: str, state: str) -> None:
    assert standing(stage).get(f"/v1/lots/{LOT}")["state"] == state


@pytest.mark.parametrize(
    ("stage", "states"),
    [
        ("in batch", {"gold": "open", "silver": "open"}),
        ("out", {"gold": "outturn", "silver": "outturn"}),
        ("reconciled", {"gold": "closed", "silver": "closed"}),
    ],
)
def test_the_batch_says_how_far_each_metal_is(standing: Any, stage: str, states: dict[str, str]) -> None:
    assert standing(stage).get(f"/v1/batches/{BATCH}")["metals"] == states


@pytest.mark.parametrize(("stage", "state"), [("poured", "poured"), ("settled", "assigned")])
def test_the_bars_are_the_clients_once_the_lot_is_settled(standing: Any, stage: str, state: str) -> None:
    assert [standing(stage).get(f"/v1/bars/{serial}")["state"] for serial in BARS] == [state, state]


def test_the_reading_of_a_bar_is_shown_as_every_weight_is(standing: Any) -> None:
    till = standing("poured")
    assert [till.get(f"/v1/bars/{serial}")["reading"] for serial in BARS] == [
        {"g": "20.030"},
        {"g": "20.020"},
    ]


def test_a_settlement_is_named_by_its_id_until_it_draws_a_number(standing: Any) -> None:
    draft = standing("drafted").get("/v1/settlements/SD-1")
    assert (draft["number"], draft["state"], draft["posted_at"]) == (None, "draft", None)
    posted = standing("settled").get(SETTLED)
    assert (posted["number"], posted["state"], posted["id"]) == (SETTLEMENT, "posted", "SD-1")


def test_posting_changes_no_figure_of_the_draft(standing: Any) -> None:
    draft, posted = standing("drafted").get("/v1/settlements/SD-1"), standing("settled").get(SETTLED)
    for part in ("cases", "comparison", "prices", "weights", "assay", "inside_band", "working"):
        assert posted[part] == draft[part]


def test_every_working_row_names_its_rule_and_its_value(standing: Any) -> None:
    rows = standing("settled").get(SETTLED)["working"]
    assert {"D2", "E1", "F1", "F2", "F3", "F4"} <= {row["rule"] for row in rows}
    assert all(row["what"] and row["formula"] and row["exact"] for row in rows)


def test_what_was_entered_is_in_the_lot_and_the_batch_as_it_was_typed(standing: Any) -> None:
    till = standing("settled")
    kinds = {e["kind"]: e["data"] for e in till.get(f"/v1/lots/{LOT}")["entries"]}
    assert kinds["melt"]["weight"] == D["melt_weight"]
    assert kinds["assay"]["finenesses"]["gold"]["fineness"] == D["assay"]["gold"]
    entries = till.get(f"/v1/batches/{BATCH}")["entries"]
    assert [e["kind"] for e in entries] == ["loan", "outturn", "outturn"]
    assert [e["data"]["weight"] for e in entries] == [
        D[name]["weight"] for name in ("silver_lent", "gold_out", "silver_out")
    ]
