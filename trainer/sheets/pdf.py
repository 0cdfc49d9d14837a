"""Pages as one PDF file: the same shapes as in their SVG, so that both look alike on every screen and printer.

The file has outlines only, and the words of a page once more as text that is not seen, so that it can be searched. It
holds no date and nothing of the machine: the same pages give the same bytes. An outline that comes again, as letters
do, is written once and placed where it stands.

Source: ISO 32000-1:2008 (PDF 1.7), 7.5 file structure, 8.5 paths, 8.10 form XObjects, 9.3.6 text rendering mode 3,
14.3.3 information.
"""

from __future__ import annotations

import zlib
from collections import Counter
from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import Final

from trainer.sheets.vectors import Outline, Page, Shape

_POINTS_PER_UNIT: Final = 72 / 2540
_UNSEEN_SIZE: Final = 200
_UNSEEN_LETTERS: Final = 100
_PLAIN: Final = str.maketrans({"♭": "b", "♯": "#", "♮": "", "𝄫": "bb", "𝄪": "##", "–": "-"})


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


_OPERATORS: Final = {"M": "m", "L": "l", "C": "c", "Z": "h"}


_FORM_UNITS: Final = 1000
"""An outline of its own is written so many times its size: letters are drawn 1 unit high."""

_Forms = dict[int, tuple[str, Outline]]
"""Outlines that are filled more than once, by identity: name and outline."""


def _shared(pages: Iterable[Page]) -> _Forms:
    outlines = [shape.outline for page in pages for shape in page.shapes if not shape.stroke]
    counts = Counter(map(id, outlines))
    forms: _Forms = {}
    for outline in outlines:
        if counts[id(outline)] > 1 and id(outline) not in forms:
            forms[id(outline)] = (f"O{len(forms)}", outline)
    return forms


def _form(outline: Outline) -> bytes:
    box = " ".join(_number(edge * _FORM_UNITS) for edge in outline.box)
    data = zlib.compress(_drawn(Shape(outline, scale=_FORM_UNITS)).encode())
    head = f"<< /Type /XObject /Subtype /Form /BBox [{box}] /Filter /FlateDecode /Length {len(data)} >>"
    return head.encode() + b"\nstream\n" + data + b"\nendstream"


def _placed(shape: Shape, forms: _Forms) -> str:
    if shape.stroke or id(shape.outline) not in forms:
        return _drawn(shape)
    scale = f"{shape.scale / _FORM_UNITS:.6g}"
    name = forms[id(shape.outline)][0]
    return f"q {scale} 0 0 {scale} {_number(shape.right)} {_number(shape.down)} cm /{name} Do Q"


def _drawn(shape: Shape) -> str:
    parts = [
        " ".join([*(f"{_number(x)} {_number(y)}" for x, y in points), _OPERATORS[command]])
        for command, points in shape.segments
    ]
    return " ".join([*([f"{_number(shape.stroke)} w"] if shape.stroke else []), *parts, "S" if shape.stroke else "f"])


def _string(text: str) -> bytes:
    """A text string for the information of the file: UTF-16 with its mark, as hexadecimal digits."""
    return b"<" + text.encode("utf-16").hex().upper().encode() + b">" if text else b"()"


def _unseen(text: str) -> bytes:
    """Words for the standard font's encoding, what it has not left out."""
    plain = text.translate(_PLAIN).encode("cp1252", "ignore")
    for sign in (b"\\", b"(", b")"):
        plain = plain.replace(sign, b"\\" + sign)
    return b"(" + plain + b")"


def _content(page: Page, forms: _Forms) -> bytes:
    scale = f"{_POINTS_PER_UNIT:.8f}"
    lines = [
        f"{scale} 0 0 -{scale} 0 {page.height * _POINTS_PER_UNIT:.3f} cm",
        *(_placed(shape, forms) for shape in page.shapes),
    ]
    return "\n".join(lines).encode() + b"\n" + _all_unseen(page)


def _all_unseen(page: Page) -> bytes:
    """The words of a page in lines that stay on it: readers leave out what lies beside the paper."""
    said = wrap(page.says, _UNSEEN_LETTERS) or [""]
    down = min(_UNSEEN_SIZE * 1.2, page.height / (len(said) + 2))
    start = f"BT 3 Tr /F1 {_UNSEEN_SIZE} Tf {_number(down)} TL 1 0 0 -1 {_UNSEEN_SIZE} {_number(down)} Tm\n"
    return start.encode() + b"\n".join(b"T* " + _unseen(line) + b" Tj" for line in said) + b"\nET\n"


def pdf(pages: Sequence[Page]) -> bytes:
    """The pages as a PDF file."""
    title = pages[0].title if pages else ""
    forms = _shared(pages)
    first_page = 5 + len(forms)
    kids = " ".join(f"{first_page + 2 * at} 0 R" for at in range(len(pages)))
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R /Lang (en) /ViewerPreferences << /DisplayDocTitle true >> >>",
        f"<< /Type /Pages /Count {len(pages)} /Kids [{kids}] >>".encode(),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica /Encoding /WinAnsiEncoding >>",
        b"<< /Title " + _string(title) + b" >>",
        *(_form(outline) for _, outline in forms.values()),
    ]
    named = " ".join(f"/{name} {5 + at} 0 R" for at, (name, _) in enumerate(forms.values()))
    resources = f"<< /Font << /F1 3 0 R >> /XObject << {named} >> >>"
    for at, page in enumerate(pages):
        width, height = page.width * _POINTS_PER_UNIT, page.height * _POINTS_PER_UNIT
        objects.append(
            f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {width:.3f} {height:.3f}] "
            f"/Resources {resources} /Contents {first_page + 2 * at + 1} 0 R >>".encode()
        )
        data = zlib.compress(_content(page, forms))
        head = f"<< /Filter /FlateDecode /Length {len(data)} >>".encode()
        objects.append(head + b"\nstream\n" + data + b"\nendstream")
    return _file(objects)


def _file(objects: Iterable[bytes]) -> bytes:
    """A file of numbered objects: the first is its catalogue, the fourth its information."""
    made = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
    offsets = []
    for number, body in enumerate(objects, 1):
        offsets.append(len(made))
        made += f"{number} 0 obj\n".encode() + body + b"\nendobj\n"
    table = len(made)
    made += f"xref\n0 {len(offsets) + 1}\n0000000000 65535 f \n".encode()
    made += b"".join(f"{offset:010} 00000 n \n".encode() for offset in offsets)
    made += f"trailer\n<< /Size {len(offsets) + 1} /Root 1 0 R /Info 4 0 R >>\nstartxref\n{table}\n%%EOF\n".encode()
    return bytes(made)
