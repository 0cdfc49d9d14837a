"""The whole program on a real MIDI port: a piano made of software on JACK's dummy server, the real application, and
nothing of the computer touched. Chords by hand from trade.md (common practice, no source)."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from test_commands import CM7, FM7, SET, write_take
from virtual_piano import VirtualPiano

from trainer.__main__ import command_line, main
from trainer.capture import MILLISECOND_NS, NoteEvent
from trainer.commands.practising import practice_app, session_of
from trainer.commands.store import Store
from trainer.inputs.files import read_events
from trainer.session import Prompted, Session, State, Task, replay

PIANO = "Stage Piano"
WRONG_CM7 = (51, 55, 59, 62)  # B natural for B flat


@pytest.fixture
def set_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    path = tmp_path / "set.toml"
    path.write_text(SET.replace("tries = 1", "tries = 3"), encoding="utf-8")
    return path


async def until(holds: Callable[[], object], seconds: float = 15.0) -> None:
    """Wait for what other threads and the application do; fails where it does not come."""
    for _ in range(round(seconds / 0.02)):
        if holds():
            return
        await asyncio.sleep(0.02)
    raise AssertionError(f"did not come within {seconds} s")


class Desk:
    """The running application, what it shows and what it has stored."""

    def __init__(self, app: Any, pilot: Any, store: Store) -> None:
        self.app, self.pilot, self.store = app, pilot, store

    @property
    def session(self) -> Session:
        return self.app._drive.session  # type: ignore[no-any-return]

    @property
    def shown(self) -> str:
        """Every line on the glass."""
        width, height = self.app.size
        strips = self.app.screen._compositor.render_strips()
        return "\n".join("".join(segment.text for segment in strip) for strip in strips[:height])

    @property
    def said(self) -> str:
        """What the panel of the last answer says."""
        region = self.app.practice.answer.region
        lines = self.shown.split("\n")[region.y : region.bottom]
        return " ".join(" ".join(line[region.x : region.right] for line in lines).split())

    async def shows(self, *words: str) -> None:
        try:
            await until(lambda: all(word in " ".join(self.shown.split()) for word in words))
        except AssertionError:
            raise AssertionError(f"{words} are not all on the screen:\n{self.shown}") from None

    def attempts(self) -> list[Any]:
        return list(self.store.records.attempts())


@asynccontextmanager
async def practising(set_file: Path, *arguments: str, size: tuple[int, int] = (120, 40)) -> AsyncIterator[Desk]:
    store = Store(None)
    try:
        app = practice_app(command_line().parse_args(["drill", str(set_file), *arguments]), store)
        async with app.run_test(size=size) as pilot:
            yield Desk(app, pilot, store)
    finally:
        store.close()


@pytest.mark.port
async def test_a_drill_is_played_from_prompt_to_figures_by_the_notes_alone(jack_server: object, set_file: Path) -> None:
    with VirtualPiano(PIANO) as piano:
        async with practising(set_file, "--input", "stage") as desk:
            await desk.shows("listening to", PIANO, "rootless from the third", "on C", "♭3", "E♭", "waiting")
            await until(lambda: desk.session.state is State.PROMPTED)
            piano.play(CM7, hold_s=0.3)
            await desk.shows("on F", "Cm7 right", "Right: ♭3 5 ♭7 9.")
            piano.play(FM7, hold_s=0.3)
            await until(lambda: desk.session.state is State.FINISHED)
            first, second = desk.attempts()
            assert (first.chord, first.outcome, second.chord, second.outcome) == ("Cm7", "right", "Fm7", "right")
            assert PIANO in first.port and first.stamp_origin == "port"
            assert first.response_ms is not None
            assert [event[2] for event in first.events] == list(CM7)


@pytest.mark.port
async def test_a_wrong_chord_is_told_with_its_cause_and_may_be_played_again(
    jack_server: object, set_file: Path
) -> None:
    with VirtualPiano(PIANO) as piano:
        async with practising(set_file, "--input", PIANO) as desk:
            await desk.shows("on C", "waiting")
            await until(lambda: desk.session.state is State.PROMPTED)
            piano.play(WRONG_CM7, hold_s=0.4)
            await until(lambda: "B for B♭: a half step high; the ♭7 of C is B♭." in desk.said)
            piano.play(CM7, hold_s=0.3)
            await desk.shows("on F")
            (attempt,) = desk.attempts()
            assert [one.right for one in attempt.tries] == [False, True]
            assert (attempt.tries[0].cause, attempt.right_first_try) == ("half_step", False)


@pytest.mark.port
async def test_an_unplugged_piano_pauses_the_drill_and_plugged_in_again_it_goes_on(
    jack_server: object, set_file: Path
) -> None:
    with VirtualPiano(PIANO) as piano:
        async with practising(set_file, "--input", PIANO) as desk:
            await desk.shows("on C", "waiting")
            piano.play(CM7[:2], hold_s=0.0)
            piano.unplug()
            await until(lambda: desk.session.state is State.PAUSED)
            await desk.shows("not connected")
            piano.plug_in()
            await until(lambda: desk.session.state is State.PROMPTED)
            await until(lambda: bool(desk.session._prompt_ns))
            await asyncio.sleep(0.3)
            piano.play(CM7, hold_s=0.3)
            await desk.shows("on F")
            decided = [attempt for attempt in desk.attempts() if attempt.outcome != "void"]
            assert [attempt.outcome for attempt in decided] == ["right"]
            assert decided[0].set_aside == "after a pause"


@pytest.mark.parametrize(
    "chords",
    [
        [(1200, CM7, 500), (3000, FM7, 500)],
        [(1200, WRONG_CM7, 500), (2500, CM7, 500), (4000, FM7[:3], 400), (5000, FM7, 500)],
        [(1200, (65, *CM7), 600), (3000, CM7, 30), (4000, (*FM7, 75), 500), (5200, FM7, 500)],
    ],
    ids=["right", "corrected", "extra keys and a short touch"],
)
async def test_the_same_take_gives_the_same_attempts_on_the_screen_and_headless(
    set_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], chords: Any
) -> None:
    take = write_take(tmp_path / "take.mid", chords)
    assert main(["drill", str(set_file), "--input", str(take), "--headless", "--json"]) == 0
    headless = [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    class Virtual:
        """The take posted to the screen under its own clock."""

        name, stamp_origin, now_ns = "take.mid", "file", 0

        def start(self, post: Callable[[NoteEvent], None]) -> None:
            pass

        def stop(self) -> None:
            pass

    source = Virtual()
    store = Store(None)
    app = practice_app(command_line().parse_args(["drill", str(set_file)]), store)
    app.source, app._clock = source, lambda: source.now_ns
    async with app.run_test(size=(80, 24)) as pilot:
        await until(lambda: app._drive is not None and app._drive.session._prompt_ns is not None)
        session = app._drive.session
        for event in read_events(take):
            while (due := session.deadline_ns) is not None and due <= event.time_ns:
                source.now_ns = due
                app._drive._take(session.tick(due))
                app._drive.paint()
                await until(lambda: session.state is not State.PROMPTED or session._prompt_ns is not None)
            source.now_ns = event.time_ns
            app._arrived(event)
            app._drive.paint()
            await until(lambda: session.state is not State.PROMPTED or session._prompt_ns is not None)
        await pilot.pause()
    from trainer.progress import attempt_object

    kept = store.records.attempts(session=session._particulars.session)
    on_screen = [json.loads(json.dumps(attempt_object(attempt))) for attempt in kept]
    store.close()
    for ours, theirs in zip(on_screen, headless, strict=True):
        assert ours == theirs


def test_a_replay_shows_each_prompt_when_the_keys_of_the_one_before_are_up(set_file: Path, tmp_path: Path) -> None:
    take = write_take(tmp_path / "take.mid", [(1200, CM7, 500), (3000, FM7, 500)])
    from random import Random

    from trainer import drills

    drill_set, _ = drills.read(set_file.read_text(encoding="utf-8"), "set.toml")
    assert drill_set is not None
    store = Store(None)
    session = session_of(Random(1), drill_set, store, "take", "file", {})
    prompts = [event.time_ns for event in replay(session, read_events(take)) if isinstance(event, Prompted)]
    store.close()
    assert prompts == [0, 1700 * MILLISECOND_NS]
    assert isinstance(session.task, Task | None)


@pytest.mark.port
async def test_what_is_played_is_read_under_its_names_and_kept_as_a_drill(jack_server: object, set_file: Path) -> None:
    with VirtualPiano(PIANO) as piano:
        async with practising(set_file, "--input", PIANO) as desk:
            await desk.shows("on C", "waiting")
            await desk.pilot.press("f12")
            await desk.shows("Play, and read")
            piano.play((53, 57, 60, 64), hold_s=0.2)  # rootless Dm9 = Fmaj7 (evidence.md section 7)
            await desk.shows("Fmaj7", "Dm9 without its root")
            await desk.pilot.press(*"Cm7")
            piano.play(CM7, hold_s=0.2)
            await desk.shows("On Cm7 these keys are ♭3 5 ♭7 9", 'voicing = "rootless from the third"')
            await desk.pilot.press("f5")
            kept = desk.store.places.own_drills / "played.toml"
            await until(kept.exists)
            assert main(["check", str(kept)]) == 0
            await desk.pilot.press("escape")
            await desk.shows("rootless from the third, minor 7, on C")
