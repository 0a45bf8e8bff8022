"""What people say to an alert: acknowledged, or put off."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("episode", sa.Column("acknowledgement", sa.JSON(none_as_null=True), nullable=True))
    op.add_column("episode", sa.Column("snooze", sa.JSON(none_as_null=True), nullable=True))
