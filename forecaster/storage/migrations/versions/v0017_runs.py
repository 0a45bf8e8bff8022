"""What the kept outlooks rest on, so that they can be made again."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "run",
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.Column("rests_on", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_run_ground_id")),
        sa.PrimaryKeyConstraint("ground_id", "local_day", name=op.f("pk_run")),
    )
    op.create_table(
        "run_part",
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("blob", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_run_part_ground_id")),
        sa.PrimaryKeyConstraint("ground_id", "digest", name=op.f("pk_run_part")),
    )
