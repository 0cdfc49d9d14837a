"""MusicXML files as bytes: a tree of elements out of them, within bounds; a compressed one made.

A score from outside is foreign data. Whoever made it, reading it fetches nothing, expands nothing and stays small:

* The parser is expat itself with handlers of our own, and not a ready-made wrapper around it, for three reasons: every
  score names the standard's document type, so "no DOCTYPE at all" would refuse them all; the depth, the number of
  elements and their lines are counted here and nowhere else; and no further package is needed.
* The name of the document type is passed over and never looked up. A document type with declarations of its own
  (entities, and so the "billion laughs" and files drawn in from elsewhere) is refused at its first bracket.
* A compressed score is unpacked in memory and never to a folder, so that no path in it can lead anywhere. Only its
  list of contents and the one score are unpacked, stopped at the bound whatever sizes the file announces, and only with
  the two methods that the standard allows.

Every fault is a `ChartError` with line and column (1:1 for the container).

Source: MusicXML 4.0 (score-partwise, score-timewise, container.xsd and "Compressed .mxl files"); XML 1.0, 5th edition.
"""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from io import BytesIO
from typing import Final
from xml.etree.ElementTree import Element, SubElement, tostring
from xml.parsers import expat

from trainer.charts.values import ChartError, ChartFault

LARGEST_FILE_BYTES: Final = 8_000_000
"""Of a file as it is stored, and of the score unpacked: a lead sheet of a hundred pages has less."""
LARGEST_LIST_BYTES: Final = 64_000
"""Of the list of contents in a compressed score."""
MOST_ELEMENTS: Final = 500_000
MOST_DEPTH: Final = 40
"""The standard's own elements go about twelve deep."""
MOST_TIMES_SMALLER: Final = 250
"""How far a score may have been compressed; ordinary ones are 10 to 40 times smaller."""
MOST_CONTENTS: Final = 1_000

_CONTENTS: Final = "META-INF/container.xml"
_SCORE: Final = "score.musicxml"
_SCORE_TYPE: Final = "application/vnd.recordare.musicxml+xml"
_OLD: Final = (1980, 1, 1, 0, 0, 0)
"""The date of everything in a compressed score, so that the same chart gives the same bytes."""


@dataclass(frozen=True, slots=True)
class ScoreTree:
    """A parsed file: its outermost element, and the line of each."""

    root: Element
    lines: dict[Element, int]


def fault(message: str, found: str = "", expected: str = "", line: int = 1, column: int = 1) -> ChartError:
    """One fault as an error."""
    return ChartError([ChartFault(line, column, found, expected, message)])


class _Builder:
    """Builds the tree of a document as expat tells it, and counts."""

    def __init__(self) -> None:
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.text
        self.parser.StartDoctypeDeclHandler = self.document_type
        self.parser.EntityDeclHandler = self.entity
        self.parser.ExternalEntityRefHandler = self.entity
        self.parser.SkippedEntityHandler = self.entity
        self.open: list[Element] = []
        self.pieces: list[str] = []
        self.lines: dict[Element, int] = {}
        self.root: Element | None = None

    def refuse(self, message: str, found: str, expected: str) -> ChartError:
        return fault(message, found, expected, self.parser.CurrentLineNumber, self.parser.CurrentColumnNumber + 1)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if len(self.open) >= MOST_DEPTH:
            raise self.refuse(
                f"elements lie more than {MOST_DEPTH} deep in one another; no score does", name, "a score"
            )
        if len(self.lines) >= MOST_ELEMENTS:
            message = f"the file has more than {MOST_ELEMENTS:,} elements; export the lead sheet alone"
            raise self.refuse(message, name, f"at most {MOST_ELEMENTS:,}")
        element = Element(name, attributes)
        self.lines[element] = self.parser.CurrentLineNumber
        if self.open:
            self.flush()
            self.open[-1].append(element)
        else:
            self.root = element
        self.open.append(element)

    def end(self, name: str) -> None:
        self.flush()
        self.open.pop()

    def text(self, data: str) -> None:
        self.pieces.append(data)

    def flush(self) -> None:
        """The text since the last tag; what stands after a child says nothing in a score and is left out."""
        if self.pieces and not len(self.open[-1]):
            self.open[-1].text = "".join(self.pieces)
        self.pieces.clear()

    def document_type(self, name: str, system: str | None, public: str | None, declares: int) -> None:
        if declares:
            message = "the document type declares entities of its own, which no score needs; export the file again"
            raise self.refuse(message, name, "the standard's document type, or none")

    def entity(self, *named: object) -> int:
        name = str(named[0])
        message = f"the entity {name[:40]!r} is not one of XML's own five; export the file again"
        raise self.refuse(message, name[:40], "&amp; &lt; &gt; &apos; or &quot;")


