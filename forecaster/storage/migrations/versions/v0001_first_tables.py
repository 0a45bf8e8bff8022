"""The first tables: grounds, weather issues, soil states, cycles, outlooks, episodes, messages, tasks."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

UTC_TIME = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "ground",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("updated_at", UTC_TIME, nullable=False),
        sa.Column("retired_at", UTC_TIME, nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ground")),
    )
    op.create_table(
        "task",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("due_at", UTC_TIME, nullable=False),
        sa.Column("claimed_at", UTC_TIME, nullable=True),
        sa.Column("claimed_by", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_task")),
    )
    op.create_table(
        "cycle",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("started_at", UTC_TIME, nullable=False),
        sa.Column("finished_at", UTC_TIME, nullable=False),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("error_slug", sa.String(), nullable=True),
        sa.Column("error_message", sa.Text(), nullable=True),
        sa.Column("weather", sa.JSON(), nullable=True),
        sa.CheckConstraint("status IN ('ok', 'degraded', 'failed')", name=op.f("ck_cycle_status")),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_cycle_ground_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cycle")),
    )
    op.create_index(op.f("ix_cycle_ground_id_finished_at"), "cycle", ["ground_id", "finished_at"], unique=False)
    op.create_table(
        "episode",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("surface_id", sa.String(), nullable=False),
        sa.Column("rule_id", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("severity", sa.String(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("raised_at", UTC_TIME, nullable=False),
        sa.Column("ended_at", UTC_TIME, nullable=True),
        sa.Column("quiet_since", sa.Date(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("advice", sa.Text(), nullable=False),
        sa.CheckConstraint("status IN ('expected', 'present', 'held', 'ended')", name=op.f("ck_episode_status")),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_episode_ground_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_episode")),
    )
    op.create_index(op.f("ix_episode_ground_id_raised_at"), "episode", ["ground_id", "raised_at"], unique=False)
    op.create_index(
        "uq_episode_open",
        "episode",
        ["ground_id", "surface_id", "rule_id"],
        unique=True,
        sqlite_where=sa.text("status != 'ended'"),
        postgresql_where=sa.text("status != 'ended'"),
    )
    op.create_table(
        "message",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("recipient", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("html", sa.Text(), nullable=False),
        sa.Column("created_at", UTC_TIME, nullable=False),
        sa.Column("not_before", UTC_TIME, nullable=False),
        sa.Column("expires_at", UTC_TIME, nullable=False),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("claimed_at", UTC_TIME, nullable=True),
        sa.Column("claimed_by", sa.String(), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("interruptions", sa.Integer(), nullable=False),
        sa.Column("next_attempt_at", UTC_TIME, nullable=True),
        sa.Column("last_error", sa.Text(), nullable=True),
        sa.Column("sent_at", UTC_TIME, nullable=True),
        sa.CheckConstraint("status IN ('waiting', 'claimed', 'sent', 'failed', 'expired')", name=op.f("ck_message_status")),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_message_ground_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message")),
        sa.UniqueConstraint("key", name=op.f("uq_message_key")),
    )
    op.create_index(op.f("ix_message_ground_id_created_at"), "message", ["ground_id", "created_at"], unique=False)
    op.create_index(op.f("ix_message_status_not_before"), "message", ["status", "not_before"], unique=False)
    op.create_table(
        "outlook",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("surface_id", sa.String(), nullable=False),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("issued_at", UTC_TIME, nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.Column("charts", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_outlook_ground_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outlook")),
        sa.UniqueConstraint("ground_id", "surface_id", "local_day", name=op.f("uq_outlook_ground_id_surface_id_local_day")),
    )
    op.create_table(
        "soil_state",
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("blob", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_soil_state_ground_id")),
        sa.PrimaryKeyConstraint("ground_id", "local_day", "fingerprint", name=op.f("pk_soil_state")),
    )
    op.create_table(
        "weather_issue",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ground_id", sa.String(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("issued_at", UTC_TIME, nullable=False),
        sa.Column("stored_at", UTC_TIME, nullable=False),
        sa.Column("first_hour", UTC_TIME, nullable=False),
        sa.Column("last_hour", UTC_TIME, nullable=False),
        sa.Column("blob", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["ground_id"], ["ground.id"], name=op.f("fk_weather_issue_ground_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weather_issue")),
        sa.UniqueConstraint("ground_id", "source", "issued_at", name=op.f("uq_weather_issue_ground_id_source_issued_at")),
    )
