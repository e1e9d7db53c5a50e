"""Lists a page at a time, newest first, by the whole number that rises with each row."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from heapq import merge
from typing import Any

from sqlalchemy import Column, Row, Select, Table

from settle.books.work import Work

DEFAULT_LIMIT = 50
MOST = 200
# A page of two tables goes on behind a row of each: both numbers stand in one cursor.
_OTHER = 2**26
_FIRST_PAGE = _OTHER * _OTHER - 1


@dataclass(frozen=True, slots=True)
class Page:
    """How many rows, and the `n` of the last row already seen."""

    limit: int = DEFAULT_LIMIT
    after: int | None = None


@dataclass(frozen=True, slots=True)
class Listed:
    """The rows of one page, and what `Page.after` must be for the next; None at the end."""

    rows: list[Row[Any]]
    next_after: int | None


def page_of(
    work: Work, query: Select[Any], table: Table, page: Page, *, oldest_first: bool = False
) -> Listed:
    """One page of a query that selects `table.c.n` among its columns and has no order of its own."""
    n = table.c.n
    if page.after is not None:
        query = query.where(n > page.after if oldest_first else n < page.after)
    ordered = query.order_by(n if oldest_first else n.desc())
    # One row more than asked for tells whether there is a next page.
    rows = list(work.connection.execute(ordered.limit(page.limit + 1)))
    shown = rows[: page.limit]
    return Listed(shown, shown[-1].n if len(rows) > page.limit else None)


def sifted(
    work: Work, query: Select[Any], table: Table, page: Page, keep: Callable[[Row[Any]], bool]
) -> Listed:
    """One page of the rows of a query that are kept, for what SQL alone can't tell: it narrows first."""
    found: list[Row[Any]] = []
    after = page.after
    while True:
        listed = page_of(work, query, table, Page(MOST, after))
        found += filter(keep, listed.rows)
        after = listed.next_after
        if after is None or len(found) > page.limit:
            break
    shown = found[: page.limit]
    return Listed(shown, shown[-1].n if len(found) > page.limit else None)


def page_of_two(
    work: Work, one: tuple[Select[Any], Column[Any]], other: tuple[Select[Any], Column[Any]], page: Page
) -> Listed:
    """One page of two queries, each with the column of its moment: by time, each by its own `n`."""
    after = list(divmod(_FIRST_PAGE if page.after is None else page.after, _OTHER))
    found = (_newest(work, *of, i, after[i], page.limit + 1) for i, of in enumerate((one, other)))
    rows = list(merge(*found, key=lambda row: row[0], reverse=True))[: page.limit + 1]
    for _, i, row in rows[: page.limit]:
        after[i] = row.n
    shown = [row for _, _, row in rows[: page.limit]]
    return Listed(shown, after[0] * _OTHER + after[1] if len(rows) > page.limit else None)


def _newest(
    work: Work, query: Select[Any], at: Column[Any], i: int, after: int, most: int
) -> Iterator[tuple[datetime, int, Row[Any]]]:
    """Rows with their moment and which of the two queries they are of."""
    n = at.table.c.n
    for row in work.connection.execute(query.where(n < after).order_by(n.desc()).limit(most)):
        yield getattr(row, at.name), i, row
