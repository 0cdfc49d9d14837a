"""Progressions and forms by degree, each a row; any of them in any key.

Source: common practice, no source; of a form that is played in many ways, one common way.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from typing import Final

from trainer.charts.reading import read_chart
from trainer.charts.values import Chart, transposed
from trainer.pitch import Note


class FormError(ValueError):
    """A form that no row has; `near` holds names that were perhaps meant."""

    def __init__(self, message: str, near: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.near = near


@dataclass(frozen=True, slots=True)
class FormRow:
    """A progression or form: its name, its bars as chart text by degree, and its mode."""

    name: str
    bars: str
    minor: bool = False
    repeats: bool = True


FORMS: Final = (
    FormRow("ii-V-I", "| iim7 | V7 | Imaj7 | % |"),
    FormRow("ii-V-i minor", "| iim7b5 | V7(b9) | im6 | % |", minor=True),
    FormRow("iii-VI-ii-V", "| iiim7 VI7 | iim7 V7 |"),
    FormRow("I-vi-ii-V", "| Imaj7 vim7 | iim7 V7 |"),
    FormRow("I-VI-ii-V", "| Imaj7 VI7 | iim7 V7 |"),
    FormRow("i-vi-ii-V minor", "| im6 vim7b5 | iim7b5 V7(b9) |", minor=True),
    FormRow("I-#I-ii-#II-iii", "| Imaj7 #Idim7 | iim7 #IIdim7 | iiim7 | VI7 |"),
    FormRow("backdoor", "| ivm7 | bVII7 | Imaj7 | % |"),
    FormRow("tritone substitute", "| iim7 | bII7 | Imaj7 | % |"),
    FormRow("tritone substitute minor", "| iim7b5 | bII7 | im6 | % |", minor=True),
    FormRow("cycle of dominants", "| III7 | % | VI7 | % | II7 | % | V7 | % |"),
    FormRow(
        "blues",
        """
        | I7  | %   | %   | %   |
        | IV7 | %   | I7  | %   |
        | V7  | IV7 | I7  | V7  |
        """,
    ),
    FormRow(
        "jazz blues",
        """
        | I7   | IV7     | I7     | vm7 I7    |
        | IV7  | #IVdim7 | I7     | iiim7 VI7 |
        | iim7 | V7      | I7 VI7 | iim7 V7   |
        """,
    ),
    FormRow(
        "minor blues",
        """
        | im7   | ivm7 | im7 | %         |
        | ivm7  | %    | im7 | %         |
        | bVI7  | V7   | im7 | iim7b5 V7 |
        """,
        minor=True,
    ),
    FormRow(
        "AABA, dominants in the bridge",
        """
        [A] |: I6 VI7 | iim7 V7 | I6 VI7 | iim7 V7 | I7 | IV6 #IVdim7 |1. I6 VI7 | iim7 V7 :|2. I6 V7 | I6 |
        [B] | III7 | % | VI7 | % |
            | II7  | % | V7  | % |
        [A] | I6 VI7 | iim7 V7 | I6 VI7      | iim7 V7 |
            | I7     | IV6 #IVdim7 | I6 V7   | I6      |
        """,
    ),
)
"""Every row. trade: ii-V-I major and minor, iii-VI-ii-V, I-vi-ii-V, backdoor, tritone substitute, 12-bar blues and its
jazz form, minor blues, 32-bar AABA with a cycle-of-dominants bridge; and a few of their neighbours."""


def _plain(name: str) -> str:
    """As names are looked up: hyphens, commas and white space do not count, case does (I-vi-ii-V, I-VI-ii-V)."""
    return " ".join(
        name.replace("♯", "#").replace("♭", "b").replace("–", "-").replace("-", " ").replace(",", " ").split()
    )


def form_row(name: str) -> FormRow:
    """The row of a name; case counts only where two names differ in nothing else. Raises `FormError`."""
    wanted = _plain(name)
    for fold in (str, str.casefold):
        found = [row for row in FORMS if fold(_plain(row.name)) == fold(wanted)]
        if len(found) == 1:
            return found[0]
    names = {row.name.casefold(): row.name for row in FORMS}
    near = [names[key] for key in get_close_matches(name.casefold(), names, n=4, cutoff=0.5)]
    near += [row.name for row in FORMS if wanted and wanted.casefold() in _plain(row.name).casefold()]
    near = list(dict.fromkeys(near))
    told = "; ".join(near or [row.name for row in FORMS])
    raise FormError(f"{name!r} is no form of the table; {'near it are' if near else 'there are'}: {told}", tuple(near))


@lru_cache(maxsize=64)
def _in_c(row: FormRow) -> Chart:
    return read_chart(f"title: {row.name}\nkey: C{'m' if row.minor else ''}\n{row.bars}")


def form_chart(name: str, root: Note | None = None) -> Chart:
    """A progression or form by name, in the key of a root (C where none is given). Raises `FormError`.

    >>> [one.chord.symbol for one in form_chart("tritone substitute", Note.parse("Gb")).unrolled()][:2]
    ['Abm7', 'G7']
    """
    chart = _in_c(form_row(name))
    return chart if root is None else transposed(chart, root)
