"""The first schema: every table, as SQL frozen beside this file.

Revision ID: 0001
Revises:
"""

from pathlib import Path

from settle.books.migrations import frozen

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Frozen text, not today's `tables.py`: a migration must do tomorrow what it did today.
    frozen.run(Path(__file__).with_suffix(".sql").read_text("utf-8"))


def downgrade() -> None:
    raise NotImplementedError("restore a backup instead")
