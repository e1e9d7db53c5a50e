"""No counted versions: an ETag is of what is shown. Where one is sealed with its row it stays.

Revision ID: 0003
Revises: 0002
"""

from settle.books.migrations import frozen

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

COUNTED = ("bars", "batches", "clients", "lots", "quotes", "recoveries")


def upgrade() -> None:
    for table in COUNTED:
        frozen.run(f"ALTER TABLE {table} DROP COLUMN version;\n")


def downgrade() -> None:
    raise NotImplementedError("restore a backup instead")
