"""Runs the migrations inside the transaction that it is given."""

from typing import Any, Literal

from alembic import context
from sqlalchemy import TypeDecorator


def render_item(kind: str, item: Any, _autogen: object) -> str | Literal[False]:  # noqa: ANN401
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
