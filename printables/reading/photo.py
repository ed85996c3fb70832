"""A photo as it is read: grey, and no larger than it has to be."""

from io import BytesIO
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt
from PIL import Image

from audits.messages import say
from printables.picture_files import BROKEN, FORMATS, has_too_many_pixels
from printables.reading import UnreadablePhoto

Grey: TypeAlias = npt.NDArray[np.uint8]
Floats: TypeAlias = npt.NDArray[np.float64]

# With fewer pixels along its long side a photo cannot show what is in a box.
LEAST_PX: Final = 1100
# The decoder of JPEG leaves out what goes beyond this, by halves.
_WANTED_PX: Final = 1400
# What is left beyond this is made smaller by whole factors.
_MOST_PX: Final = 2900


def grey_photo(content: bytes) -> Grey:
    """
    Unpack a photo.

    Parameters
    ----------
    content : bytes
        A JPEG, PNG or WebP file, whatever it is called.

    Returns
    -------
    numpy.ndarray
        Its brightness, row by row, as it lies in the file: the page's code tells which way is up.

    Raises
    ------
    UnreadablePhoto
        If it is no picture, is broken, or has too many or too few pixels.
    """
    try:
        with Image.open(BytesIO(content), formats=FORMATS) as picture:
            longest = max(picture.size)
            if has_too_many_pixels(picture):
                raise UnreadablePhoto(say("The photo has too many pixels. Take a smaller one."))
            if longest < LEAST_PX:
                raise UnreadablePhoto(
                    say(
                        "The photo is too small to be read: its long side has %(count)s pixels,"
                        " and at least %(least)s are needed.",
                        count=longest,
                        least=LEAST_PX,
                    )
                )
            share = min(1.0, _WANTED_PX / longest)
            picture.draft("L", (round(picture.width * share), round(picture.height * share)))
            grey = picture.convert("L")
    except BROKEN as error:
        raise UnreadablePhoto(
            say("This picture cannot be read. Take it again, as a JPEG, PNG or WebP.")
        ) from error
    factor = -(-max(grey.size) // _MOST_PX)
    return np.asarray(grey.reduce(factor) if factor > 1 else grey)


def levels_at(photo: Grey, points: Floats) -> Floats:
    """
    Read the brightness between pixels.

    Parameters
    ----------
    photo : numpy.ndarray
        The photo in grey.
    points : numpy.ndarray
        Column and row in the last axis.

    Returns
    -------
    numpy.ndarray
        Brightness, 0 to 255; at the nearest edge for points beyond it.
    """
    height, width = photo.shape
    x = np.clip(points[..., 0], 0, width - 1.001)
    y = np.clip(points[..., 1], 0, height - 1.001)
    left, top = x.astype(np.intp), y.astype(np.intp)
    right, below = x - left, y - top
    flat = photo.ravel()
    start = top * width + left
    upper = flat[start] * (1 - right) + flat[start + 1] * right
    lower = flat[start + width] * (1 - right) + flat[start + width + 1] * right
    return np.asarray(upper * (1 - below) + lower * below)
