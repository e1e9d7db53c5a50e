"""The requests behind the document's examples: walks through the shop, each from a stage of the road.

A step is a method, a path and a body; `seen` is the address whose ETag goes along, `{id}` and
`{entry}` in a path are those of the last answer to a `POST` that had one.
"""

from io import BytesIO
from typing import Any

from PIL import Image
from stages import BATCH, CLIENT, LOT, QUOTE, SETTLEMENT, asked, gold_only, scrap, terms
from till import grams, pounds

Step = dict[str, Any]

MISTAKE = {"reason": "a mistake"}
WORD = {"who": "Ann Other", "how": "in_person"}
CHAIN = {"description": "curb chain", "karat": "9", "evidence": "hallmark", "gross": grams("31.42")}
DRAFT, BAR, PURCHASE = "SD-1", "BAR-2026-0001", "P-2026-0001"
COUNTER = {"gold": {"settle_on": "counter", "accountable": "0.98", "payout_rate": "0.95"}}


def get(path: str, **more: Any) -> Step:
    return {"method": "GET", "path": path, **more}


def post(path: str, body: Any = None, **more: Any) -> Step:
    return {"method": "POST", "path": path, "body": body, **more}


def delete(path: str) -> Step:
    return {"method": "DELETE", "path": path}


def money(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "GBP"}


def a_picture() -> bytes:
    file = BytesIO()
    Image.new("RGB", (8, 8), "gold").save(file, "PNG")
    return file.getvalue()


def _with_hash(of: str) -> dict[str, Any]:
    return {**WORD, "hash": {"of": of}}


