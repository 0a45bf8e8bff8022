"""What an immediate message tells, and addresses that get no mail any more."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("message", sa.Column("about", sa.JSON(), nullable=True))
    op.create_table(
        "mail_stop",
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("recipient", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("stopped_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("reason IN ('unsubscribed', 'refused')", name=op.f("ck_mail_stop_reason")),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_mail_stop_ground_id")),
        sa.PrimaryKeyConstraint("ground_id", "recipient", name=op.f("pk_mail_stop")),
    )
