"""What people enter by hand, and what it said before it was changed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "record",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("surface_id", sa.String(), nullable=False),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_by", sa.String(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("changed_by", sa.String(), nullable=True),
        sa.Column("deleted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("deleted_by", sa.String(), nullable=True),
        sa.Column("request_key", sa.String(), nullable=True),
        sa.Column("request_digest", sa.String(), nullable=False),
        sa.CheckConstraint("kind IN ('application', 'observation', 'fixture', 'ring')", name=op.f("ck_record_kind")),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_record_ground_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record")),
        sa.UniqueConstraint("ground_id", "kind", "request_key", name=op.f("uq_record_ground_id_kind_request_key")),
    )
    op.create_index(op.f("ix_record_ground_id_kind_happened_at"), "record", ["ground_id", "kind", "happened_at"])
    op.create_table(
        "record_version",
        sa.Column("record_id", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("replaced_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["record_id"], ["record.id"], name=op.f("fk_record_version_record_id")),
        sa.PrimaryKeyConstraint("record_id", "version", name=op.f("pk_record_version")),
    )
