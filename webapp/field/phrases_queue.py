"""What the phone says of its queue: kept, sent, and sent back."""

from typing import Final

from audits.messages import mark

# By key: mark(text), or mark_n(one, several) where a number chooses, which stands as %(num)s.
PHRASES_QUEUE: Final[dict[str, str | tuple[str, str]]] = {
    # Beside the server's own reasons: one that only the phone can give.
    "held.too_large": mark("It is too large to be sent. Write it to a file for the office."),
}
