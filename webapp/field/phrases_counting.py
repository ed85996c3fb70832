"""What the phone says while it counts: signs, reasons and places."""

from typing import Final

# By key: mark(text), or mark_n(one, several) where a number chooses, which stands as %(num)s.
PHRASES_COUNTING: Final[dict[str, str | tuple[str, str]]] = {}
