"""Messages that are about no ground: to whoever runs the program."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("message") as message:
        message.alter_column("ground_id", existing_type=sa.String(), nullable=True)
