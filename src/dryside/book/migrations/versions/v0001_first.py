"""The first schema."""

from __future__ import annotations

from alembic import op

from dryside.book.migrations.schema_0001 import metadata

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make every table of the first schema."""
    metadata.create_all(op.get_bind())
