"""Terms of business by name, each version numbered `T-n` and never edited."""

import json
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from sqlalchemy import Text, func, select, type_coerce

from settle.books import chain
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.periods import Span
from settle.books.tables import clients, terms
from settle.books.work import Work
from settle.reckoning import notices
from settle.reckoning.problems import KINDS, Fault, Faults, Refused
from settle.reckoning.purchase import is_counter
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Terms, read_terms

UNPROCESSABLE = 422
FILL_IN = "`settle terms example` prints a set to fill in; send it to POST /v1/terms"


def add(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Keep a new version of the terms of that name; it is in force from now on."""
    read = read_terms(body, faults=faults)
    faults.refuse_if_any()
    number = work.name("T")
    work.connection.execute(
        terms.insert().values(
            id=number,
            name=read.name,
            public=int(read.public),
            data=dict(body),
            made_at=work.now,
            **work.made_by,
        )
    )
    chain.seal(work, terms, number)
    told = [notice.as_json() for notice in notices.of_terms(read)]
    return {"number": number, "made_at": work.moment, **body, "notices": told}


def find(work: Work, number: str, pointer: str = "/terms") -> Terms:
    """One version by its number; `Refused` where there is none."""
    text = select(type_coerce(terms.c.data, Text)).where(terms.c.id == number)
    data = work.connection.execute(text).scalar()
    if data is None:
        right = "the number of terms in the books, such as T-1"
        raise Refused(Fault("unknown-reference", pointer, f'no terms "{number[:20]}"', right))
    return _read(data, number)


@lru_cache(maxsize=64)
def _read(text: str, number: str) -> Terms:
    # A version is never edited and `Terms` is frozen: reading it again would find the same.
    return read_terms(json.loads(text), number)


def chosen(
    work: Work,
    number: str | None,
    client: str | None = None,
    *,
    public_only: bool = False,
    outright: bool = False,
) -> Terms:
    """The terms to reckon with: those named, else the client's own, else the public ones in force.

    Terms that buy over the counter (`outright`) and terms to refine under are in force beside each
    other: neither stands in for the other unless it is named.
    Raises `Refused`: `terms-missing` where there are none, `forbidden` where a key
    with `estimate` alone asks for others than the public terms in force.
    """
    in_force = _public_in_force(work, outright=outright)
    if number is not None:
        if public_only and number != in_force:
            right = f"leave it out: {in_force or 'no public terms'} are in force"
            raise Refused(Fault("forbidden", "/terms", "only the public terms in force", right))
        return find(work, number)
    if client is not None:
        own = work.connection.execute(select(clients.c.default_terms).where(clients.c.id == client)).scalar()
        if own is not None and is_counter(find(work, own)) == outright:
            return find(work, own)
    if in_force is None:
        raise Refused(Fault("terms-missing", "/terms", "there are no public terms yet", FILL_IN))
    return find(work, in_force)


def chosen_for(
    work: Work,
    r: Reader,
    client: str | None,
    faults: Faults,
    *,
    public_only: bool = False,
    outright: bool = False,
) -> Terms:
    """`chosen` by the field `terms` of a body; what was wrong before is told with what is wrong here."""
    number = r.text("terms") if r.has("terms") else None
    if number == "":
        raise Refused(*faults.found)
    try:
        return chosen(work, number, client, public_only=public_only, outright=outright)
    except Refused as refused:
        if all(KINDS[f.kind].status == UNPROCESSABLE for f in refused.faults):
            raise Refused(*faults.found, *refused.faults) from refused
        raise


def _public_in_force(work: Work, *, outright: bool) -> str | None:
    return next((of.number for of in _public(work) if is_counter(of) == outright), None)


def _public(work: Work) -> Iterator[Terms]:
    """Public terms, the newest first; a version that another of its name took the place of is none."""
    of_name = select(func.max(terms.c.n)).group_by(terms.c.name)
    newest = select(terms.c.id).where(terms.c.public == 1, terms.c.n.in_(of_name)).order_by(terms.c.n.desc())
    return (find(work, number) for number in work.connection.execute(newest).scalars())


def newest_of_name(work: Work, of: Terms) -> Terms:
    """The version in force of these terms' name."""
    newest = select(terms.c.id).where(terms.c.name == of.name).order_by(terms.c.n.desc()).limit(1)
    return find(work, work.connection.execute(newest).scalar_one())


def to_buy_under(work: Work, currency: str) -> str | None:
    """The newest public terms that buy outright in a currency."""
    in_currency = (of for of in _public(work) if of.currency == currency)
    return next((of.number for of in in_currency if is_counter(of)), None)


def weight_unit(work: Work, client: str | None = None) -> str:
    """The unit that is shown beside grams: of a client's own terms, else of the public ones, else none."""
    try:
        return chosen(work, None, client).weight_unit
    except Refused:
        # There may be metal before there are public terms, and grams are always shown.
        return "g"


def shown(work: Work, number: str) -> dict[str, Any] | None:
    """One version as it was posted, with its number; None where there is none."""
    row = work.connection.execute(select(terms).where(terms.c.id == number)).first()
    return None if row is None else {"number": row.id, "made_at": moment_text(row.made_at), **row.data}


def versions(
    work: Work, page: Page, span: Span, name: str | None = None
) -> tuple[list[dict[str, Any]], Listed]:
    query = span.of(work, select(terms), terms.c.made_at)
    if name is not None:
        query = query.where(terms.c.name == name)
    listed = page_of(work, query, terms, page)
    return [
        {"number": row.id, "made_at": moment_text(row.made_at), **row.data} for row in listed.rows
    ], listed
