"""The tables. Weights are whole milligrams, money whole minor units, exact inputs and documents text.

Every table that is listed has a whole number `n` that rises with each row, so
that lists and cursors need nothing else, and a name (`id`, `number`) that
people say. Rows that are posted are guarded by triggers: see `migrations`.
"""

from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    UniqueConstraint,
)

from settle.books.columns import Canonical, Moment, Whole, Words

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _table(name: str, *parts: Any) -> Table:
    return Table(name, metadata, *parts)


def _n() -> Column[int]:
    return Column("n", Whole, primary_key=True)


def _name(column: str = "id") -> Column[str]:
    return Column(column, Words, nullable=False, unique=True)


def _text(column: str, *, null: bool = False) -> Column[str]:
    return Column(column, Words, nullable=null)


def _whole(column: str, *, null: bool = False) -> Column[int]:
    return Column(column, Whole, nullable=null)


def _data(column: str = "data", *, null: bool = False) -> Column[Any]:
    return Column(column, Canonical, nullable=null)


def _moment(column: str = "made_at", *, null: bool = False) -> Column[Any]:
    return Column(column, Moment, nullable=null)


def _version() -> Column[int]:
    """Sealed with rows since the first schema; nothing counts it any more."""
    return Column("version", Whole, nullable=False, default=1)


def _to(column: str, target: str, *, null: bool = True) -> Column[Any]:
    return Column(column, ForeignKey(target), nullable=null)


def _by() -> tuple[Column[Any], Column[str]]:
    """Who did it: the access key (none for the command on this machine) and the person at the till."""
    return _to("key", "access_keys.id"), _text("person", null=True)


# access ---------------------------------------------------------------------------------------

access_keys = _table(
    "access_keys",
    _n(),
    _name(),
    _text("name"),
    _data("scopes"),
    # Of the pages that may use it in a browser; without one it is no browser's key.
    _data("origins"),
    Column("hash", Words, nullable=False, unique=True),
    _moment(),
    _moment("expires_at", null=True),
    _moment("last_used_at", null=True),
    _moment("revoked_at", null=True),
)
people = _table("people", _n(), _name(), _name("name"), _moment())
idempotency = _table(
    "idempotency",
    _to("key_id", "access_keys.id", null=False),
    _text("method"),
    _text("path"),
    _text("idempotency_key"),
    _data("body", null=True),
    _whole("status"),
    Column("answer", LargeBinary, nullable=False),
    _data("headers"),
    _moment(),
    PrimaryKeyConstraint("key_id", "method", "path", "idempotency_key"),
    Index(None, "made_at"),
)
numbers = _table(
    "numbers", _text("series"), _whole("year"), _whole("last"), PrimaryKeyConstraint("series", "year")
)

# what the owner enters ------------------------------------------------------------------------

scales = _table("scales", _n(), _name(), _name("name"), _data(), _version(), _moment())
moulds = _table("moulds", _n(), _name(), _name("name"), _data(), _version(), _moment())
prices = _table(
    "prices", _n(), _name(), _text("metal"), _data(), _moment("entered_at"), *_by(), Index(None, "metal", "n")
)
terms = _table(
    "terms",
    _n(),
    _name(),
    _text("name"),
    _whole("public"),
    _data(),
    _moment(),
    *_by(),
    CheckConstraint("public IN (0, 1)", name="public"),
    Index(None, "name", "n"),
    Index(None, "public", "n"),
)
periods = _table("periods", _n(), _name("month"), _moment("locked_at"), *_by())

# clients, quotes, purchases -------------------------------------------------------------------

clients = _table(
    "clients",
    _n(),
    _name(),
    _to("default_terms", "terms.id"),
    _moment(),
    _moment("erased_at", null=True),
)
# The only table of personal data, and never in the chain: who a client is, who said yes, who
# collected. Everything else names a client by id, so that erasure has one place.
personal = _table(
    "personal",
    _n(),
    _text("subject"),
    _text("kind"),
    _to("client", "clients.id"),
    _data(),
    _moment(),
    UniqueConstraint("subject", "kind"),
    Index(None, "client"),
)
quotes = _table(
    "quotes",
    _n(),
    _name("number"),
    _to("client", "clients.id"),
    _to("terms", "terms.id", null=False),
    _text("state"),
    _moment("valid_until"),
    _data("request"),
    _data("document"),
    _text("hash"),
    _moment(),
    _moment("accepted_at", null=True),
    _data("acceptance", null=True),
    # Named by the lot that it became; the lot's own foreign key is what binds the two.
    _text("lot", null=True),
    _to("revises", "quotes.number"),
    # Withdrawn or revised: until then, or until it expired, its price was held.
    _moment("closed_at", null=True),
    *_by(),
    CheckConstraint("state IN ('issued', 'accepted', 'withdrawn', 'revised')", name="state"),
    Index(None, "client", "n"),
    Index(None, "state", "n"),
)
purchases = _table(
    "purchases",
    *(_n(), _name("number"), _to("client", "clients.id"), _data("document"), _text("hash"), _moment()),
    *_by(),
    Index(None, "client", "n"),
)

# lots, batches, records -----------------------------------------------------------------------

