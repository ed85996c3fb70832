"""What the phone says of its queue: kept, sent, and sent back."""

from typing import Final

# By key; two texts where a number chooses between one and several.
PHRASES_QUEUE: Final[dict[str, str | tuple[str, str]]] = {}
