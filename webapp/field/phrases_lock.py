"""What the phone says while it is enrolled, locked or opened."""

from typing import Final

# By key: mark(text), or mark_n(one, several) where a number chooses, which stands as %(num)s.
PHRASES_LOCK: Final[dict[str, str | tuple[str, str]]] = {}
