"""What is known of a ground's weather, as its last cycle found it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "weather_report",
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_weather_report_ground_id")),
        sa.PrimaryKeyConstraint("ground_id", name=op.f("pk_weather_report")),
    )
