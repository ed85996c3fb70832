"""What the phone's screens say."""

from typing import Final

# By key; two texts where a number chooses between one and several.
PHRASES_SCREENS: Final[dict[str, str | tuple[str, str]]] = {}
