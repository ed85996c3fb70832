"""Pictures that phones send, made anew: upright, small, and without what the camera noted."""

import struct
import warnings
from io import BytesIO
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

from audits.errors import InvalidInput
from audits.messages import say

LONGEST_PX: Final = 1600
# More than any phone's camera has; a bomb has billions.
MOST_PIXELS: Final = 60_000_000
_QUALITY: Final = 80
_FORMATS: Final = ("JPEG", "PNG", "WEBP")
_UNREADABLE: Final = (
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


def remade(content: bytes) -> bytes:
    """
    Return a picture as a JPEG with nothing in it but what is to be seen.

    What a file is goes by its content alone. It is drawn anew in any case, so that nothing that was
    hidden in it or hung on to it is kept. Raises InvalidInput if it is no JPEG, PNG or WebP, has
    too many pixels or cannot be read to its end.
    """
    try:
        with Image.open(BytesIO(content), formats=_FORMATS) as picture:
            width, height = picture.size
            if width * height > MOST_PIXELS:
                raise ValueError(f"{width} x {height} pixels")
            return _jpeg(_fitted(picture))
    except _UNREADABLE as error:
        raise InvalidInput(
            {"photo": say("This picture cannot be read. Take it again, as a JPEG, PNG or WebP.")}
        ) from error


def _fitted(picture: Image.Image) -> Image.Image:
    """Return the picture upright and no larger than is kept."""
    scale = min(1.0, LONGEST_PX / max(picture.size))
    fitted = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    # Lets the JPEG decoder leave out what is not needed; other formats do nothing here.
    picture.draft("RGB", fitted)
    upright = ImageOps.exif_transpose(picture)
    upright.thumbnail((LONGEST_PX, LONGEST_PX), Image.Resampling.LANCZOS)
    return upright


def _jpeg(picture: Image.Image) -> bytes:
    # A new image: comments and profiles hang on the one that was read.
    clean = Image.new("RGB", picture.size, "white")
    if picture.has_transparency_data:
        seen = picture.convert("RGBA")
        clean.paste(seen, mask=seen.getchannel("A"))
    else:
        clean.paste(picture.convert("RGB"))
    written = BytesIO()
    clean.save(written, "JPEG", quality=_QUALITY, optimize=True)
    return written.getvalue()
