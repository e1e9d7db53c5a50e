"""Scales and moulds of the shop."""

from datetime import date
from typing import Any

from sqlalchemy import select

from settle.books import chain
from settle.books.listing import Listed, Page, page_of
from settle.books.tables import moulds, scales
from settle.books.work import Work
from settle.reckoning.bars import mould_fault
from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.item import Scale
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader

CLASSES = ("I", "II", "III", "IIII")
DEFAULT_OVER_POUR_G = Exact(5, 100)


def add_scale(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter a scale: division d, verification division e, class, minimum and maximum load."""
    name = _read_scale(body, faults).name
    faults.refuse_if_any()
    return _add(work, scales, "SC", name, body)


def _read_scale(data: Json, faults: Faults) -> Scale:
    r = Reader(data, faults)
    r.word("class", CLASSES, "II")
    r.weight("verification_division", ZERO)
    least, most = r.weight("min", ZERO, positive=False), r.weight("max", ZERO)
    division = r.weight("division")
    verified_until = date.fromisoformat(r.text("verified_until")) if r.has("verified_until") else None
    if most and least > most:
        r.fault("min", "contradiction", "above the maximum load", "a minimum load below the maximum")
    return Scale(r.text("name"), division, least, most or None, verified_until)


def _add(work: Work, table: Any, series: str, name: str, body: Json) -> dict[str, Any]:
    taken = work.connection.execute(select(table.c.id).where(table.c.name == name)).scalar()
    if taken is not None:
        raise Refused(Fault("already-exists", "/name", f'"{name}" is {taken} already', "another name"))
    row = {"id": work.name(series), "name": name, "data": dict(body), "made_at": work.now}
    work.connection.execute(table.insert().values(row))
    chain.seal(work, table, str(row["id"]))
    return {"id": row["id"], **body}


def known(work: Work) -> dict[str, Scale]:
    """Every scale by name."""
    rows = work.connection.execute(select(scales.c.data))
    return {scale.name: scale for scale in (_read_scale(row.data, NO_FAULTS) for row in rows)}


def add_mould(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter a mould; refused where no reading of its scale can satisfy it (E2)."""
    r = Reader(body, faults)
    name, nominal = r.text("name"), r.weight("nominal")
    over_pour = r.weight("over_pour", DEFAULT_OVER_POUR_G, positive=False)
    of = known(work)
    scale = of.get(r.text("scale"))
    if scale is None:
        right = "one of " + ", ".join(of) if of else "a scale that was entered first"
        r.fault("scale", "unknown-scale", "no such scale", right)
    elif not faults.found and (fault := mould_fault(nominal, over_pour, scale.division_g, "/over_pour")):
        faults.extend([fault])
    faults.refuse_if_any()
    return _add(work, moulds, "MD", name, body)


def list_scales(work: Work, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    return _list(work, scales, page)


def list_moulds(work: Work, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    return _list(work, moulds, page)


def _list(work: Work, table: Any, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    listed = page_of(work, select(table), table, page)
    return [{"id": row.id, **row.data} for row in listed.rows], listed
