"""How a database of an earlier layout becomes one of the present layout, step by step (Alembic)."""
