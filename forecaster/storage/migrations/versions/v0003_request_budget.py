"""What has been asked of a weather service, so that its limits are kept before it has to."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "request_budget",
        sa.Column("service", sa.String(), nullable=False),
        sa.Column("span", sa.String(), nullable=False),
        sa.Column("starts_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used", sa.Double(), nullable=False),
        sa.CheckConstraint("span IN ('minute', 'hour', 'day')", name=op.f("ck_request_budget_span")),
        sa.PrimaryKeyConstraint("service", "span", name=op.f("pk_request_budget")),
    )
