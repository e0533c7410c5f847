"""Run by Alembic: upgrade the connection that `decussate.records.schema` hands over."""

from __future__ import annotations

from alembic import context

from decussate.records.schema import REVISION_TABLE
from decussate.records.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=REVISION_TABLE,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
