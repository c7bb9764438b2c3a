"""Reading the codes in a photo of a label. The photo is looked at and not kept."""

import io

import zxingcpp
from PIL import Image, ImageOps, UnidentifiedImageError

LARGEST_BYTES = 15_000_000
LARGEST_PIXELS = 50_000_000
LONGEST_SIDE = 3000
"""Pixels; a label is read as well from a smaller picture, and sooner."""
_FORMATS = ("JPEG", "PNG", "WEBP")


class NotAPhoto(ValueError):
    """A file no code can be looked for in; the text says what to send instead."""


def texts_in_photo(content: bytes) -> tuple[str, ...]:
    """Return what the codes in a photo say, each once, the AIM prefix in front.

    GS1 codes come with their identifiers in brackets, so that nothing about them is left
    open. Size and pixels are checked before anything is decoded. Raises NotAPhoto.
    """
    if len(content) > LARGEST_BYTES:
        raise NotAPhoto(
            f"The photo is larger than {LARGEST_BYTES // 1_000_000} MB; send a smaller one."
        )
    picture = _opened(content)
    found = zxingcpp.read_barcodes(picture)
    texts = [f"{one.symbology_identifier}{one.text}" for one in found if one.valid and one.text]
    return tuple(dict.fromkeys(texts))


def _opened(content: bytes) -> Image.Image:
    """Return the picture in grey, upright and no longer than needed."""
    try:
        with Image.open(io.BytesIO(content), formats=_FORMATS) as image:
            width, height = image.size
            if width * height > LARGEST_PIXELS:
                raise NotAPhoto(
                    f"The photo has {width} x {height} pixels, more than "
                    f"{LARGEST_PIXELS // 1_000_000} million; send a smaller one."
                )
            image.draft("L", (LONGEST_SIDE, LONGEST_SIDE))
            grey = (ImageOps.exif_transpose(image) or image).convert("L")
            grey.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
            return grey
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as problem:
        raise NotAPhoto("The photo has far too many pixels; send a smaller one.") from problem
    except (UnidentifiedImageError, OSError, SyntaxError, EOFError, ValueError) as problem:
        if isinstance(problem, NotAPhoto):
            raise
        raise NotAPhoto("This is no photo that can be read; send a JPEG or PNG.") from problem
