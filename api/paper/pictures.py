"""The pictures: the same on paper and on screen, drawn from the documents as they are."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from api.paper.drawing import GREY, HATCH, PALE, WIDTH, Picture, Sheet, room
from api.paper.numbers import MINUS, Printer
from api.paper.words import words

Json = Mapping[str, Any]
_LABEL = 74.0
_ROW = 40.0


def band(document: Json, printer: Printer) -> Picture:
    """Low, likely, high of each metal that is the client's; what is sure even in the low case is solid."""
    say = words(printer.locale)
    sheet = Sheet(say["three_cases"])
    for metal in document["cases"]["low"]["metals"]:
        grams = [
            document["cases"][case]["metals"][metal]["accountable"]["g"] for case in ("low", "likely", "high")
        ]
        if float(grams[2]) > 0:
            _band_row(sheet, say[metal], grams, printer, say)
    return sheet.done()


def _band_row(
    sheet: Sheet, metal: str, grams: Sequence[str], printer: Printer, say: Mapping[str, str]
) -> None:
    low, likely, high = (float(g) for g in grams)
    printed = [f"{printer.figure(g)} g" for g in grams]
    y, scale = sheet.height + 12, (WIDTH - _LABEL - 8) / high
    x_low, x_likely, x_high = (_LABEL + g * scale for g in (low, likely, high))
    sheet.words(0, y + 10, metal, bold=True)
    sheet.rectangle(_LABEL, y, low * scale, 14, PALE)
    sheet.rectangle(x_low, y, x_high - x_low, 14, HATCH)
    sheet.line([(x_likely, y - 3), (x_likely, y + 17)], weight=2)
    _in_a_row(sheet, y + 26, zip((x_low, x_likely, x_high), printed, strict=True))
    sheet.says.append(
        f"{metal}: {say['low']} {printed[0]}, {say['likely']} {printed[1]}, {say['high']} {printed[2]}."
    )
    sheet.height = y + _ROW - 8


def _in_a_row(sheet: Sheet, y: float, placed: Iterable[tuple[float, str]]) -> None:
    """Words under their places, pushed apart to the left so that none covers another."""
    right = WIDTH
    for x, text in reversed(list(placed)):
        right = min(x + room(text) / 2, right)
        sheet.words(right, y, text, "end")
        right -= room(text) + 8


def bars(document: Json, printer: Printer, case: str | None = None) -> Picture:
    """The bars of each metal to scale, one after another, and the remainder hatched."""
    say = words(printer.locale)
    sheet = Sheet(say["bars"])
    shown = document["cases"][case or ("likely" if "likely" in document["cases"] else "final")]
    for metal, account in shown["metals"].items():
        if float(account["accountable"]["g"]) > 0:
            _bars_row(sheet, say[metal], account, printer, say)
    return sheet.done()


def _bars_row(sheet: Sheet, metal: str, account: Json, printer: Printer, say: Mapping[str, str]) -> None:
    pieces = [(float(bar["fine"]["g"]), _nominal(bar, printer), PALE) for bar in account["bars"]]
    left = f"{say['remainder']} {printer.figure(account['remainder']['g'])} g"
    pieces.append((float(account["remainder"]["g"]), left, HATCH))
    y, x = sheet.height + 6, _LABEL
    scale = (WIDTH - _LABEL - 2) / (sum(g for g, _, _ in pieces) or 1)
    sheet.words(0, y + 14, metal, bold=True)
    for grams, label, fill in pieces:
        sheet.rectangle(x, y, grams * scale, 20, fill)
        if fill == PALE and room(label) < grams * scale - 4:
            sheet.words(x + grams * scale / 2, y + 13, label, "middle")
        x += grams * scale
    sheet.words(WIDTH - 2, y + 31, left, "end")
    poured = ", ".join(label for _, label, fill in pieces if fill == PALE)
    sheet.says.append(f"{metal}: {poured + '; ' if poured else ''}{left}.")
    sheet.height = y + 36


def _nominal(bar: Json, printer: Printer) -> str:
    weight = bar.get("nominal") or bar.get("stated_weight") or bar["fine"]
    grams = weight["g"]
    return f"{printer.figure(grams.rstrip('0').rstrip('.') if '.' in grams else grams)} g"


def steps(document: Json, printer: Printer) -> Picture:
    """From what the quote called likely to the settlement: each step up is white, each step down dark."""
    say = words(printer.locale)
    sheet = Sheet(say["comparison"])
    rows = document["comparison"]["steps"]
    worths = [float(row["worth"]["amount"]) for row in rows]
    least, most = min(worths), max(worths)
    scale = (WIDTH - 170 - 80) / ((most - least) or 1)
    before = worths[0]
    for row, worth in zip(rows, worths, strict=True):
        _step(sheet, row, (170 + (before - least) * scale, 170 + (worth - least) * scale), printer, say)
        before = worth
    _total(
        sheet,
        say["whole_now" if document["further_to"] else "worth_now"],
        printer.money(rows[-1]["worth"])["full"],
        170 + (before - least) * scale,
    )
    return sheet.done()


def _step(
    sheet: Sheet, row: Json, ends: tuple[float, float], printer: Printer, say: Mapping[str, str]
) -> None:
    name = say[f"step_{row['step']}"]
    if row["step"] == "quote":
        _total(sheet, name, printer.money(row["worth"])["full"], ends[1])
        return
    y, (start, end) = sheet.height + 3, ends
    said = printer.money(row["difference"])
    figure = said["full"] if said["minus"] or said["zero"] else f"+{said['full']}"
    sheet.words(0, y + 10, name)
    sheet.words(154, y + 10, figure, "end")
    sheet.line([(start, y - 3), (start, y)], dashed=True)
    sheet.rectangle(min(start, end), y, max(abs(end - start), 0.8), 14, GREY if said["minus"] else "#fff")
    sheet.says.append(f"{name}: {figure}.")
    sheet.height = y + 17