batches = _table("batches", _n(), _name("number"), _data(), _moment())
recoveries = _table("recoveries", _n(), _name("number"), _data(), _moment())
recovery_batches = _table(
    "recovery_batches",
    _to("recovery", "recoveries.number", null=False),
    _to("batch", "batches.number", null=False),
    PrimaryKeyConstraint("recovery", "batch"),
    Index(None, "batch"),
)
lots = _table(
    "lots",
    _n(),
    _name("number"),
    _to("client", "clients.id"),
    _to("terms", "terms.id", null=False),
    Column("quote", ForeignKey("quotes.number"), unique=True),
    _data(),
    _moment("received_at"),
    _moment("hold_until", null=True),
    _moment(),
    _to("batch", "batches.number"),
    Index(None, "client", "n"),
    Index(None, "batch"),
)
photographs = _table(
    "photographs",
    _n(),
    _name(),
    _to("lot", "lots.number", null=False),
    _text("media_type"),
    _text("hash"),
    Column("picture", LargeBinary, nullable=False),
    _moment(),
    *_by(),
    Index(None, "lot"),
)
records = _table(
    "records",
    _n(),
    _name(),
    _text("subject"),
    _text("kind"),
    _data(),
    # Unique: an entry is corrected once; the correction can be corrected in its turn.
    Column("corrects", ForeignKey("records.id"), unique=True),
    _text("reason", null=True),
    _moment(),
    *_by(),
    CheckConstraint("corrects IS NULL OR reason IS NOT NULL", name="reason"),
    Index(None, "subject", "kind", "n"),
    Index(None, "kind", "n"),
)
bars = _table(
    "bars",
    _n(),
    _name("serial"),
    _to("record", "records.id"),
    _to("batch", "batches.number"),
    _to("lot", "lots.number"),
    # To whom it is assigned; without a client and a lot it is the house's.
    _to("client", "clients.id"),
    _text("metal"),
    _data(),
    _text("state"),
    _moment(),
    CheckConstraint("state IN ('poured', 'assigned', 'handed_over', 'withdrawn')", name="state"),
    Index(None, "lot"),
    Index(None, "batch"),
    Index(None, "client", "state"),
)

# what is posted -------------------------------------------------------------------------------

reconciliations = _table(
    "reconciliations",
    _n(),
    _name(),
    _to("batch", "batches.number"),
    _to("recovery", "recoveries.number"),
    _text("metal"),
    _data("document"),
    _text("hash"),
    _moment("posted_at"),
    *_by(),
    CheckConstraint("(batch IS NULL) <> (recovery IS NULL)", name="one_subject"),
    Index(None, "batch", "metal"),
    Index(None, "recovery", "metal"),
)
settlements = _table(
    "settlements",
    _n(),
    _name(),
    # Drawn on posting, without a gap.
    Column("number", Words, unique=True),
    _to("lot", "lots.number", null=False),
    _text("state"),
    _data("document"),
    _data("inputs"),
    _text("hash"),
    _version(),
    _moment(),
    _moment("posted_at", null=True),
    *_by(),
    CheckConstraint("state IN ('draft', 'posted', 'reversed')", name="state"),
    CheckConstraint("(state = 'draft') = (number IS NULL)", name="number"),
    Index(None, "lot", "n"),
    Index(None, "state", "n"),
)
payments = _table(
    "payments",
    *(_n(), _name(), _text("subject"), _to("client", "clients.id"), _data(), _moment(), *_by()),
    Index(None, "subject", "n"),
    Index(None, "client", "n"),
)
# A posted row never changes: that it was reversed stands here, with the paper that says so.
reversals = _table(
    "reversals",
    _n(),
    _name(),
    # A credit note has a number of its own, without a gap.
    Column("number", Words, unique=True),
    Column("subject", Words, nullable=False, unique=True),
    _text("reason"),
    _data("document", null=True),
    _moment(),
    *_by(),
)
journal_entries = _table(
    "journal_entries",
    _n(),
    _name(),
    _text("document"),
    _text("text"),
    # The entry that this one undoes, and why (J2).
    Column("reverses", ForeignKey("journal_entries.id"), unique=True),
    _text("reason", null=True),
    _moment(),
    *_by(),
    CheckConstraint("reverses IS NULL OR reason IS NOT NULL", name="reason"),
    Index(None, "document"),
    Index(None, "made_at", "n"),
)
journal_lines = _table(
    "journal_lines",
    _to("entry", "journal_entries.n", null=False),
    _whole("position"),
    _text("account"),
    # Parts of the account's name: whose it is, and the account without the document at its end.
    _text("owner"),
    _text("place"),
    _text("commodity"),
    _whole("amount"),
    # What the account, and what the whole place, holds of the commodity after this line: a balance
    # as at any date is one row.
    _whole("balance"),
    _whole("place_balance"),
    PrimaryKeyConstraint("entry", "position"),
    UniqueConstraint("account", "commodity", "entry"),
    Index(None, "owner", "entry"),
    Index(None, "place", "commodity", "entry", "position"),
)
chain = _table(
    "chain", _n(), _text("of"), _text("name"), _text("hash"), _text("link"), UniqueConstraint("of", "name")
)
certificate_keys = _table(
    "certificate_keys",
    _n(),
    _name(),
    _data("public"),
    _text("secret"),
    _moment(),
    _moment("retired_at", null=True),
)

# events ---------------------------------------------------------------------------------------

hooks = _table(
    "hooks",
    _n(),
    _name(),
    _text("url"),
    _data("kinds"),
    _text("secret"),
    # Those before it, with a space between, that sign along until then.
    _text("old_secret", null=True),
    _moment("old_until", null=True),
    _moment(),
    _moment("revoked_at", null=True),
)
events = _table(
    "events", _n(), _name(), _text("kind"), _text("subject"), _data(), _moment(), Index(None, "subject", "n")
)
deliveries = _table(
    "deliveries",
    _n(),
    _name(),
    _to("event", "events.id", null=False),
    _to("hook", "hooks.id", null=False),
    _whole("attempts"),
    # When it is tried next; of one that is delivered, or was given up, never.
    _moment("next_at", null=True),
    _moment("delivered_at", null=True),
    _text("last_answer", null=True),
    UniqueConstraint("event", "hook"),
    Index(None, "next_at"),
    Index(None, "hook", "n"),
)
