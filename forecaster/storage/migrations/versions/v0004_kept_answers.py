"""Answers of weather services that are kept until the next question."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "kept_answer",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("last_modified", sa.String(), nullable=True),
        sa.Column("expires", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deprecated", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_kept_answer")),
    )
