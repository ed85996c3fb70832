"""Column types and table parts that every table shares."""

from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

import sqlalchemy as sa


class UtcDateTime(sa.TypeDecorator[datetime]):
    """An instant, kept in UTC and always given back with its zone."""

    impl = sa.DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: sa.Dialect) -> datetime | None:
        """
        Turn an instant to UTC without a zone, as both databases keep it.

        Raises
        ------
        ValueError
            If the instant has no zone.
        """
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"an instant needs its zone: {value!r}")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, _dialect: sa.Dialect) -> datetime | None:
        """Give the zone back."""
        return None if value is None else value.replace(tzinfo=UTC)


class Word(sa.TypeDecorator[StrEnum]):
    """A member of one of the vocabulary's fixed sets, kept as its text."""

    impl = sa.String
    cache_ok = True

    def __init__(self, words: type[StrEnum]) -> None:
        super().__init__(max(len(word) for word in words) + 8)
        self.words = words

    def process_bind_param(self, value: StrEnum | str | None, _dialect: sa.Dialect) -> str | None:
        """Refuse anything outside the set."""
        return None if value is None else str(self.words(value))

    def process_result_value(self, value: Any, _dialect: sa.Dialect) -> StrEnum | None:  # noqa: ANN401
        """Give the member back."""
        return None if value is None else self.words(value)


class WordList(sa.TypeDecorator[tuple[StrEnum, ...]]):
    """Several members of a fixed set, in order, kept as one text."""

    impl = sa.Text
    cache_ok = True

    def __init__(self, words: type[StrEnum]) -> None:
        super().__init__()
        self.words = words

    def process_bind_param(self, value: Any, _dialect: sa.Dialect) -> str | None:  # noqa: ANN401
        """Join the members with blanks."""
        return None if value is None else " ".join(self.words(word) for word in value)

    def process_result_value(self, value: Any, _dialect: sa.Dialect) -> tuple[StrEnum, ...] | None:  # noqa: ANN401
        """Split the text again."""
        return None if value is None else tuple(self.words(word) for word in value.split())


def farm_table(name: str, metadata: sa.MetaData, *parts: sa.schema.SchemaItem) -> sa.Table:
    """Make a table whose rows belong to a farm and can be pointed at together with it."""
    return sa.Table(
        name,
        metadata,
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("farm_id", sa.ForeignKey("farm.id"), nullable=False),
        *parts,
        sa.UniqueConstraint("farm_id", "id"),
        # An id that was given away never comes back, so that an old page finds nothing wrong.
        sqlite_autoincrement=True,
    )


def points_to(table: str, column: str | None = None) -> sa.ForeignKeyConstraint:
    """Point at a row of another table on the same farm."""
    return sa.ForeignKeyConstraint(
        ["farm_id", column or f"{table}_id"], [f"{table}.farm_id", f"{table}.id"]
    )
