"""Why each rule did or did not speak of a surface."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "explanation",
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("surface_id", sa.String(), nullable=False),
        sa.Column("issued_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_explanation_ground_id")),
        sa.PrimaryKeyConstraint("ground_id", "surface_id", name=op.f("pk_explanation")),
    )
