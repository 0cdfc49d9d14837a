"""A form at a tempo on the screen: the beat is seen, each chord gets its sign, a pass is kept, sound ends with it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from test_in_time import chord, piece
from test_screens import NOW, SNAPSHOTS, Evening
from textual.pilot import Pilot

from trainer.in_time import Course, FormSession, PassBegan
from trainer.screens.app import Hand, InTime, SetEntry
from trainer.screens.in_time import FormScreen
from trainer.session import Particulars
from trainer.timing import PassRecord


class InTimeEvening(Evening):
    """An evening with forms to be played in time, and a sound that is only listened to."""

    def __init__(self, **handed_in: Any) -> None:
        self.kept: list[PassRecord] = []
        self.sounded: list[str] = []
        super().__init__(
            in_time=InTime(
                forms=[SetEntry("ii-V-I", "ii-V-I", "in twelve keys")],
                open=self.open_form,
                store=self.kept.append,
                accompany=self.accompany,
                silence=lambda: self.sounded.append("silence"),
            ),
            **handed_in,
        )

    def open_form(self, name: str, hand: Hand) -> FormSession:
        particulars = Particulars("f", lambda: NOW.isoformat(), hand.port, hand.stamp_origin, hand.controls)
        return FormSession(Course((piece("F"),), True), particulars)

    def accompany(self, began: PassBegan) -> str:
        self.sounded.append(f"pass {began.number}")
        return ""

    async def beats(self, screen: FormScreen, count: float, pilot: Pilot[int]) -> None:
        """Let so many beats pass at 120 a minute."""
        self.now_ns += round(count * 500_000_000)
        screen._due()
        await pilot.pause()


async def opened(evening: InTimeEvening, pilot: Pilot[int]) -> FormScreen:
    evening.app.play_form("ii-V-I")
    await pilot.pause()
    assert isinstance(evening.app.screen, FormScreen)
    return evening.app.screen


async def play(evening: InTimeEvening, screen: FormScreen, late_ms: Sequence[int | None]) -> None:
    """Each chord so many ms late; None: left out."""
    session = screen.session
    for slot, late in zip(session.piece.slots, late_ms, strict=True):
        if late is None:
            continue
        at_ns = session._grid.time_ns(slot.start_beats) + late * 1_000_000
        for event in chord(slot.target.keys, at_ns):
            evening.now_ns = max(evening.now_ns, event.time_ns)
            evening.app._arrived(event)


def matches(name: str, text: str) -> None:
    import os

    path = SNAPSHOTS / f"{name}.txt"
    if os.environ.get("TRAINER_WRITE_SNAPSHOTS"):
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text("utf-8")


def drawn(screen: FormScreen) -> str:
    parts = (screen.status, screen.beats, screen.chords, screen.map, screen.answer, screen.foot)
    return "\n".join(f"[{part.id}]\n{part.text()}" for part in parts if part.display) + "\n"


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (40, 10)])
async def test_a_pass_with_a_chord_left_out_and_one_late_is_shown(size: tuple[int, int]) -> None:
    evening = InTimeEvening()
    async with evening.running(size) as pilot:
        screen = await opened(evening, pilot)
        assert evening.sounded == ["pass 1"]
        await evening.beats(screen, 2.2, pilot)  # 0.6 s of lead are 1.2 beats: the second beat of the count-in
        assert screen.beats.beat == 2
        assert screen.beats.words == "count-in"
        await play(evening, screen, [0, None, 10, 20])
        await evening.beats(screen, 8, pilot)
        matches(f"form_after_a_pass-{size[0]}x{size[1]}", drawn(screen))
    assert [slot.verdict for slot in evening.kept[0].slots] == ["right", "missed", "right", "right"]
    assert evening.sounded[:2] == ["pass 1", "silence"]


async def test_esc_ends_the_pass_and_the_sound_and_keeps_what_was_played() -> None:
    evening = InTimeEvening()
    async with evening.running() as pilot:
        screen = await opened(evening, pilot)
        evening.now_ns = screen.session._grid.start_ns - 100_000_000
        screen._due()
        for event in chord(screen.session.piece.slots[0].target.keys, screen.session._grid.start_ns):
            evening.app._arrived(event)
        evening.sounded.clear()
        await pilot.press("escape")
        await pilot.pause()
        assert evening.app.screen is evening.app.practice
    assert "silence" in evening.sounded
    assert [record.outcome for record in evening.kept] == ["stopped"]


async def test_faster_and_slower_count_in_anew() -> None:
    evening = InTimeEvening()
    async with evening.running() as pilot:
        screen = await opened(evening, pilot)
        await pilot.press("plus")
        assert screen.session.piece.tempo_bpm == 124
        await pilot.press("minus", "minus")
        assert screen.session.piece.tempo_bpm == 116
        assert evening.sounded.count("silence") == 3


async def test_forms_are_chosen_from_a_list() -> None:
    evening = InTimeEvening()
    async with evening.running() as pilot:
        await pilot.press("f8")
        await pilot.press("t")
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(evening.app.screen, FormScreen)


@pytest.mark.parametrize("size", [(200, 60), (30, 5), (20, 2), (10, 1)])
async def test_no_size_breaks_it(size: tuple[int, int], tmp_path: Path) -> None:
    evening = InTimeEvening()
    async with evening.running(size) as pilot:
        screen = await opened(evening, pilot)
        await evening.beats(screen, 5, pilot)
        assert screen.is_current
