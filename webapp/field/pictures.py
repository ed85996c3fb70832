"""Pictures that phones send, made anew: upright, small, and without what the camera noted."""

from io import BytesIO
from typing import Final

from flask import Response
from PIL import ExifTags, Image

from audits.errors import InvalidInput
from audits.messages import say
from printables.picture_files import BROKEN, FORMATS, has_too_many_pixels

LONGEST_PX: Final = 1600
_QUALITY: Final = 80
# How a picture is turned upright, by what its camera noted (Exif 2.32, tag 0x0112).
_TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def remade(content: bytes) -> bytes:
    """
    Return a picture as a JPEG with nothing in it but what is to be seen.

    What a file is goes by its content alone. It is drawn anew in any case, so that nothing that was
    hidden in it or hung on to it is kept. Raises InvalidInput if it is no JPEG, PNG or WebP, has
    too many pixels or cannot be read to its end.
    """
    try:
        with Image.open(BytesIO(content), formats=FORMATS) as picture:
            if has_too_many_pixels(picture):
                raise ValueError(f"{picture.width} x {picture.height} pixels")
            return _jpeg(_fitted(picture))
    except BROKEN as error:
        raise InvalidInput(
            {"photo": say("This picture cannot be read. Take it again, as a JPEG, PNG or WebP.")}
        ) from error


def _fitted(picture: Image.Image) -> Image.Image:
    """Return the picture upright and no larger than is kept."""
    scale = min(1.0, LONGEST_PX / max(picture.size))
    fitted = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    # Lets the JPEG decoder leave out what is not needed; other formats do nothing here. The exact
    # size counts: a square around it would keep the decoder from halving.
    picture.draft("YCbCr", fitted)
    turn = _TURNS.get(picture.getexif().get(ExifTags.Base.Orientation, 1))
    seen = _opaque(_resized(_coloured(picture), fitted))
    return seen if turn is None else seen.transpose(turn)


def _resized(picture: Image.Image, size: tuple[int, int]) -> Image.Image:
    """Return the picture in a size, a copy if it has that already."""
    if picture.mode != "YCbCr":
        return picture.resize(size, Image.Resampling.BICUBIC)
    # Of colour a JPEG keeps every other pixel only; what is sharp is the light.
    light, *colours = picture.split()
    bands = [light.resize(size, Image.Resampling.BICUBIC)]
    bands += [colour.resize(size, Image.Resampling.BOX) for colour in colours]
    return Image.merge("YCbCr", bands)


def _coloured(picture: Image.Image) -> Image.Image:
    """Return the picture in colours that can be made smaller, no copy where it has them."""
    if picture.has_transparency_data:
        return picture if picture.mode == "RGBA" else picture.convert("RGBA")
    return picture if picture.mode in {"RGB", "YCbCr"} else picture.convert("RGB")


def _opaque(picture: Image.Image) -> Image.Image:
    """Lay white behind what lets through."""
    if picture.mode != "RGBA":
        return picture
    clean = Image.new("RGB", picture.size, "white")
    clean.paste(picture, mask=picture.getchannel("A"))
    return clean


def _jpeg(picture: Image.Image) -> bytes:
    # Comments and profiles would go on into the file.
    picture.info = {}
    written = BytesIO()
    picture.save(written, "JPEG", quality=_QUALITY)
    return written.getvalue()


def picture_answer(content: bytes) -> Response:
    """Answer with a JPEG that, opened by itself, is a picture and can be nothing else."""
    answer = Response(content, mimetype="image/jpeg")
    answer.headers["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'"
    return answer
