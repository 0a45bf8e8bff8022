"""Run by Alembic: migrate over the connection that ``storage.database.migrate`` hands in, inside its transaction."""

from __future__ import annotations

from alembic import context

from forecaster.storage.models import Table

context.configure(connection=context.config.attributes["connection"], target_metadata=Table.metadata, render_as_batch=True)
context.run_migrations()
