"""What Alembic runs: the migrations, on the connection that the store gives it."""

from alembic import context

from stillflow.casebook.tables import TABLES

context.configure(connection=context.config.attributes["connection"], target_metadata=TABLES)
context.run_migrations()
