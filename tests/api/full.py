"""A house in which there are several of everything, of two clients."""

from stages import gold_only, scrap
from till import Till, grams

METAL = {"metal": "silver", "weight": grams("10"), "fineness": "999"}
COUNTER = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}


def pounds(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "GBP"}


def fill(till: Till) -> None:
    """Beside what the road left: three to five of everything, of two clients."""
    till.terms(gold_only())
    till.terms(gold_only(name="counter", metals={"gold": COUNTER}))
    till.client("Ben Other")
    till.client("Cis Other")
    for name in ("one", "two"):
        till.scale(name, "0.01")
        till.mould(name, "10", "0.05", name)
    for client in ("C-1", "C-2", "C-2"):
        wishes = {"gold": {"bars": [{"fineness": "995", "count": "whole"}]}}
        quote = till.quote({"terms": "T-2", "client": client, "items": [scrap()], "instructions": wishes})
        till.accept(quote)
        lot = till.receive(quote=quote["number"])["number"]
        till.melt(lot, "99")
        till.assay(lot, {"gold": "500"})
        batch = till.batch(lot)["number"]
        till.take_out(batch, "gold", "49.5", "999")
        till.pour(lot, "49.4")
        till.draft(lot)
        till.buy({"terms": "T-3", "client": client, "paid_in": "cash", "items": [scrap()]})
        till.post("/v1/settlements/S-2026-0001/payments", {"amount": pounds("1"), "paid_in": "cash"})
        till.post("/v1/stock", {"kind": "bought", "metals": [METAL], "cost": pounds("7")})
        till.post("/v1/stock-counts", {"metals": [METAL]})
        till.post("/v1/cash-counts", {"counted": pounds("12")})
        till.post("/v1/money-moves", {"from": "till", "to": "bank", "amount": pounds("12")})


def fill_up(till: Till) -> None:
    """Beside that, two of each of what is rarer: silver recoveries, bars sold, credit notes, hooks."""
    fill(till)
    till.prices(gold="61.20", silver="0.74")
    for batch in ("B-2026-0002", "B-2026-0003"):
        till.post("/v1/silver-recoveries", {"batches": [batch]})
    for _ in range(2):
        bar = {"kind": "bought", "metal": "gold", "weight": grams("31.1"), "fineness": "999.9", "mark": "M 1"}
        money = {"cost": pounds("1900"), "paid_in": "transfer", "terms": "T-1"}
        serial = till.post("/v1/stock/bars", {**bar, **money})["serial"]
        sale = {"client": "C-1", "paid_in": "transfer", "terms": "T-1"}
        till.post(f"/v1/bars/{serial}/sale", sale)
        till.post("/v1/hooks", {"url": "https://93.184.216.34/events"})
    for purchase in ("P-2026-0001", "P-2026-0002"):
        till.post(f"/v1/purchases/{purchase}/reversal", {"reason": "a slip"})
