"""Picture files that people send: which are opened at all, and what can go wrong in them."""

import struct
import warnings
from typing import Final

from PIL import Image, UnidentifiedImageError

FORMATS: Final = ("JPEG", "PNG", "WEBP")
# More than any phone's camera has; a bomb has billions.
MOST_PIXELS: Final = 60_000_000
# Only the decoder of JPEG leaves out what is not needed; others unpack every pixel to four bytes,
# and do so twice where some let through what is behind them.
MOST_UNPACKED: Final = 9_000_000
# What Pillow's decoders were seen to raise on damaged and hostile files.
BROKEN: Final = (
    UnidentifiedImageError,
    Image.DecompressionBombError,
    Image.DecompressionBombWarning,
    OSError,
    SyntaxError,
    ValueError,
    TypeError,
    IndexError,
    KeyError,
    EOFError,
    struct.error,
    OverflowError,
    ZeroDivisionError,
    MemoryError,
)

# Pillow only warns of a picture that unpacks to a hundred million pixels; nobody reads warnings.
warnings.filterwarnings("error", category=Image.DecompressionBombWarning)


def has_too_many_pixels(picture: Image.Image) -> bool:
    """
    Tell whether to unpack a picture would take more memory than it is worth.

    Parameters
    ----------
    picture : PIL.Image.Image
        A picture that was opened and not unpacked yet.

    Returns
    -------
    bool
        Whether it is to be refused.
    """
    most = MOST_PIXELS if picture.format == "JPEG" else MOST_UNPACKED
    return picture.width * picture.height > most
