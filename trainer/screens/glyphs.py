"""Large letters for chord symbols, drawn for this program: seven dots high, read from a metre and a half away.

A letter is drawn at size 1 (two dots share a character cell, one above the other: four lines high) or at size 2 (a dot
is two cells wide and one line high: seven lines). `large` takes the largest size that fits, the root larger than the
rest where not all of it can be large.
"""

from __future__ import annotations

from typing import Final

DOTS_HIGH: Final = 7
LARGE_LINES: Final = 7
SMALL_LINES: Final = 4

_DRAWN: Final = """
A .XXX. X...X X...X XXXXX X...X X...X X...X
B XXXX. X...X X...X XXXX. X...X X...X XXXX.
C .XXX. X...X X.... X.... X.... X...X .XXX.
D XXXX. X...X X...X X...X X...X X...X XXXX.
E XXXXX X.... X.... XXXX. X.... X.... XXXXX
F XXXXX X.... X.... XXXX. X.... X.... X....
G .XXX. X...X X.... X.XXX X...X X...X .XXX.
M X...X XX.XX X.X.X X.X.X X...X X...X X...X
N X...X XX..X X.X.X X.X.X X..XX X...X X...X
a ..... ..... .XXX. ....X .XXXX X...X .XXXX
d ....X ....X .XXXX X...X X...X X...X .XXXX
e ..... ..... .XXX. X...X XXXXX X.... .XXX.
g ..... ..... .XXXX X...X .XXXX ....X .XXX.
h X.... X.... X.XX. XX..X X...X X...X X...X
i X . X X X X X
j ..X ... ..X ..X ..X X.X .X.
l XX .X .X .X .X .X .X
m ..... ..... XX.X. X.X.X X.X.X X.X.X X.X.X
n ..... ..... X.XX. XX..X X...X X...X X...X
o ..... ..... .XXX. X...X X...X X...X .XXX.
r .... .... X.XX XX.. X... X... X...
s ..... ..... .XXXX X.... .XXX. ....X XXXX.
t .X.. .X.. XXXX .X.. .X.. .X.. ..XX
u ..... ..... X...X X...X X...X X..XX .XX.X
0 .XXX. X...X X...X X...X X...X X...X .XXX.
1 .X. XX. .X. .X. .X. .X. XXX
2 .XXX. X...X ....X ..XX. .X... X.... XXXXX
3 XXXX. ....X ....X .XXX. ....X ....X XXXX.
4 ...X. ..XX. .X.X. X..X. XXXXX ...X. ...X.
5 XXXXX X.... XXXX. ....X ....X X...X .XXX.
6 .XXX. X.... X.... XXXX. X...X X...X .XXX.
7 XXXXX ....X ...X. ...X. ..X.. ..X.. ..X..
8 .XXX. X...X X...X .XXX. X...X X...X .XXX.
9 .XXX. X...X X...X .XXXX ....X ....X .XXX.
♭ X... X... X.X. XX.X X..X X.X. XX..
♯ .X.X. .X.X. XXXXX .X.X. XXXXX .X.X. .X.X.
( .X X. X. X. X. X. .X
) X. .X .X .X .X .X X.
/ ....X ...X. ...X. ..X.. .X... .X... X....
+ ..... ..X.. ..X.. XXXXX ..X.. ..X.. .....
- .... .... .... XXXX .... .... ....
. . . . . . . X
, .. .. .. .. .. .X X.
° .XX. X..X X..X .XX. .... .... ....
ø ..... ....X .XXX. X..XX X.X.X XX..X .XXX.
Δ ..... ..X.. ..X.. .X.X. .X.X. X...X XXXXX
"""

GLYPHS: Final[dict[str, tuple[str, ...]]] = {
    line[0]: tuple(line[2:].split(" ")) for line in _DRAWN.splitlines() if line
} | {" ": ("...",) * DOTS_HIGH}
"""Character -> seven rows of dots, X for ink."""

_HALVES: Final = {("X", "X"): "█", ("X", "."): "▀", (".", "X"): "▄", (".", "."): " "}


def _dots(text: str) -> list[str]:
    """Seven rows of dots for a text, a dot's width between letters."""
    rows = [".".join(GLYPHS[character][row] for character in text) for row in range(DOTS_HIGH)]
    return rows


def width_of(text: str, size: int) -> int:
    """Cells that a text takes in one line, at size 1 or 2."""
    dots = sum(len(GLYPHS[character][0]) + 1 for character in text) - 1
    return max(0, dots) * size


def _at_size(text: str, size: int) -> list[str]:
    rows = _dots(text)
    if size == 2:
        return [row.replace("X", "██").replace(".", "  ") for row in rows]
    rows = ["." * len(rows[0]), *rows]
    return [
        "".join(_HALVES[upper, lower] for upper, lower in zip(rows[top], rows[top + 1], strict=True))
        for top in range(0, DOTS_HIGH + 1, 2)
    ]


def large(symbol: str, width: int, height: int) -> list[str]:
    """The lines of a chord symbol, as large as `width` × `height` cells allow; empty where it cannot be drawn large.

    The first letter with its accidental is the root. Where the whole symbol does not fit at size 2, only the root is.
    """
    if not symbol or any(character not in GLYPHS for character in symbol):
        return []
    split = 2 if symbol[1:2] in ("♭", "♯") else 1
    root, rest = symbol[:split], symbol[split:]
    if height >= LARGE_LINES:
        if width_of(symbol, 2) <= width:
            return _at_size(symbol, 2)
        if rest and width_of(root, 2) + 2 + width_of(rest, 1) <= width:
            left = _at_size(root, 2)
            right = _at_size(rest, 1)
            right = [" " * len(right[0])] * (LARGE_LINES - SMALL_LINES) + right
            return [f"{a}  {b}" for a, b in zip(left, right, strict=True)]
    if height >= SMALL_LINES and width_of(symbol, 1) <= width:
        return _at_size(symbol, 1)
    return []
