"""What the phone says while it counts: signs, reasons and places."""

from typing import Final

# By key; two texts where a number chooses between one and several.
PHRASES_COUNTING: Final[dict[str, str | tuple[str, str]]] = {}
