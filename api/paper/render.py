"""From a document to PDF bytes: Typst sets it, with fonts and templates of the package alone.

The same document, shop and reader give the same bytes: nothing is read from
the clock, the network or the machine's own fonts.
"""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from functools import lru_cache
from importlib.resources import as_file, files
from io import BytesIO
from typing import Any

import segno
import typst

from api.paper import pictures
from api.paper.drawing import Picture
from api.paper.numbers import Printer
from api.paper.words import words
from api.settings import Shop

Json = Mapping[str, Any]
Draw = Callable[[Json, Printer], Picture]

# Rendering outlives a request's patience only where characters are missing twice over.
_MOST_TRIES = 3
_UNSHOWN = re.compile(r'the text `"((?:[^"\\]|\\.)*)"` could not be displayed')
_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")
_OF_KIND: Mapping[str, Mapping[str, Draw]] = {
    "quote": {"band": pictures.band, "bars": pictures.bars},
    "settlement": {"bars": pictures.bars, "steps": pictures.steps},
}


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands on a paper beside its document: the client by name, when prices were entered,
    until when it may be queried; `code` is what a QR code on it holds."""

    client: Json | None = None
    facts: Json = field(default_factory=dict)
    code: str = ""


def render(
    kind: str, document: Json, shop: Shop, printer: Printer, paper: str, beside: Beside | None = None
) -> bytes:
    """The document as PDF/UA-1, on `a4`, `letter` or a narrow `receipt`."""
    told = _told(kind, document, shop, printer, paper, beside or Beside())
    stamp = _made(document)
    for _ in range(_MOST_TRIES):
        try:
            return _set(kind, told, stamp, shop.fonts)
        except typst.TypstError as error:
            missing = _unshown(error.diagnostic)
            if not missing:
                raise
            told = _spelled_out(told, missing)
    return _set(kind, told, stamp, shop.fonts)


def drawn(kind: str, document: Json, printer: Printer) -> dict[str, Picture]:
    """The pictures that a document has, by name; those that it has nothing for are left out."""
    if kind == "reconciliation":
        accounts = document["metals"].items()
        return {f"flow-{m}": pictures.flow(a, printer) for m, a in accounts if a["state"] != "no_outturn"}
    found = dict(_OF_KIND.get(kind, {}))
    if not document.get("comparison"):
        found.pop("steps", None)
    return {name: draw(document, printer) for name, draw in found.items()}


def code(text: str) -> str:
    """A QR code as an SVG drawing."""
    drawing = BytesIO()
    segno.make_qr(text, error="m").save(drawing, kind="svg", border=4, xmldecl=False, svgns=True)
    return drawing.getvalue().decode()


def _told(kind: str, document: Json, shop: Shop, printer: Printer, paper: str, beside: Beside) -> str:
    """All that a template reads, as one JSON text."""
    locale = printer.locale
    shown = {name: asdict(picture) for name, picture in drawn(kind, document, printer).items()}
    read = {
        "doc": printer.printed(document),
        "facts": printer.printed({**beside.facts, "items": _sums(document)}),
        "client": beside.client,
        "words": words(locale),
        "language": locale.language,
        "territory": locale.territory,
        "symbols": printer.symbols(document.get("currency")),
        "shop": asdict(shop) | (document.get("issuer") or {}),
        "paper": paper,
        "pictures": shown,
        "code": code(beside.code) if beside.code else "",
        "token": beside.code,
    }
    return json.dumps(_without_controls(read), ensure_ascii=False)


def _without_controls(value: Any) -> Any:
    """Control characters have no shape; a new line keeps its sense."""
    if isinstance(value, Mapping):
        return {k: _without_controls(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_without_controls(v) for v in value]
    return _CONTROL.sub(" ", value) if isinstance(value, str) else value


def _sums(document: Json) -> Json:
    """What a list of items adds up to; weights and counts only."""
    items = [i for i in document.get("items") or [] if "gross" in i]
    added = {k: str(sum((Decimal(i[k]["g"]) for i in items), Decimal(0))) for k in ("gross", "net")}
    return {"count": sum(i["count"] for i in items), **{k: {"g": n} for k, n in added.items()}}


def _made(document: Json) -> datetime:
    """The document's own time is the file's."""
    for name in ("posted_at", "made_at", "received_at", "tax_point"):
        if document.get(name):
            return datetime.fromisoformat(document[name])
    return datetime(2000, 1, 1, tzinfo=UTC)


def _set(kind: str, told: str, stamp: datetime, fonts: str) -> bytes:
    with as_file(files("api.paper") / "templates") as root:
        compiler = typst.Compiler(
            root / f"{kind}.typ",
            root=root,
            font_paths=_fonts(fonts),
            ignore_system_fonts=True,
            sys_inputs={"paper": told},
        )
        made = compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=int(stamp.timestamp()))
    if not isinstance(made, bytes):  # one file was asked for
        raise AssertionError(kind)
    return made


@lru_cache(maxsize=4)
def _fonts(folder: str) -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, font_paths=[folder] if folder else [])


def _unshown(diagnostic: str) -> set[str]:
    """The characters that no font at hand can show, read from the compiler's complaint."""
    texts = _UNSHOWN.findall(diagnostic)
    return {c for text in texts for c in _ESCAPED.sub(lambda m: chr(int(m[1], 16)), text)}


def _spelled_out(told: str, missing: set[str]) -> str:
    """A character without a shape is named by its code point: better than a page that isn't there."""
    return "".join(f"[U+{ord(c):04X}]" if c in missing and ord(c) > 0x7F else c for c in told)
