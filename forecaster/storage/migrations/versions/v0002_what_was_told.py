"""What the last daily message of a ground rested on."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "told",
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("outlooks", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_told_ground_id")),
        sa.PrimaryKeyConstraint("ground_id", "local_day", name=op.f("pk_told")),
    )
