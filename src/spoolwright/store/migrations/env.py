"""What Alembic runs: the steps, inside the transaction that the store has begun."""

from alembic import context

from spoolwright.store.tables import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
context.run_migrations()
