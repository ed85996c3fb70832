"""What the phone's screens say."""

from typing import Final

# By key: mark(text), or mark_n(one, several) where a number chooses, which stands as %(num)s.
PHRASES_SCREENS: Final[dict[str, str | tuple[str, str]]] = {}