def read_tree(data: bytes) -> ScoreTree:
    """Parse the text of a score (in any encoding that it declares itself). Raises `ChartError`."""
    if len(data) > LARGEST_FILE_BYTES:
        raise fault(
            f"the score has more than {LARGEST_FILE_BYTES // 1_000_000} MB; export the lead sheet alone",
            expected=f"at most {LARGEST_FILE_BYTES:,} bytes",
        )
    builder = _Builder()
    try:
        builder.parser.Parse(data, True)
    except ChartError:
        raise
    except expat.ExpatError as error:
        reason = expat.ErrorString(error.code)
        message = f"this is not XML as it should be: {reason}; export the file again, as MusicXML"
        raise fault(message, reason, "well-formed XML", error.lineno, error.offset + 1) from error
    except (ValueError, LookupError) as error:
        # The encoding that the file declares is none, or none in which one byte is one letter.
        message = "the encoding that the file declares cannot be read; export it in UTF-8"
        raise fault(message, str(error)[:80], "UTF-8 or UTF-16") from error
    assert builder.root is not None
    return ScoreTree(builder.root, builder.lines)


def is_compressed(data: bytes) -> bool:
    """Whether bytes are those of a compressed score (or of any other zip file)."""
    return data[:2] == b"PK"


def unpacked(data: bytes) -> bytes:
    """The text of the score in a compressed file. Raises `ChartError`."""
    if len(data) > LARGEST_FILE_BYTES:
        raise fault(f"the file has more than {LARGEST_FILE_BYTES // 1_000_000} MB; export the lead sheet alone")
    if data.count(b"PK\x01\x02") > MOST_CONTENTS:
        raise fault(f"the compressed file holds more than {MOST_CONTENTS} files; a score is one, with its pictures")
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return _unpacked(archive, _place_of_score(archive), LARGEST_FILE_BYTES)
    except ChartError:
        raise
    except Exception as error:
        message = f"the compressed file cannot be unpacked ({_reason(error)}); export it again, or uncompressed"
        raise fault(message, _reason(error), "a zip file") from error


def _reason(error: Exception) -> str:
    return " ".join(str(error).split())[:100] or type(error).__name__


def _place_of_score(archive: zipfile.ZipFile) -> str:
    """The name of the score in a compressed file: as its list of contents says, else the first that could be one."""
    names = archive.namelist()
    if _CONTENTS in names:
        listed = read_tree(_unpacked(archive, _CONTENTS, LARGEST_LIST_BYTES)).root
        for entry in listed.iter():
            if entry.tag.rpartition("}")[2].rpartition(":")[2] != "rootfile":
                continue
            if entry.get("media-type", _SCORE_TYPE) == _SCORE_TYPE and entry.get("full-path"):
                return entry.get("full-path", "")
    for name in names:
        if name.endswith((".musicxml", ".xml")) and "/" not in name:
            return name
    raise fault(
        "the compressed file holds no score; export it again as compressed MusicXML",
        ", ".join(names)[:80],
        f"{_CONTENTS} and a score",
    )


def _unpacked(archive: zipfile.ZipFile, name: str, most_bytes: int) -> bytes:
    """One file of a compressed score, read no further than its bounds, whatever sizes it announces."""
    if name not in archive.namelist():
        message = f"the compressed file names {name[:80]!r} as its score and does not hold it; export it again"
        raise fault(message, name[:80], "the name of a file in it")
    place = archive.getinfo(name)
    if place.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) or place.flag_bits & 1:
        message = f"{name[:80]!r} is compressed in a way, or locked, that the standard does not allow; export it again"
        raise fault(message, str(place.compress_type), "deflated or stored")
    most = min(most_bytes, max(place.compress_size, 1) * MOST_TIMES_SMALLER)
    with archive.open(place) as file:
        found = file.read(most + 1)
    if len(found) > most:
        message = f"{name[:80]!r} unpacks to more than {most:,} bytes; export the lead sheet alone"
        raise fault(message, expected=f"at most {most:,} bytes")
    return found


def compressed(score: str) -> bytes:
    """The text of a score as a compressed file (.mxl): the same text gives the same bytes."""
    container = Element("container")
    SubElement(SubElement(container, "rootfiles"), "rootfile", {"full-path": _SCORE, "media-type": _SCORE_TYPE})
    contents = b'<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(container)
    made = BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in ((_CONTENTS, contents), (_SCORE, score.encode("utf-8"))):
            place = zipfile.ZipInfo(name, _OLD)
            place.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(place, data)
    return made.getvalue()
