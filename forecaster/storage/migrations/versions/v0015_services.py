"""How weather services stand, for all processes and over restarts."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

UTC_TIME = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "service",
        sa.Column("service", sa.String(), nullable=False),
        sa.Column("asked_as", sa.String(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("held_until", UTC_TIME, nullable=True),
        sa.Column("probe_until", UTC_TIME, nullable=True),
        sa.Column("named", sa.String(), nullable=True),
        sa.Column("named_since", UTC_TIME, nullable=True),
        sa.Column("last_error", sa.Text(), nullable=True),
        sa.Column("last_hint", sa.Text(), nullable=True),
        sa.Column("failed_at", UTC_TIME, nullable=True),
        sa.Column("answered_at", UTC_TIME, nullable=True),
        sa.CheckConstraint("named IN ('shut out', 'terms', 'limit', 'deprecated')", name=op.f("ck_service_named")),
        sa.PrimaryKeyConstraint("service", name=op.f("pk_service")),
    )
