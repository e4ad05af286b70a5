"""The range of densities of a roll's pictures, beside the contrast that a chart on it shows."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the range, its standard error, and how many frames it rests on."""
    op.add_column("developments", sa.Column("picture_range", sa.Float))
    op.add_column("developments", sa.Column("picture_range_error", sa.Float))
    op.add_column("developments", sa.Column("picture_range_frames", sa.Integer))