RUNNING = [
    get("/livez"),
    get("/readyz"),
    get("/problems/ambiguous-unit"),
    get("/docs"),
    get("/docs/open.js"),
    get("/v1/reference/units"),
    get("/v1/reference/finenesses"),
    get("/v1/reference/alloys"),
]
OWNER = [
    post("/v1/terms", terms()),
    get("/v1/terms"),
    get("/v1/terms/T-1"),
    post("/v1/scales", {"name": "counter", "division": grams("0.01"), "min": grams("0.5"), "class": "II"}),
    get("/v1/scales"),
    post("/v1/moulds", {"name": "twenty", "nominal": grams("20"), "scale": "counter"}),
    get("/v1/moulds"),
    post("/v1/prices", {"prices": {"gold": pounds("61.20"), "silver": pounds("0.74")}}),
    get("/v1/prices"),
    get("/v1/prices/current"),
    post(
        "/v1/stock",
        {"kind": "opening", "metals": [{"metal": "silver", "weight": grams("500"), "fineness": "999"}]},
    ),
    get("/v1/stock"),
    post("/v1/keys", {"name": "website", "scopes": ["estimate"], "origins": ["https://www.shop.example"]}),
    get("/v1/keys"),
    get("/v1/keys/K-8"),
    post("/v1/keys/K-8/secret", seen="/v1/keys/K-8"),
    delete("/v1/keys/K-8"),
    post("/v1/people", {"name": "Dee"}),
    get("/v1/people"),
    delete("/v1/people/W-1"),
    post("/v1/hooks", {"url": "https://till.example/settle-events", "kinds": ["price.entered"]}),
    get("/v1/hooks"),
    get("/v1/hooks/H-1"),
    post("/v1/hooks/H-1/secret", seen="/v1/hooks/H-1"),
    post("/v1/prices", {"prices": {"gold": pounds("61.30")}}),
    get("/v1/hooks/H-1/deliveries"),
    post("/v1/hooks/H-1/deliveries/D-1/replay"),
    delete("/v1/hooks/H-1"),
    post(
        "/v1/stock-counts",
        {"metals": [{"metal": "silver", "weight": grams("500"), "fineness": "999"}], "bars": []},
    ),
    get("/v1/stock-counts"),
    post("/v1/cash-counts", {"counted": money("0.00")}),
    get("/v1/cash-counts"),
    post("/v1/money-moves", {"from": "owner", "to": "till", "amount": money("150.00"), "note": "the float"}),
    get("/v1/money-moves"),
    get("/v1/position"),
    get("/v1/trial-balance"),
    get("/v1/evidence-review?terms=T-1"),
    get("/v1/journal"),
    {"days": 31},
    post("/v1/periods/2026-03/lock"),
    get("/v1/periods"),
]
COUNTER_SALES = [
    post("/v1/clients", {"name": "Ben Other", "telephone": "none given"}),
    get("/v1/clients"),
    get("/v1/clients/C-2"),
    {"method": "PATCH", "path": "/v1/clients/C-2", "body": {"note": "rings"}, "seen": "/v1/clients/C-2"},
    post("/v1/clients/C-2/erasure"),
    post("/v1/terms", gold_only(name="counter", metals=COUNTER)),
    post("/v1/purchases", {"client": CLIENT, "terms": "T-2", "paid_in": "cash", "items": [scrap("20")]}),
    get("/v1/purchases"),
    get(f"/v1/purchases/{PURCHASE}"),
    get("/v1/register"),
    post(f"/v1/purchases/{PURCHASE}/reversal", MISTAKE),
    get("/v1/credit-notes"),
    get("/v1/credit-notes/N-2026-0001"),
    post(
        "/v1/stock/bars",
        {
            "kind": "bought",
            "metal": "gold",
            "weight": grams("31.1"),
            "fineness": "999.9",
            "mark": "a maker 1234",
            "cost": money("1850.00"),
            "paid_in": "transfer",
        },
    ),
    post(f"/v1/bars/{BAR}/sale", {"client": CLIENT, "terms": "T-1", "paid_in": "transfer"}),
    get("/v1/bar-sales"),
    get("/v1/bar-sales/I-2026-0001"),
    post(f"/v1/bars/{BAR}/sale/reversal", MISTAKE),
    post("/v1/pour-plans", {"weight": grams("56.848"), "moulds": ["twenty", grams("10")]}),
]
QUOTES = [
    post("/v1/estimates", asked()),
    post("/v1/quotes", asked(client=CLIENT)),
    get("/v1/quotes"),
    get(f"/v1/quotes/{QUOTE}"),
    get(f"/v1/quotes/{QUOTE}/record"),
    get(f"/v1/quotes/{QUOTE}/pictures/band"),
    post(f"/v1/quotes/{QUOTE}/revisions", {"items": asked()["items"][:2]}, seen=f"/v1/quotes/{QUOTE}"),
    post(
        "/v1/quotes/Q-2026-0002/acceptance",
        _with_hash("/v1/quotes/Q-2026-0002"),
        seen="/v1/quotes/Q-2026-0002",
    ),
    post(
        "/v1/quotes/Q-2026-0002/concessions",
        {
            "replaces": "payout_rate",
            "metal": "gold",
            "rate": "0.98",
            "reason": "an old client",
            "who": "Olive Owner",
        },
        seen="/v1/quotes/Q-2026-0002",
    ),
    post("/v1/quotes", asked(client=CLIENT)),
    post("/v1/quotes/Q-2026-0003/withdrawal", seen="/v1/quotes/Q-2026-0003"),
    post("/v1/lots", {"quote": "Q-2026-0002", "consents_to_share": True}),
    get("/v1/lots"),
    get(f"/v1/lots/{LOT}"),
    post(f"/v1/lots/{LOT}/instructions", {"instructions": {"silver": {"remainder": "metal_account"}}}),
    post(f"/v1/lots/{LOT}/photographs", a_picture(), media="image/png"),
    get(f"/v1/lots/{LOT}/photographs"),
    get(f"/v1/lots/{LOT}/photographs/PH-1"),
    post(f"/v1/lots/{LOT}/freeze", {"by": "the court", "reason": "a claim", "reference": "77/26"}),
    post(f"/v1/lots/{LOT}/release", {"reason": "the order was lifted"}),
    post(f"/v1/lots/{LOT}/return", {"who": "Ann Other"}),
    post(f"/v1/lots/{LOT}/return/reversal", MISTAKE),
    post("/v1/terms", gold_only(name="advances", advance_share="0.5")),
    post("/v1/lots", {"client": CLIENT, "terms": "T-2", "items": [scrap()], "acceptance": WORD}),
    post("/v1/lots/L-2026-0002/melt", {"weight": grams("99.50")}),
    post(
        "/v1/lots/L-2026-0002/assays",
        {"party": "house", "method": "fire_assay", "finenesses": {"gold": {"fineness": "499", "u": "0.3"}}},
    ),
    post("/v1/lots/L-2026-0002/advances", {"amount": money("50.00"), "paid_in": "cash"}),
    get("/v1/lots/L-2026-0002/advances"),
    post("/v1/lots/L-2026-0002/advances/PM-1/reversal", MISTAKE),
]
BENCH = [
    post(f"/v1/lots/{LOT}/instructions", {"consents_to_share": True}),
    post(f"/v1/lots/{LOT}/melt", {"weight": grams("118.40"), "scale": "counter"}),
    post(
        f"/v1/lots/{LOT}/assays",
        {
            "party": "house",
            "method": "fire_assay",
            "finenesses": {
                "gold": {"fineness": "489.6", "u": "0.3"},
                "silver": {"fineness": "118.2", "u": "1"},
            },
        },
    ),
    post(
        "/v1/lots",
        {"client": CLIENT, "items": [CHAIN], "acceptance": WORD, "consents_to_share": True},
    ),
    post("/v1/lots/L-2026-0002/melt", {"weight": grams("31.30")}),
    post(
        "/v1/lots/L-2026-0002/assays",
        {"party": "house", "method": "fire_assay", "finenesses": {"gold": {"fineness": "374", "u": "0.3"}}},
    ),
    post("/v1/batches", {"lots": [LOT]}),
    get("/v1/batches"),
    post(f"/v1/batches/{BATCH}/lots", {"lots": ["L-2026-0002"]}),
    get(f"/v1/batches/{BATCH}"),
    get(f"/v1/batches/{BATCH}/parting-plan"),
    post(f"/v1/batches/{BATCH}/silver-loans", {"weight": grams("135.00"), "scale": "counter"}),
    post(
        f"/v1/batches/{BATCH}/outturns",
        {
            "metal": "gold",
            "weight": grams("69.10"),
            "assay": {"method": "difference", "report": "LB 26/118", "fineness": "999.97", "u": "0.02"},
        },
    ),
    post("/v1/bars", {"lot": LOT, "metal": "gold", "line": 0, "reading": grams("20.03")}),
    get("/v1/bars"),
    get(f"/v1/bars/{BAR}"),
    get(f"/v1/bars/{BAR}/certificate"),
    post(
        f"/v1/batches/{BATCH}/pours",
        {
            "metal": "gold",
            "taken": {"weight": grams("20.05"), "assay": {"fineness": "999.97", "u": "0.02"}},
            "bars": [BAR],
        },
    ),
    post(
        f"/v1/batches/{BATCH}/held",
        {"metal": "gold", "estimate": grams("0.20"), "u": grams("0.05"), "where": "filters"},
    ),
    post(
        f"/v1/batches/{BATCH}/reconciliation",
        {"metals": ["gold"], "override": {"reason": "looked at by both"}},
        seen=f"/v1/batches/{BATCH}/reconciliation",
    ),
    post(f"/v1/batches/{BATCH}/held/{{entry}}/write-off", {"reason": "burnt with the filters"}),
    get(f"/v1/lots/{LOT}/assays"),
    get(f"/v1/lots/{LOT}/bars"),
    get("/v1/silver-loans"),
    post("/v1/silver-recoveries", {"batches": [BATCH]}),
    get("/v1/silver-recoveries"),
    post(
        "/v1/silver-recoveries/R-2026-0001/outturns",
        {"weight": grams("142.00"), "assay": {"method": "fire_assay", "fineness": "998", "u": "0.5"}},
    ),
    post(
        "/v1/silver-recoveries/R-2026-0001/held",
        {"metal": "silver", "estimate": grams("1"), "u": grams("0.3"), "where": "filters"},
    ),
    get("/v1/silver-recoveries/R-2026-0001"),
    get("/v1/silver-recoveries/R-2026-0001/reconciliation"),
    post(
        "/v1/silver-recoveries/R-2026-0001/reconciliation",
        {"override": {"reason": "looked at by both"}},
        seen="/v1/silver-recoveries/R-2026-0001/reconciliation",
    ),
    get("/v1/silver-recoveries/R-2026-0001/reconciliation/record"),
    get("/v1/silver-recoveries/R-2026-0001/reconciliation/pictures/flow-silver"),
    post("/v1/silver-recoveries/R-2026-0001/reconciliation/reversal", MISTAKE),
    post(
        "/v1/silver-recoveries/R-2026-0001/reconciliation",
        {"override": {"reason": "looked at by both"}},
        seen="/v1/silver-recoveries/R-2026-0001/reconciliation",
    ),
    post("/v1/silver-recoveries/R-2026-0001/held/{entry}/write-off", {"reason": "burnt with the filters"}),
    post(f"/v1/bars/{BAR}/withdrawal", {"reason": "a crack", "how": "re_melted"}),
]
ACCOUNTS = [
    get(f"/v1/batches/{BATCH}/reconciliation"),
    post(f"/v1/batches/{BATCH}/reconciliation", {}, seen=f"/v1/batches/{BATCH}/reconciliation"),
    get(f"/v1/batches/{BATCH}/reconciliation/record"),
    get(f"/v1/batches/{BATCH}/reconciliation/pictures/flow-gold"),
    post(f"/v1/batches/{BATCH}/reconciliation/reversal", MISTAKE),
    post(f"/v1/batches/{BATCH}/reconciliation", {}, seen=f"/v1/batches/{BATCH}/reconciliation"),
    post("/v1/prices", {"prices": {"gold": pounds("62.05"), "silver": pounds("0.75")}}),
    post("/v1/settlements", {"lot": LOT}),
    get("/v1/settlements"),
    get(f"/v1/settlements/{DRAFT}"),
    post(f"/v1/settlements/{DRAFT}/posting", {}, seen=f"/v1/settlements/{DRAFT}"),
    get(f"/v1/settlements/{SETTLEMENT}/comparison"),
    get(f"/v1/settlements/{SETTLEMENT}/record"),
    get(f"/v1/settlements/{SETTLEMENT}/pictures/steps"),
    post(f"/v1/settlements/{SETTLEMENT}/payments", {"amount": money("10.00"), "paid_in": "transfer"}),
    get(f"/v1/settlements/{SETTLEMENT}/payments"),
    get("/v1/payments"),
    post(f"/v1/settlements/{SETTLEMENT}/payments/PM-1/reversal", MISTAKE),
    post(
        f"/v1/bars/{BAR}/handover",
        {"who": "Ann Other", "reading": grams("20.03"), "scale": "counter"},
    ),
    post(f"/v1/bars/{BAR}/handover/reversal", MISTAKE),
    get(f"/v1/clients/{CLIENT}/account"),
    post(
        "/v1/silver-credits/comparison",
        {"credits": [{"lot": LOT, "weight": grams("10.00"), "entry": "till 7"}]},
    ),
    post(f"/v1/settlements/{SETTLEMENT}/reversal", MISTAKE),
    post("/v1/settlements", {"lot": LOT}),
    get("/v1/settlements/SD-2/difference"),
]
# The settlement's charges are still open when she comes for her metal.
PAYS = {"override": {"reason": "she pays the charges out of it"}}
ON_ACCOUNT = [
    post(
        f"/v1/lots/{LOT}/instructions",
        {"instructions": {"gold": {"bars": [], "remainder": "metal_account"}}},
    ),
    post(f"/v1/batches/{BATCH}/reconciliation", {}, seen=f"/v1/batches/{BATCH}/reconciliation"),
    post("/v1/prices", {"prices": {"gold": pounds("62.05"), "silver": pounds("0.75")}}),
    post("/v1/settlements", {"lot": LOT}),
    post(f"/v1/settlements/{DRAFT}/posting", {}, seen=f"/v1/settlements/{DRAFT}"),
    post(
        f"/v1/clients/{CLIENT}/metal-sales",
        {"metal": "gold", "weight": grams("5"), "terms": "T-1", "paid_in": "transfer", **PAYS},
    ),
    get(f"/v1/clients/{CLIENT}/metal-sales"),
    post(f"/v1/clients/{CLIENT}/metal-sales/{{id}}/reversal", MISTAKE),
    post(
        "/v1/stock/bars",
        {
            "kind": "bought",
            "metal": "gold",
            "weight": grams("10"),
            "fineness": "999.9",
            "mark": "a maker 77",
            "cost": money("600.00"),
            "paid_in": "transfer",
        },
    ),
    post(f"/v1/clients/{CLIENT}/metal-bars", {"bar": BAR, **PAYS}),
    get(f"/v1/clients/{CLIENT}/metal-bars"),
    post(f"/v1/clients/{CLIENT}/metal-bars/{{id}}/reversal", MISTAKE),
]
PAPERS = [
    get(f"/v1/bars/{BAR}/certificate"),
    get("/v1/certificate-keys"),
    post("/v1/certificate-checks", {"certificate": {"of": f"/v1/bars/{BAR}/certificate"}}),
]

WALKS: tuple[tuple[str, list[Step]], ...] = (
    ("empty", RUNNING),
    ("empty", OWNER),
    ("opened", COUNTER_SALES),
    ("opened", QUOTES),
    ("received", BENCH),
    ("poured", ACCOUNTS),
    ("out", ON_ACCOUNT),
    ("settled", PAPERS),
)
