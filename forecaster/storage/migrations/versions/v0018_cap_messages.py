"""Messages of alerts as feeds tell them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "cap_message",
        sa.Column("identifier", sa.String(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("episode_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("sender", sa.String(), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("severity", sa.String(), nullable=False),
        sa.Column("mark", sa.String(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["episode_id"], ["episode.id"], name=op.f("fk_cap_message_episode_id")),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_cap_message_ground_id")),
        sa.PrimaryKeyConstraint("identifier", name=op.f("pk_cap_message")),
        sa.UniqueConstraint("episode_id", "number", name=op.f("uq_cap_message_episode_id_number")),
    )
    op.create_index(op.f("ix_cap_message_ground_id_sent_at"), "cap_message", ["ground_id", "sent_at"])
