"""Triggers: what is posted is only ever added to.

Revision ID: 0002
Revises: 0001
"""

from settle.books.migrations import frozen

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

# Nothing in these is ever changed or removed, whoever asks.
ONLY_ADDED_TO = (
    "chain",
    "journal_entries",
    "journal_lines",
    "payments",
    "periods",
    "photographs",
    "prices",
    "purchases",
    "reconciliations",
    "records",
    "reversals",
    "terms",
)
QUOTED = ("number", "request", "document", "hash")
# All of a settlement but its state.
SETTLED = (
    *("n", "id", "number", "lot", "document", "inputs", "hash"),
    *("version", "made_at", "posted_at", "key", "person"),
)


def _changed(columns: tuple[str, ...]) -> str:
    return " OR ".join(f"NEW.{c} IS NOT OLD.{c}" for c in columns)


def upgrade() -> None:
    frozen.prepare_guards()
    for table in ONLY_ADDED_TO:
        for action in ("UPDATE", "DELETE"):
            frozen.guard(table, action, "1 = 1", "posted rows are only added to")
        frozen.guard_whole(table, "posted rows are only added to")
    reversing = f"OLD.state = 'posted' AND NEW.state = 'reversed' AND NOT ({_changed(SETTLED)})"
    once_posted = f"OLD.state <> 'draft' AND NOT ({reversing})"
    frozen.guard("settlements", "UPDATE", once_posted, "posted is only reversed")
    frozen.guard("settlements", "DELETE", "OLD.state <> 'draft'", "posted is only reversed")
    frozen.guard_whole("settlements", "posted is only reversed")
    frozen.guard("quotes", "UPDATE", _changed(QUOTED), "what was quoted stands")
    frozen.guard("quotes", "DELETE", "1 = 1", "what was quoted stands")
    frozen.guard_whole("quotes", "what was quoted stands")


def downgrade() -> None:
    # Books without their guards are no books: go back to a backup instead.
    raise NotImplementedError("restore a backup instead")
