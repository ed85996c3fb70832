"""What the phone says of its queue: kept, sent, and sent back."""

from typing import Final

# By key: mark(text), or mark_n(one, several) where a number chooses, which stands as %(num)s.
PHRASES_QUEUE: Final[dict[str, str | tuple[str, str]]] = {}
