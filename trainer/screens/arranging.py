"""Where each panel of the practice screen stands, for any size of the terminal.

`arrange` is a table of sizes and nothing else: places are computed when the terminal changes its size, never when a
key goes down. Smaller terminals lose panels: the wheel of roots or the keyboard, the foot, the status line, until
prompt and ladder share one line. There is no size that is refused.
"""

from __future__ import annotations

from typing import Final

from textual.geometry import Region

from trainer.screens.roots import STRIP_CELLS

PANELS: Final = ("status", "prompt", "answer", "ladder", "keyboard", "roots", "foot")

_TWO_COLUMNS_FROM: Final = 66
_KEYBOARD_LINES: Final = 4


def arrange(width: int, height: int, keyboard: bool = False) -> dict[str, Region]:
    """The region of each panel that has a place; panels that are left out have none.

    >>> sorted(arrange(80, 1))
    ['ladder', 'prompt']
    >>> sorted(arrange(80, 24, keyboard=True))
    ['answer', 'foot', 'keyboard', 'ladder', 'prompt', 'status']
    """
    if width < 1 or height < 1:
        return {}
    if height <= 4:
        return _few_lines(width, height)
    places: dict[str, Region] = {"status": Region(0, 0, width, 1)}
    top, bottom = 1, height
    if height >= 8:
        bottom -= 1
        places["foot"] = Region(0, bottom, width, 1)
    margin = 2 if width >= _TWO_COLUMNS_FROM else 0
    # A keyboard that was asked for goes before the wheel: both would leave no room for the sentence of a miss.
    crowded = keyboard and 14 <= bottom - top < 27
    if width >= STRIP_CELLS and not crowded and (rows := _strip_rows(bottom - top)):
        bottom -= rows
        places["roots"] = Region((width - STRIP_CELLS) // 2, bottom, STRIP_CELLS, rows)
        if bottom - top >= 18:
            bottom -= 1
    if keyboard and bottom - top >= 14:
        bottom -= _KEYBOARD_LINES
        places["keyboard"] = Region(margin, bottom, width - 2 * margin, _KEYBOARD_LINES)
    if width >= _TWO_COLUMNS_FROM:
        if bottom - top >= 16:
            top += 1
        places |= _two_columns(width, top, bottom, margin)
    else:
        places |= _one_column(width, top, bottom)
    return places


def _few_lines(width: int, height: int) -> dict[str, Region]:
    if height == 1:
        half = max(1, width // 2)
        places = {"prompt": Region(0, 0, half, 1), "ladder": Region(half, 0, width - half, 1)}
        return {name: region for name, region in places.items() if region.width > 0}
    names = {2: ("prompt", "ladder"), 3: ("prompt", "ladder", "answer"), 4: ("status", "prompt", "ladder", "answer")}
    return {name: Region(0, row, width, 1) for row, name in enumerate(names[height])}


def _strip_rows(body: int) -> int:
    """Rows of the wheel of roots for the lines between status and foot."""
    for least, rows in ((34, 6), (28, 5), (22, 3), (18, 2), (14, 1)):
        if body >= least:
            return rows
    return 0


def _two_columns(width: int, top: int, bottom: int, margin: int) -> dict[str, Region]:
    """Prompt over answer on the left, the ladder on the right."""
    body = bottom - top
    right = min(58, max(34, width * 45 // 100))
    left = width - right - 2 * margin
    prompt = 16 if body >= 27 else 11 if body >= 17 else 10 if body >= 14 else 6 if body >= 9 else 5 if body >= 8 else 1
    prompt = min(prompt, body - 1)
    return {
        "prompt": Region(margin, top, left, prompt),
        "answer": Region(margin, top + prompt, left, body - prompt),
        "ladder": Region(margin + left, top, right, body),
    }


def _one_column(width: int, top: int, bottom: int) -> dict[str, Region]:
    """Prompt, ladder, answer, one under the other."""
    body = bottom - top
    prompt = 6 if body >= 14 else 5 if body >= 11 else 2 if body >= 6 else 1
    ladder = 11 if body >= 24 else 9 if body >= 20 else 4 if body >= 14 else 1
    answer = body - prompt - ladder
    return {
        "prompt": Region(0, top, width, prompt),
        "ladder": Region(0, top + prompt, width, ladder),
        "answer": Region(0, top + prompt + ladder, width, answer),
    }
