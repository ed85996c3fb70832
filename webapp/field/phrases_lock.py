"""What the phone says while it is enrolled, locked or opened."""

from typing import Final

# By key; two texts where a number chooses between one and several.
PHRASES_LOCK: Final[dict[str, str | tuple[str, str]]] = {}
