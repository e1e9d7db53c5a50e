"""Query parameters. What lists have in common: `from` and `to`, days in the house's time zone, both in it;
`client`; `state`."""

from collections.abc import Mapping
from typing import Any, ClassVar

from api.schemas.base import Schema
from api.schemas.fields import Day, Moment, Text, Word


class DayOrMoment(Day):
    """A day, of which the last moment is meant, or a moment."""

    right = "a day such as 2026-03-01, or RFC 3339 in UTC such as 2026-03-01T09:30:00Z"
    shape: ClassVar[Mapping[str, Any]] = {"examples": ["2026-03-01", "2026-03-01T09:30:00Z"]}

    def check(self, value: str) -> None:
        if "T" in value:
            Moment().check(value)
        else:
            super().check(value)


class SpanQuery(Schema):
    """From one day to another, both of them in it."""

    from_ = Day(data_key="from", metadata={"description": "The first day, in the house's time zone"})
    to = Day(metadata={"description": "The last day, in the house's time zone"})


class OfClientQuery(SpanQuery):
    """What is one client's."""

    client = Text()


class PositionQuery(Schema):
    """As at when; now if absent."""

    as_at = DayOrMoment()


class WorkingQuery(Schema):
    """Whether the rows of working are wanted."""

    working = Word(("true", "false"))


class TermsQuery(SpanQuery):
    """Terms of one name."""

    name = Text()


class QuotesQuery(OfClientQuery):
    """Quotes in a state."""

    state = Word(("issued", "accepted", "withdrawn", "expired", "revised"))


class PurchasesQuery(OfClientQuery):
    """Purchases in a state."""

    state = Word(("posted", "reversed"))


class BarSalesQuery(OfClientQuery):
    """Sales of bars in a state."""

    state = Word(("posted", "reversed"))


class PaymentsQuery(OfClientQuery):
    """Payments with a client, in a state."""

    state = Word(("posted", "reversed"))


class LotsQuery(OfClientQuery):
    """Lots in a state, by the day they were received."""

    state = Word(("received", "melted", "assayed", "in_batch", "refined", "returned"))


class PotsQuery(OfClientQuery):
    """Batches of which any metal is in a state, or silver recoveries in one; those with a lot of a client."""

    state = Word(("open", "outturn", "closed"))


class LoansQuery(OfClientQuery):
    """Silver that is out or was given back, by the day it was lent; to batches with a lot of a client."""

    state = Word(("out", "closed"))


class BarsQuery(OfClientQuery):
    """Bars of a lot, of a client or his lots, in a state; or those that a client has not taken yet."""

    lot = Text()
    state = Word(("poured", "assigned", "handed_over", "withdrawn"))
    unclaimed = Word(("true", "false"))


class SettlementsQuery(OfClientQuery):
    """Settlements of a client or a lot, in a state, by the day they were posted, drafts by theirs."""

    lot = Text()
    state = Word(("draft", "posted", "reversed"))


class OnAccountQuery(SpanQuery):
    """Metal on account sold, or taken as a bar, in a state."""

    state = Word(("posted", "reversed"))


class JournalQuery(OfClientQuery):
    """Entries of one document; those that touch a client's accounts."""

    document = Text()


class RegisterQuery(OfClientQuery):
    """What one client brought; marks that hold this text."""

    stamped = Text(least=1, most=80)


class DeliveriesQuery(SpanQuery):
    """Deliveries in a state, by the day of the event."""

    state = Word(("pending", "delivered", "dead"))
