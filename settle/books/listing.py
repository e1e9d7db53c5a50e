"""Lists a page at a time, newest first, by the whole number that rises with each row."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, Table

from settle.books.work import Work

DEFAULT_LIMIT = 50
MOST = 200


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
