"""Every list of a house, asked by each of its states, clients and days, against what its rows say of themselves.

Nothing of settle is imported: the rows are asked whole, and sifted here.
"""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

Json = dict[str, Any]

# What names a row, and from where its moment is read.
NAMED = {
    "/v1/clients": ("id", "made_at"),
    "/v1/quotes": ("number", "made_at"),
    "/v1/lots": ("number", "received_at"),
    "/v1/purchases": ("number", "made_at"),
    "/v1/settlements": ("id", "posted_at"),
    "/v1/batches": ("number", "made_at"),
    "/v1/silver-recoveries": ("number", "made_at"),
    "/v1/bars": ("serial", "made_at"),
    "/v1/prices": ("entry", "entered_at"),
    "/v1/terms": ("number", "made_at"),
    "/v1/journal": ("id", "made_at"),
    "/v1/credit-notes": ("number", "tax_point"),
    "/v1/bar-sales": ("id", "tax_point"),
    "/v1/payments": ("id", "made_at"),
    "/v1/stock": ("id", "made_at"),
    "/v1/stock-counts": ("id", "made_at"),
    "/v1/cash-counts": ("id", "made_at"),
    "/v1/money-moves": ("id", "made_at"),
    "/v1/silver-loans": ("batch", ""),
}


def states_of(path: str, row: Json) -> set[str]:
    """The states that a row is in, as it says itself."""
    if path == "/v1/silver-loans":
        return {"closed" if row["closed_by"] else "out"}
    return set(row["metals"].values()) if path == "/v1/batches" else {row["state"]}


def clients_of(path: str, row: Json, lots: dict[str, Json], batches: dict[str, Json]) -> set[str | None]:
    """Whose a row is, by the lots that it names."""

    def of_batches(named: list[str]) -> set[str | None]:
        return {lots[lot]["client"] for batch in named for lot in batches[batch]["lots"]}

    if path == "/v1/batches":
        return of_batches([row["number"]])
    if path == "/v1/silver-recoveries":
        return of_batches(row["batches"])
    if path == "/v1/silver-loans":
        return of_batches([row["batch"]])
    if path == "/v1/journal":
        parts = [line["account"].split(":") for line in row["lines"]]
        return {part[1] for part in parts if part[0] == "client"}
    of_lot = lots[row["lot"]]["client"] if row.get("lot") in lots else None
    return {row.get("client"), of_lot}


def days_of(path: str, row: Json, zone: ZoneInfo) -> set[str]:
    if path == "/v1/silver-loans":
        moments = [entry["made_at"] for entry in row["entries"]]
    else:
        moments = [row[NAMED[path][1]] or row["made_at"]]
    return {datetime.fromisoformat(at).astimezone(zone).date().isoformat() for at in moments}


def faults(till: Any, zone: str = "UTC") -> Iterator[str]:
    """What a filter left out or let in, though the rows say otherwise."""
    said = till.get("/openapi.json")["paths"]
    whole = {path: till.listed(path) for path in NAMED}
    by_number = [{row["number"]: row for row in whole[path]} for path in ("/v1/lots", "/v1/batches")]
    clients = [client["id"] for client in whole["/v1/clients"]]
    for path, rows in whole.items():
        asked = {p["name"]: p["schema"] for p in said[path]["get"]["parameters"] if p["in"] == "query"}
        right: dict[str, list[Json]] = {}
        for state in asked.get("state", {}).get("enum", ()):
            right[f"state={state}"] = [row for row in rows if state in states_of(path, row)]
        for client in clients if "client" in asked else ():
            right[f"client={client}"] = [row for row in rows if client in clients_of(path, row, *by_number)]
        right |= _by_day(path, rows, ZoneInfo(zone))
        for query, belong in right.items():
            found = till.listed(f"{path}?{query}")
            if found != belong:
                name = NAMED[path][0]
                yield f"{path}?{query}: {[row[name] for row in found]}, not {[row[name] for row in belong]}"
            if till.listed(f"{path}?{query}&limit=1") != found:
                yield f"{path}?{query}: otherwise a row at a time"


def _by_day(path: str, rows: list[Json], zone: ZoneInfo) -> dict[str, list[Json]]:
    days = [days_of(path, row, zone) for row in rows]
    right = {}
    for day in sorted(set().union(*days)):
        right[f"from={day}&to={day}"] = [row for row, its in zip(rows, days, strict=True) if day in its]
        right[f"from={day}"] = [row for row, its in zip(rows, days, strict=True) if max(its) >= day]
        right[f"to={day}"] = [row for row, its in zip(rows, days, strict=True) if min(its) <= day]
    return right
