"""Large letters for chord symbols, drawn for this program: seven dots high, read from a metre and a half away.

At size n a dot is n cells wide and n half lines high, so dots are about square: four lines at size 1, seven at size 2,
eleven at size 3. `large` takes the largest size that fits, the root larger than the rest where not all can be large.
"""

from __future__ import annotations

from typing import Final

DOTS_HIGH: Final = 7

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
GLYPHS["△"] = GLYPHS["Δ"]
"""Character -> seven rows of dots, X for ink."""

_HALVES: Final = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}
SIZES: Final = ((3, 3), (3, 2), (2, 2), (2, 1), (1, 1))
"""Sizes of root and rest, the largest first."""


def lines_of(size: int) -> int:
    """Lines of a letter at a size."""
    return (DOTS_HIGH * size + 1) // 2


def _drawn(text: str, size: int) -> list[str]:
    """The lines of a text; of an odd number of half lines the uppermost stays empty, so that letters share a foot."""
    rows = [".".join(GLYPHS[character][row] for character in text) for row in range(DOTS_HIGH)]
    dots = ["".join(dot * size for dot in row) for row in rows for _ in range(size)]
    if len(dots) % 2:
        dots.insert(0, "." * len(dots[0]))
    return [
        "".join(_HALVES[upper == "X", lower == "X"] for upper, lower in zip(dots[top], dots[top + 1], strict=True))
        for top in range(0, len(dots), 2)
    ]


def large(symbol: str, width: int, height: int) -> list[str]:
    """The lines of a chord symbol, as large as `width` × `height` cells allow; empty where it cannot be drawn large.

    The first letter with its accidental is the root. It may stand a size larger than the rest where not all fits.
    """
    if not symbol or any(character not in GLYPHS for character in symbol):
        return []
    split = 2 if symbol[1:2] in ("♭", "♯") else 1
    root, rest = symbol[:split], symbol[split:]
    for root_size, rest_size in SIZES:
        if lines_of(root_size) > height:
            continue
        left = _drawn(root, root_size)
        right = _drawn(rest, rest_size) if rest else [""]
        right = [" " * len(right[0])] * (len(left) - len(right)) + right
        gap = " " * root_size if rest else ""
        drawn = [f"{one}{gap}{other}" for one, other in zip(left, right, strict=True)]
        if len(drawn[0]) <= width:
            return drawn
    return []
