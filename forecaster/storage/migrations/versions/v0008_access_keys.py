"""Access keys, browsers signed in with them, sign-ins that failed, and secrets that the processes share."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "access_key",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("secret_hash", sa.LargeBinary(), nullable=False),
        sa.Column("may_write", sa.Boolean(), nullable=False),
        sa.Column("grounds", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_access_key")),
    )
    in_use = sa.text("revoked_at IS NULL")
    op.create_index("uq_access_key_name_in_use", "access_key", ["name"], unique=True, sqlite_where=in_use, postgresql_where=in_use)
    op.create_table(
        "sign_in_session",
        sa.Column("token_hash", sa.LargeBinary(), nullable=False),
        sa.Column("key_id", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["key_id"], ["access_key.id"], name=op.f("fk_sign_in_session_key_id")),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_sign_in_session")),
    )
    op.create_index(op.f("ix_sign_in_session_key_id"), "sign_in_session", ["key_id"])
    op.create_table(
        "sign_in_failure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("failed_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_failure")),
    )
    op.create_index(op.f("ix_sign_in_failure_failed_at"), "sign_in_failure", ["failed_at"])
    op.create_table(
        "service_secret",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_service_secret")),
    )
