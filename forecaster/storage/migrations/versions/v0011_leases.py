"""Tasks by kind and ground, with attempts, a lease that runs out, and the last error.

The table is made anew: everything in it is found again by the next start, which runs what is then due once.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_table("task")
    op.create_table(
        "task",
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lease_owner", sa.String(), nullable=True),
        sa.Column("last_error", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("kind", "ground_id", name=op.f("pk_task")),
    )
