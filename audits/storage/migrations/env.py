"""Runs the migrations inside the transaction that it is given."""

from alembic import context
from sqlalchemy import TypeDecorator


def render_item(kind: str, item: object, _autogen: object) -> str | bool:
    """Write our own column types as the plain types beneath them: migrations import no app code."""
    if kind == "type" and isinstance(item, TypeDecorator):
        return f"sa.{item.impl_instance!r}"
    return False


connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=context.config.attributes.get("metadata"),
    render_item=render_item,
)
context.run_migrations()
