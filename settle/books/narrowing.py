"""What a list is asked for: the days on which things were made, whose they are, in which state."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Select, select

from settle.books.periods import Span
from settle.books.tables import clients, lots
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused

EVER = Span(None, None)


@dataclass(frozen=True, slots=True)
class Wanted:
    """The rows that are wanted of a list; what is None leaves nothing out."""

    span: Span = EVER
    client: str | None = None
    state: str | None = None
    lot: str | None = None

    def of(
        self,
        work: Work,
        query: Select[Any],
        made_at: ColumnElement[Any],
        *,
        client: Callable[[str], ColumnElement[bool]] | None = None,
        states: Mapping[str, ColumnElement[bool]] | None = None,
        lot: Callable[[str], ColumnElement[bool]] | None = None,
    ) -> Select[Any]:
        """A query narrowed to them: by the moment a row was made or posted, and by the conditions under
        which it is a client's, a lot's, in a state. Raises `Refused` (bad-request): nobody, no lot."""
        query = self.span.of(work, query, made_at)
        if self.client is not None and client is not None:
            _refuse_unknown(work, "client", clients.c.id, self.client)
            query = query.where(client(self.client))
        if self.lot is not None and lot is not None:
            _refuse_unknown(work, "lot", lots.c.number, self.lot)
            query = query.where(lot(self.lot))
        return query if self.state is None or states is None else query.where(states[self.state])


ALL = Wanted()


def _refuse_unknown(work: Work, field: str, column: ColumnElement[str], name: str) -> None:
    # A slip of the hand would be answered with nothing, as if nothing had ever been done.
    if work.connection.execute(select(column).where(column == name)).first() is None:
        right = f"the {'id' if field == 'client' else 'number'} of a {field} in the books"
        raise Refused(Fault("bad-request", "", f'{field}: no {field} "{name[:20]}"', right))


def of_clients_lot(client: str, lot: ColumnElement[Any]) -> ColumnElement[bool]:
    """As a condition: the lot whose number stands in a column is a client's."""
    return lot.in_(select(lots.c.number).where(lots.c.client == client))


def has_clients_lot(client: str, batch: ColumnElement[Any]) -> ColumnElement[bool]:
    """As a condition: a lot of a client is in the batch whose number stands in a column."""
    return batch.in_(select(lots.c.batch).where(lots.c.client == client))
