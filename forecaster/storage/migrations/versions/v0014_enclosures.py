"""What goes with messages, and work windows in the calendar."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("message", sa.Column("enclosures", sa.JSON(), nullable=True))
    op.create_table(
        "enclosure",
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_enclosure")),
    )
    op.create_table(
        "calendar_event",
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("starts_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("summary", sa.String(), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("cancelled", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_calendar_event_ground_id")),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_calendar_event")),
    )
    op.create_index(op.f("ix_calendar_event_ground_id_starts_at"), "calendar_event", ["ground_id", "starts_at"])
