"""Alembic's entry: runs the migrations on the connection and in the transaction that `bring_up_to_date` gives."""

from alembic import context

from dryside.book.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    transactional_ddl=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
