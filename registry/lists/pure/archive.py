"""A workbook is a zip of XML parts, and whoever made it chose what it claims about itself.

Nothing is unpacked before its claims are bounded, no part is unpacked in one piece, and a
part with a DTD, and so with entities, is refused: a small file can't become a large one here.
"""

import io
import zipfile
import zlib
from collections.abc import Iterator
from xml.parsers import expat

from registry.lists.pure.raw import NotReadable

MAX_PARTS = 1000
MAX_UNPACKED = 256 * 2**20
MAX_RATIO = 200
"""How far one part may swell. Sheets of real lists swell 5 to 40 times, a bomb 1000 times."""
SMALL_PART = 2**20
"""A part up to this size may swell as it likes."""
MAX_TAGS = 200_000
MAX_DEPTH = 100
MAX_TOKEN = 2**20
"""The parser holds open elements, and a tag that has not ended, in memory."""
CHUNK = 2**16

SAVE_AS_XLSX = "open it in a spreadsheet program and save it as .xlsx"
DAMAGED = f"is damaged; {SAVE_AS_XLSX} again"
ENTRY_MARK = b"PK\x01\x02"
ENCRYPTED = 0x1

UNWANTED = (
    ("/vbaproject", "holds macros; save it as .xlsx without them"),
    ("/macrosheets/", "holds macros; save it as .xlsx without them"),
    (
        "/externallinks/",
        "takes values from other workbooks; copy its cells into a new workbook, values only",
    ),
    ("/workbook.bin", f"is a binary workbook (.xlsb); {SAVE_AS_XLSX}"),
    ("/mimetype", f"is an OpenDocument file; {SAVE_AS_XLSX}"),
    ("/word/document.xml", "is a text document; put the list into a workbook or a CSV file"),
)

Attributes = dict[str, str]


class Handlers:
    """What is done with the elements of a part; this one does nothing.

    done: nothing more of the part needs to be read.
    """

    done = False

    def start(self, name: str, attributes: Attributes) -> None:
        """Begin an element; its name comes without namespace."""

    def end(self, name: str) -> None:
        """End an element."""

    def text(self, piece: str) -> None:
        """Take a piece of text."""


class Tags(Handlers):
    """Keeps the wanted elements of a small part in their order."""

    def __init__(self, wanted: frozenset[str]) -> None:
        self.wanted = wanted
        self.found: list[tuple[str, Attributes]] = []

    def start(self, name: str, attributes: Attributes) -> None:
        """Keep the element if it is wanted."""
        if name in self.wanted:
            self.found.append((name, attributes))
            if len(self.found) > MAX_TAGS:
                raise NotReadable(f"is far larger than a list needs; {SAVE_AS_XLSX}")


class FirstTag(Handlers):
    """Is done when the first element has come, before which a DTD must stand."""

    def start(self, name: str, attributes: Attributes) -> None:
        """Note that an element has come."""
        self.done = True


class Archive:
    """The parts of a workbook, refused at birth where they can't be read safely."""

    def __init__(self, content: bytes) -> None:
        # Counted before zipfile makes an object of each.
        if content.count(ENTRY_MARK) > MAX_PARTS:
            raise NotReadable(f"has more than {MAX_PARTS} parts; {SAVE_AS_XLSX} again")
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(content))
        except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
            raise NotReadable(DAMAGED) from None
        parts = self._zip.infolist()
        self._parts = {part.filename.lower().lstrip("/"): part for part in parts}
        if len(self._parts) < len(parts):
            raise NotReadable(DAMAGED)
        _refuse_unwanted(self._parts)
        _refuse_swollen(parts)
        for name in self._parts:
            if name.endswith((".xml", ".rels")):
                self.run(name, FirstTag())

    def __contains__(self, name: str) -> bool:
        return name.lower() in self._parts

    def parse(self, name: str, handlers: Handlers) -> Iterator[None]:
        """Feed a part to the handlers piece by piece, yielding after each piece.

        Raises NotReadable if the part is damaged, has a DTD or is larger than the archive claims.
        """
        parser = _parser(handlers)
        fed = 0
        try:
            for piece in self._pieces(name):
                parser.Parse(piece, False)
                yield
                if handlers.done:
                    return
                fed += len(piece)
                if fed - parser.CurrentByteIndex > MAX_TOKEN:
                    raise NotReadable(DAMAGED, value=name)
            parser.Parse(b"", True)
        except (expat.ExpatError, ValueError, IndexError):
            # ValueError, IndexError: a number that is none, or that refers to nothing.
            raise NotReadable(DAMAGED, value=name) from None
        yield

    def run(self, name: str, handlers: Handlers) -> None:
        """Feed a part to handlers that keep what they find."""
        for _ in self.parse(name, handlers):
            pass

    def tags(self, name: str, *wanted: str) -> list[tuple[str, Attributes]]:
        """Return the wanted elements of a part, each as name and attributes; none without it."""
        tags = Tags(frozenset(wanted))
        if name in self:
            self.run(name, tags)
        return tags.found

    def _pieces(self, name: str) -> Iterator[bytes]:
        part = self._parts.get(name.lower())
        if part is None:
            raise NotReadable(DAMAGED, value=name)
        try:
            # Read in pieces: zipfile then never inflates far past the size that was claimed,
            # gives no more than that, and compares the checksum at the end.
            with self._zip.open(part) as stream:
                while piece := stream.read(CHUNK):
                    yield piece
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError):
            raise NotReadable(DAMAGED, value=name) from None


def _refuse_unwanted(names: dict[str, zipfile.ZipInfo]) -> None:
    for mark, remedy in UNWANTED:
        if any(mark in f"/{name}" for name in names):
            raise NotReadable(remedy)


def _refuse_swollen(parts: list[zipfile.ZipInfo]) -> None:
    for part in parts:
        readable = part.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
        if part.flag_bits & ENCRYPTED or not readable:
            raise NotReadable(f"is protected or packed in an unusual way; {SAVE_AS_XLSX}")
        if part.file_size > max(SMALL_PART, MAX_RATIO * part.compress_size):
            raise NotReadable(
                f"would unpack to more than {MAX_RATIO} times its size, which no list does; "
                "copy the cells into a new workbook"
            )
    if sum(part.file_size for part in parts) > MAX_UNPACKED:
        raise NotReadable(
            f"would unpack to more than {MAX_UNPACKED // 2**20} MB; "
            "save the sheet as 'CSV UTF-8', or split it"
        )


def _parser(handlers: Handlers) -> expat.XMLParserType:
    parser = expat.ParserCreate(namespace_separator=" ")
    depth = 0

    def start(name: str, attributes: Attributes) -> None:
        nonlocal depth
        depth += 1
        if depth > MAX_DEPTH:
            raise NotReadable(DAMAGED)
        handlers.start(_local(name), attributes)

    def end(name: str) -> None:
        nonlocal depth
        depth -= 1
        handlers.end(_local(name))

    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = _refuse_doctype
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = handlers.text
    return parser


def _local(name: str) -> str:
    return name[name.rfind(" ") + 1 :]


def _refuse_doctype(*_: object) -> None:
    raise NotReadable(f"holds a document type definition, which no list needs; {SAVE_AS_XLSX}")
