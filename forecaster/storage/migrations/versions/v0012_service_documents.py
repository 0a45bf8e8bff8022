"""What the web process must know of the configuration."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "service_document",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_service_document")),
    )
