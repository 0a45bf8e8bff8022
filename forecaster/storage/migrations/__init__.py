"""Schema revisions, run by ``storage.database.migrate``."""
