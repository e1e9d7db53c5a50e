"""Items out of a spreadsheet saved as CSV: a row an item; rows of the same `lot` are one lot."""

import csv
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from io import StringIO
from itertools import pairwise
from typing import Any

from api.http.body import parse
from settle.reckoning.problems import Fault, Faults, Refused

_DELIMITERS = ",;\t"
_DEDUCTION = ("deductions", 0)
_UNIT, _COUNT, _LOT = "unit", "count", "lot"
# Column → where its cell stands in an item; `settle estimate --help` says what each is.
COLUMNS: Mapping[str, tuple[str | int, ...]] = {
    "description": ("description",),
    "metal": ("metal",),
    "karat": ("karat",),
    "fineness": ("fineness",),
    "in": ("in",),
    "stamped": ("stamped",),
    "colour": ("colour",),
    "filled_part": ("filled_part",),
    "evidence": ("evidence",),
    _COUNT: ("count",),
    "gross": ("gross", "amount"),
    _UNIT: ("gross", "unit"),
    "deduction": (*_DEDUCTION, "weight", "amount"),
    "deduction_plus_minus": (*_DEDUCTION, "plus_minus", "amount"),
    "deduction_reason": (*_DEDUCTION, "reason"),
    _LOT: (),
}


@dataclass(frozen=True, slots=True)
class Lot:
    """Rows that are one lot: their items, and the number of each row in the spreadsheet."""

    name: str
    items: list[dict[str, Any]] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)

    def located(self, fault: Fault) -> Fault:
        """A fault with its row and column in place of its JSON Pointer."""
        steps = fault.pointer.split("/")[1:]
        if steps[:1] != ["items"] or len(steps) < 2:
            return fault
        row, column = self.rows[int(steps[1])], _column(steps[2:])
        return replace(fault, pointer=f"row {row}" + (f", {column}" if column else ""))


def read_lots(raw: bytes) -> list[Lot]:
    """The lots of a CSV file. Raises `Refused` with every row that can't be read as one."""
    rows, faults = _rows(raw), Faults()
    header = [name.strip().lower() for name in next(rows, [])]
    _refuse_header(header)
    lots: dict[str, Lot] = {}
    for number, cells in enumerate(rows, start=2):
        said = [cell.strip() for cell in cells]
        if not any(said):
            continue
        if any(said[len(header) :]):
            faults.add("unknown-field", f"row {number}", "more cells than columns", "a column for each")
            continue
        _add(lots, number, dict(zip(header, said, strict=False)))
    if not lots:
        faults.add("missing", "row 2", "no item", "an item a row, below the names of the columns")
    faults.refuse_if_any()
    return list(lots.values())


def bodies(lots: list[Lot], about: bytes) -> Iterator[tuple[Lot, bytes]]:
    """Each lot with the file that would be estimated for it alone; `about` is JSON with terms and prices."""
    parsed = parse(about)
    if not isinstance(parsed.data, dict):
        raise Refused(Fault("wrong-type", "", "not an object", 'such as {"terms": {…}, "prices": {…}}'))
    for lot in lots:
        yield lot, json.dumps({**parsed.data, "items": lot.items}).encode()


def _rows(raw: bytes) -> Iterator[list[str]]:
    try:
        text = raw.decode("utf-8-sig")
    except ValueError:
        raise _unreadable("not UTF-8", "a CSV file saved as UTF-8") from None
    first = text.partition("\n")[0]
    # A spreadsheet parts cells by what its country does not use in numbers.
    delimiter = max(_DELIMITERS, key=first.count)
    try:
        yield from csv.reader(StringIO(text, newline=""), delimiter=delimiter, strict=True)
    except csv.Error as error:
        raise _unreadable(str(error), "a CSV file with a row an item") from None


def _unreadable(wrong: str, right: str) -> Refused:
    return Refused(Fault("unparsable-body", "", wrong, right))


def _refuse_header(header: list[str]) -> None:
    faults, known = Faults(), ", ".join(COLUMNS)
    for name in header:
        if name not in COLUMNS:
            faults.add("unknown-field", f"row 1, {name[:30]}", "nobody knows this column", f"one of {known}")
        elif header.count(name) > 1:
            faults.add("contradiction", f"row 1, {name}", "the column stands twice", "once")
    for name in ("evidence", "gross"):
        if name not in header:
            faults.add("missing", f"row 1, {name}", "the column is missing", f"a column named {name}")
    faults.refuse_if_any()


def _add(lots: dict[str, Lot], number: int, said: dict[str, str]) -> None:
    name = said.get(_LOT, "")
    lot = lots.setdefault(name, Lot(name))
    lot.items.append(_item(said))
    lot.rows.append(number)


def _item(said: Mapping[str, str]) -> dict[str, Any]:
    item: dict[str, Any] = {}
    unit = said.get(_UNIT) or "g"
    for column, place in COLUMNS.items():
        if place and (cell := said.get(column)):
            _put(item, place, _count(cell) if column == _COUNT else cell)
    for weight in _weights(item):
        weight["unit"] = unit
    return item


def _put(item: Any, place: tuple[str | int, ...], value: Any) -> None:
    for step, following in pairwise(place):
        if isinstance(step, int):
            if not item:
                item.append({})
            item = item[step]
        else:
            item = item.setdefault(step, [] if isinstance(following, int) else {})
    item[place[-1]] = value


def _weights(item: Mapping[str, Any]) -> Iterator[dict[str, str]]:
    if "gross" in item:
        yield item["gross"]
    for deduction in item.get("deductions", ()):
        yield from (deduction[name] for name in ("weight", "plus_minus") if name in deduction)


def _count(cell: str) -> int | str:
    # What is no whole number goes on as it is, and is refused with the others.
    return int(cell) if cell.isascii() and cell.isdigit() and len(cell) < 10 else cell


def _column(steps: list[str]) -> str:
    """The column whose place is the nearest to where a fault was found."""
    for length in range(len(steps), 0, -1):
        for column, place in COLUMNS.items():
            if [str(step) for step in place[:length]] == steps[:length]:
                return column
    return ""
