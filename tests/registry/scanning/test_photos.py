"""Photos of labels: codes are read, everything else is refused before it is decoded. D11."""

import io
import zlib

import pytest
import zxingcpp
from PIL import Image

from registry.scanning.pure.code import read_code
from registry.scanning.queries import LARGEST_BYTES, NotAPhoto, texts_in_photo

QR, CODE128 = zxingcpp.BarcodeFormat.QRCode, zxingcpp.BarcodeFormat.Code128


def label(text: str, kind: zxingcpp.BarcodeFormat = QR, scale: int = 6) -> Image.Image:
    made = zxingcpp.create_barcode(text, kind)
    drawn = Image.fromarray(
        zxingcpp.write_barcode_to_image(made, scale=scale, add_quiet_zones=True)
    )
    return drawn.convert("L")


def photo(*labels: Image.Image, kind: str = "PNG") -> bytes:
    """Return a picture with the labels one above the other."""
    width = max(one.width for one in labels)
    page = Image.new("L", (width + 40, sum(one.height + 40 for one in labels)), 255)
    top = 20
    for one in labels:
        page.paste(one, (20, top))
        top += one.height + 40
    file = io.BytesIO()
    page.save(file, kind)
    return file.getvalue()


@pytest.mark.parametrize("kind", [QR, CODE128])
@pytest.mark.parametrize("form", ["PNG", "JPEG"])
def test_a_label_is_read_with_its_zeros(kind: zxingcpp.BarcodeFormat, form: str) -> None:
    (text,) = texts_in_photo(photo(label("00123", kind), kind=form))
    assert read_code(text).marks == ("00123",)


def test_several_labels_are_all_read_and_each_once() -> None:
    found = texts_in_photo(photo(label("A1"), label("B2"), label("A1")))
    assert {read_code(text).text for text in found} == {"A1", "B2"}
    assert len(found) == 2


def test_a_photo_lying_on_its_side_is_read() -> None:
    file = io.BytesIO()
    label("00123").rotate(90, expand=True, fillcolor=255).save(file, "JPEG")
    assert len(texts_in_photo(file.getvalue())) == 1


def test_a_photo_without_a_code_has_none() -> None:
    assert texts_in_photo(photo(Image.new("L", (300, 300), 128))) == ()


def bomb() -> bytes:
    """Return a small file that claims 60 000 x 60 000 pixels."""
    content = bytearray(photo(label("A1")))
    content[16:24] = (60_000).to_bytes(4, "big") * 2
    content[29:33] = zlib.crc32(content[12:29]).to_bytes(4, "big")
    return bytes(content)


def large() -> bytes:
    """Return a PNG of 64 million white pixels, some kilobytes long."""
    file = io.BytesIO()
    Image.new("1", (8000, 8000), 1).save(file, "PNG")
    return file.getvalue()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "no photo that can be read"),
        (b"GIF89a" + b"\x00" * 50, "no photo that can be read"),
        (b"<svg/>", "no photo that can be read"),
        (photo(label("A1"))[:200], "no photo that can be read"),
        (photo(label("A1"), kind="TIFF"), "no photo that can be read"),
        (b"\x89PNG" + b"0" * LARGEST_BYTES, "larger than 15 MB"),
        (bomb(), "pixels"),
        (large(), "8000 x 8000 pixels"),
    ],
    ids=["empty", "cut gif", "drawing", "cut", "tiff", "too long", "bomb", "large"],
)
def test_what_is_no_sound_photo_is_refused(content: bytes, says: str) -> None:
    with pytest.raises(NotAPhoto, match=says):
        texts_in_photo(content)
