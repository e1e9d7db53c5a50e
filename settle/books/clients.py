"""Clients: who they are stands among the personal data, all else names them by id."""

from typing import Any

from sqlalchemy import Row, select

from settle.books import personal
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.erased import ENTERED_ANEW, refuse_erased
from settle.books.listing import Listed, Page, page_of
from settle.books.periods import Span
from settle.books.tables import clients
from settle.books.work import Work
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader

CLIENT = "client"


def add(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter a client; `default_terms` is the number of terms that are the client's own."""
    _check(work, body, faults)
    client = work.name("C")
    work.connection.execute(
        clients.insert().values(
            id=client,
            default_terms=body.get("default_terms"),
            made_at=work.now,
        )
    )
    personal.keep(work, client, CLIENT, client, _personal(body))
    return shown(work, client)


def _check(work: Work, body: Json, faults: Faults) -> None:
    r = Reader(body, faults)
    if not r.text("name").strip() and not faults.found:
        r.fault("name", "bad-text", "empty", "the client's name")
    faults.refuse_if_any()
    if r.has("default_terms"):
        terms_of_business.find(work, r.text("default_terms"), "/default_terms")


def _personal(body: Json) -> dict[str, Any]:
    return {k: v for k, v in body.items() if k != "default_terms"}


def _shown(work: Work, row: Row[Any]) -> dict[str, Any]:
    return {
        "id": row.id,
        **(personal.kept(work, row.id, CLIENT) or {"name": None}),
        "default_terms": row.default_terms,
        "made_at": moment_text(row.made_at),
        "erased_at": None if row.erased_at is None else moment_text(row.erased_at),
    }


def find(work: Work, client: str) -> dict[str, Any] | None:
    row = work.connection.execute(select(clients).where(clients.c.id == client)).first()
    return None if row is None else _shown(work, row)


def shown(work: Work, client: str) -> dict[str, Any]:
    """A client; `not-found` where there is none."""
    found = find(work, client)
    if found is None:
        raise Refused(Fault("not-found", "", f"no client {client[:20]}", "the id of a client"))
    return found


def refuse_unknown(work: Work, client: str, faults: Faults, pointer: str = "/client") -> None:
    """Leave a fault where the books know no such client, or not any more who it was."""
    found = find(work, client)
    if found is None:
        right = "the id of a client in the books, such as C-1"
        faults.extend([Fault("unknown-reference", pointer, f'no client "{client[:20]}"', right)])
    elif found["erased_at"] is not None:
        faults.extend([Fault("unknown-reference", pointer, f"the data of {client} was erased", ENTERED_ANEW)])


def change(work: Work, client: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Change what is given, and nothing else."""
    old = shown(work, client)
    refuse_erased(work, client)
    new = {**(personal.kept(work, client, CLIENT) or {}), "default_terms": old["default_terms"], **body}
    new = {k: v for k, v in new.items() if v is not None}
    _check(work, new, faults)
    changed = clients.update().where(clients.c.id == client)
    work.connection.execute(changed.values(default_terms=new.get("default_terms")))
    personal.keep(work, client, CLIENT, client, _personal(new))
    return shown(work, client)


def listed(work: Work, page: Page, span: Span) -> tuple[list[dict[str, Any]], Listed]:
    rows = page_of(work, span.of(work, select(clients), clients.c.made_at), clients, page)
    return [_shown(work, row) for row in rows.rows], rows
