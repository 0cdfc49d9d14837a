"""The help screen: one page in the player's words, cautions included, and from there the chapters of the manual."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Final

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from trainer.manual import Chapter, wrapped
from trainer.screens.ladder import STATES
from trainer.screens.lists import Choices, Level, TextScreen

_GUIDE: Final = """\
# How it goes
A chord stands in large letters, and under it the voicing that is asked for. The ladder shows its degrees, the lowest \
note at the bottom. Play all of it. You see degree by degree what was right, one sentence why if it was not, and the \
time from prompt to notes. Hold the keys as long as you like to read; let go, and the next root comes. Leave the \
computer alone while you play.

# On the ladder
{states}

# The wheel of roots
Twelve roots in the cycle of fourths, your latest tries on each.
right     how often the first try was right
time      prompt to whole chord, the middle one of six or more
at least  so often right one may be sure of: few tries prove little
last      how long ago the root was asked

# Keys of the computer
F1 or ?  this page              F6   pause, go on
F2  the chord before again      F7   draw a small keyboard
F3  skip                        F8   choose another set
F4  show the answer             F9   the piano, its command keys
F5  hear it                     F10  end the set, see the figures
F11 progress to look at         F12 play, and read what it is
Enter on this page: the manual, chapter by chapter. Esc goes back and never quits. Ctrl+Y says why \
today's practice asks a chord. Ctrl+P finds a command by name. Ctrl+Q leaves the program; what was played is kept.

# Lessons, forms in time, teaching
A lesson in the list of sets (F8) can be played in several ways: its voicings in twelve keys, its moves from one chord \
to the next, and the form in time. T in that list has the forms that can be played in time: two bars are counted in, \
each chord gets its sign, and the next pass is faster when this one was clean. Teach a tune (Ctrl+P) writes a lesson \
from the voicings that you play, chord after chord.

# Hear it
F5 sounds the voicing asked for, quietly, through the piano's own MIDI in, with the root below where it is rootless; \
pressed again, your answer before and then what was asked for. While the verdict on a wrong answer stands, the answer \
comes first. The next key you strike ends it. What you heard before you answered is a hint, unless the notes are shown.

# From the piano
On F9 you can give the lowest and highest keys, or the pedal, a command: again, skip, show the answer, hear it, pause, \
next set. They are off unless you set them.

# Progress
F11 shows what the record says: the twelve roots for any voicing, set or cause; every voicing on every root; curves \
day by day; where the time goes; what was missed; what is learned, that is, still right on another day. 1 to 8 or Tab \
take another view, arrows choose, Enter draws the curve of what is chosen; D, S, V and P ask for days, a set, a \
voicing, a piano. Figures have their intervals: where the true one lies with 95 % certainty.

# Your hands
Warm up before you start, and raise what you practise little by little. Take five minutes off after every twenty-five, \
and a day off in the week. Stop at once on pain, numbness or tingling, and see a clinician who treats musicians. Never \
stretch for a chord: set the reach of your hand, and wide voicings come closer or split between the hands.

# Your ears
Start quiet. At about 85 decibels eight hours a day are the usual limit, and each 3 decibels more halve the time. With \
headphones keep to a moderate level and take breaks.

Your teacher and your doctor know your hands; this program does not."""


def help_text() -> Content:
    """The page."""
    states = "\n".join(f"{state.sign}  {_MEANING[name]}" for name, state in STATES.items())
    lines = []
    for line in _GUIDE.format(states=states).split("\n"):
        lines.append(_line(line))
    return Content("\n").join(lines)


def _line(line: str) -> Content:
    return Content(line[2:]).stylize("bold") if line.startswith("# ") else Content(line)


class HelpScreen(TextScreen):
    """The page, and the way to the manual."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "chapters", "The manual", key_display="Enter")]

    def __init__(self) -> None:
        super().__init__("Help", help_text())

    def action_chapters(self) -> None:
        """The chapters to choose from."""
        self.app.open_chapters()


class ChaptersScreen(Level):
    """Choose a chapter of the manual."""

    def __init__(self, chapters: Sequence[Chapter], name: str = "") -> None:
        super().__init__()
        self.chapters = tuple(chapters)
        self.chosen = name

    def compose(self) -> ComposeResult:
        yield Static(Content("The manual"), classes="title")
        choices = Choices(*(Option(Content(chapter.title)) for chapter in self.chapters), markup=False, id="chapters")
        names = [chapter.name for chapter in self.chapters]
        choices.highlighted = names.index(self.chosen) if self.chosen in names else 0
        yield choices
        yield Footer(show_command_palette=False, compact=True)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.app.open_chapter(self.chapters[event.option_index])

    def action_back(self) -> None:
        self.app.action_help()


class ChapterScreen(TextScreen):
    """A chapter, broken into lines for the width there is."""

    def __init__(self, chapter: Chapter) -> None:
        super().__init__(chapter.title, Content(""))
        self.chapter = chapter

    def on_resize(self, event: events.Resize) -> None:
        # Two cells on either side are the page's margin, one the bar's.
        width = min(event.size.width - 5, _WIDEST)
        lines = [_line(line) for line in wrapped(self.chapter, width)]
        self.query_one("#words", Static).update(Content("\n").join(lines))

    def action_back(self) -> None:
        self.app.open_chapters(self.chapter.name)


_WIDEST: Final = 88
"""Longer lines are hard to read, however wide the screen."""


_MEANING: Final = {
    "waiting": "waiting: not held yet",
    "held": "held, where it belongs",
    "replaced": "another note is held instead (which one stands beside it)",
    "moved": "the right note in another octave or voice",
    "missing": "missing",
    "left out": "may be left out, and was",
    "extra": "a note too many, at its height beside the ladder",
}