def _total(sheet: Sheet, name: str, figure: str, x: float) -> None:
    y = sheet.height + 3
    sheet.words(0, y + 10, name, bold=True)
    sheet.words(154, y + 10, figure, "end", bold=True)
    sheet.line([(x, y), (x, y + 14)], weight=2.4)
    sheet.says.append(f"{name}: {figure}.")
    sheet.height = y + 17


def flow(document: Json, printer: Printer) -> Picture:
    """What went in on the left, what became of it on the right, in true proportion."""
    say = words(printer.locale)
    sheet = Sheet(f"{say['reconciliation']}: {say[document['metal']]}")
    left, right = _flows(document, say)
    scale = 120 / (float(sum(grams for _, grams, _ in left)) or 1)
    gap = 14.0
    sheet.height = 20 + 120 + gap * (max(len(left), len(right)) - 1) + 8
    trunk = (sheet.height - 120) / 2
    for side, flows in (("left", left), ("right", right)):
        _side(sheet, side, flows, scale, gap, trunk, printer)
    sheet.rectangle(WIDTH / 2 - 5, trunk, 10, 120, "#111")
    return sheet.done()


def _flows(document: Json, say: Mapping[str, str]) -> tuple[list[tuple[str, Decimal, str]], ...]:
    """Ribbons by side. What is negative on one side (a gain, a house that gives) comes in on the other."""
    left = [(lot, _grams(weight), PALE) for lot, weight in document["own"].items()]
    left.append((say["lent"], _grams(document["lent"]), HATCH))
    right = [(lot, _grams(weight), PALE) for lot, weight in document["credited"].items()]
    right.append((say["house_share"], _grams(document["house_share"]), HATCH))
    # What is held in process is credited at its estimate (H6): it is not missing.
    missing = _grams(document["in"]) - _grams(document["out"]) - _grams(document["held"])
    right.append((f"{say['expected_loss']} + {say['residual']}", missing, "#fff"))
    gains = [(name, -grams, fill) for name, grams, fill in right if grams < 0]
    return [f for f in [*left, *gains] if f[1] > 0], [f for f in right if f[1] > 0]


def _grams(weight: Json) -> Decimal:
    return Decimal(weight["g"])


def _side(
    sheet: Sheet,
    side: str,
    flows: Sequence[tuple[str, Decimal, str]],
    scale: float,
    gap: float,
    trunk: float,
    printer: Printer,
) -> None:
    is_left = side == "left"
    y = (sheet.height - float(sum(g for _, g, _ in flows)) * scale - gap * (len(flows) - 1)) / 2
    outer, inner = (120.0, WIDTH / 2 - 5) if is_left else (WIDTH - 150, WIDTH / 2 + 5)
    for name, grams, fill in flows:
        thick = float(grams) * scale
        sheet.ribbon((outer, y), (inner, trunk), thick, fill)
        figure = f"{printer.figure(str(grams))} g"
        x, anchor = (outer - 5, "end") if is_left else (outer + 5, "start")
        sheet.words(x, y + thick / 2 - 1, name, anchor)
        sheet.words(x, y + thick / 2 + 9, figure, anchor, bold=True)
        sheet.says.append(f"{name}: {figure}.")
        y, trunk = y + thick + gap, trunk + thick


def drift(points: Sequence[Json], printer: Printer, limit: str = "5") -> Picture:
    """The two sums over batches (H5): missing above, solid; over below, dashed; a diamond calls a drift.

    A point is `{"batch", "z", "missing", "over", "alarm"}`, figures as decimal strings; `z` may be none.
    """
    say = words(printer.locale)
    sheet = Sheet(say["drift"], height=150)
    edge = max([float(limit), *(abs(float(p[k] or 0)) for p in points for k in ("z", "missing", "over"))])
    scale, middle = 60 / edge, 72.0
    step = (WIDTH - 60) / max(len(points), 1)
    places = [(40 + step * (i + 0.5), p) for i, p in enumerate(points)]
    for level, text in ((float(limit), limit), (0.0, "0"), (-float(limit), f"{MINUS}{limit}")):
        y = middle - level * scale
        sheet.line([(36, y), (WIDTH, y)], dashed=level != 0)
        sheet.words(30, y + 3, text, "end")
    for name, sign in (("missing", 1), ("over", -1)):
        ends = [(x, middle - sign * float(p[name]) * scale) for x, p in places]
        sheet.line(ends, dashed=sign < 0, weight=1.2)
    for i, (x, point) in enumerate(places):
        _drift_point(sheet, (x, middle, scale), point, printer, labelled=i % max(1, round(62 / step)) == 0)
    return sheet.done()


def _drift_point(
    sheet: Sheet, place: tuple[float, float, float], point: Json, printer: Printer, *, labelled: bool
) -> None:
    x, middle, scale = place
    if point["alarm"]:
        sheet.diamond(x, middle - float(point["z"] or 0) * scale)
    if point["z"] is not None:
        sheet.dot(x, middle - float(point["z"]) * scale)
        sheet.says.append(f"{point['batch']}: z {printer.figure(point['z'])}.")
    if labelled:
        sheet.words(x, 146, point["batch"], "middle")
