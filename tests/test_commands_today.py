"""``trainer today`` as a player or another program meets it. Takes are written with mido, not with our own writer."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from test_commands import SET, write_take
from test_scheduling import attempt

from trainer.__main__ import command_line, main
from trainer.commands.practising import practice_app
from trainer.commands.refusals import Refusal
from trainer.commands.store import Store
from trainer.commands.todays import Todays, local_day
from trainer.progress import Attempt
from trainer.screens.today import TodayScreen

FIRST_FORM = ("shell, root and seventh", "m7")
"""The first drill of the first shipped set, drills/01-shells-root-and-seventh.toml."""


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path / "home"))
    return tmp_path


def planned(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict:
    assert main(["today", "--plan", "--json", *arguments]) == 0
    found: dict = json.loads(capsys.readouterr().out)
    return found


def own_set(home: Path, name: str, text: str) -> None:
    store = Store(None)
    folder = store.places.own_drills
    store.close()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text, encoding="utf-8")


def recorded(*attempts: Attempt) -> None:
    """Put attempts into the player's record, as so many days before the real today as they are before TODAY."""
    store = Store(None)
    for one in attempts:
        store.append(one, False)
    store.close()


def days_ago(days: int, **how: object) -> Attempt:
    one = attempt(**how)  # type: ignore[arg-type]
    at = datetime.now(UTC) - timedelta(days=days)
    utc = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return Attempt(**{name: getattr(one, name) for name in Attempt.__slots__} | {"utc": utc, "session": f"{days}"})


def test_a_new_player_begins_with_the_first_shipped_set(capsys: pytest.CaptureFixture[str]) -> None:
    plan = planned(capsys)
    (part,) = plan["parts"]
    assert (part["part"], plan["minutes"], plan["tempo"]) == ("new", 15.0, None)
    assert {(one["voicing"], one["quality"]) for one in part["choices"]} == {FIRST_FORM}
    assert [one["root"] for one in part["choices"]] == "C F Bb Eb Ab Db Gb B E A D G".split()


def test_a_set_of_ones_own_comes_before_the_shipped_ones_and_a_faulty_one_is_left_out(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own_set(home, "mine.toml", SET)
    own_set(home, "broken.toml", 'title = "Broken"\n[[drill]]\nchord = "H"\n')
    choices = planned(capsys)["parts"][0]["choices"]
    assert {(one["voicing"], one["quality"]) for one in choices} == {("rootless from the third", "m7")}
    # Its own roots first; the others are those of the shipped sets that ask for the same form.
    assert [one["root"] for one in choices][:2] == ["C", "F"]
    assert len(choices) == 12


def test_an_open_assignment_comes_before_everything(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own_set(home, "mine.toml", SET)
    file = str(home / "week.assignment.toml")
    assert main(["assign", "sixth chords", "--output", file]) == 0
    assert main(["open", file]) == 0
    capsys.readouterr()
    # The first drill of drills/14-sixth-chords.toml.
    choices = planned(capsys)["parts"][0]["choices"]
    assert {(one["voicing"], one["quality"]) for one in choices} == {("rootless from the third", "6")}


def test_what_was_missed_yesterday_is_in_the_plan_with_its_reason(capsys: pytest.CaptureFixture[str]) -> None:
    voicing, quality = FIRST_FORM
    form = [days_ago(3, root=root, voicing=voicing, quality=quality) for root in "C F Bb Eb Ab Db Gb B E A D G".split()]
    recorded(*form[:1])
    missed = days_ago(1, root="C", outcome="wrong", voicing="rootless from the third")
    recorded(missed)
    capsys.readouterr()
    assert main(["today", "--why"]) == 0
    lines = capsys.readouterr().out
    # Two forms were begun; the one played last is the one that is new.
    assert "One new thing: m7, rootless from the third" in lines
    assert "Cm7, rootless from the third: still new; 0 of the latest 1 answers in this form were right." in lines
    assert "Cm7, shell, root and seventh: right 3 days ago, in 1.5 s" in lines


def test_minutes_are_those_asked_for_else_those_of_the_settings(capsys: pytest.CaptureFixture[str]) -> None:
    assert planned(capsys, "--minutes", "40")["minutes"] == 40.0
    assert main(["settings", "daily_minutes", "30"]) == 0
    capsys.readouterr()
    assert planned(capsys)["minutes"] == 30.0


@pytest.mark.parametrize("minutes", ["0", "-5", "1000", "nan"])
def test_minutes_that_cannot_be_practised_are_refused(minutes: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["today", "--plan", "--minutes", minutes]) == 2
    assert "--minutes takes from 1 to 240" in capsys.readouterr().err


def test_json_without_a_plan_or_a_session_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["today", "--json"]) == 2
    assert "--json goes with --plan or --headless" in capsys.readouterr().err


def test_a_take_is_graded_against_todays_prompts(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # C3 Bb3, F2 Eb3: root and seventh of Cm7 and Fm7, the first two prompts of a new player, from F2 up (trade.md).
    take = write_take(home / "take.mid", [(1000, (48, 58), 500), (3000, (41, 51), 500)])
    assert main(["today", "--headless", "--json", "--input", str(take)]) == 0
    first, second = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one["prompt"]["chord"] for one in (first, second)] == ["Cm7", "Fm7"]
    assert (first["right_first_try"], second["right_first_try"]) == (True, True)
    store = Store(None)
    assert [one.root for one in store.records.answers()] == ["C", "F"]
    store.close()


def test_the_scripted_player_practises_the_minutes_and_leaves_the_plan_as_it_was(
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = planned(capsys)
    assert main(["today", "--headless", "--input", "script", "--seed", "1", "--minutes", "1"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Today's practice, 1 minute\n")
    assert "Done: " in out
    assert planned(capsys) == before


def test_the_reason_for_every_prompt_is_told_where_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["today", "--headless", "--why", "--input", "script", "--seed", "1", "--minutes", "1"]) == 0
    lines = capsys.readouterr().out.splitlines()
    prompts = [row for row, line in enumerate(lines) if " of " in line and line[0].isdigit()]
    assert prompts and all("shell, root and seventh: new" in lines[row + 1] for row in prompts)


def test_plain_lines_are_words_a_voice_can_read(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["today", "--plain", "--input", "script", "--seed", "1", "--minutes", "1"]) == 0
    out = capsys.readouterr().out
    assert "flat 7" in out and "♭" not in out


def test_a_long_way_back_is_met_as_new(capsys: pytest.CaptureFixture[str]) -> None:
    recorded(days_ago(500, root="C", voicing="rootless from the third"))
    capsys.readouterr()
    assert {one["voicing"] for one in planned(capsys)["parts"][0]["choices"]} == {FIRST_FORM[0]}


def test_the_program_opens_on_the_plan_unless_the_setting_says_otherwise() -> None:
    store = Store(None)
    app = practice_app(command_line().parse_args([]), store)
    assert app._today_waits
    store.close()
    assert main(["settings", "daily_minutes", "0"]) == 0
    store = Store(None)
    assert not practice_app(command_line().parse_args([]), store)._today_waits
    asked = command_line().parse_args(["today", "--minutes", "5"])
    assert practice_app(asked, store)._today_waits
    store.close()


async def test_the_real_first_screen_shows_the_real_plan() -> None:
    store = Store(None)
    app = practice_app(command_line().parse_args(["today", "--input", "script"]), store)
    async with app.run_test(size=(80, 24)) as pilot:
        for _ in range(200):
            await pilot.pause(0.02)
            if app.screen.query(".part"):
                break
        assert isinstance(app.screen, TodayScreen)
        assert "m7, shell, root and seventh" in str(app.screen.query(".part").first().render())
    store.close()


def test_a_second_session_of_the_evening_is_planned_anew() -> None:
    store = Store(None)
    todays = Todays(store, 1)
    first = todays.session("Piano", "callback", {})
    first.start(0)
    voicing, quality = FIRST_FORM
    store.append(days_ago(0, root="C", outcome="wrong", voicing=voicing, quality=quality), False)
    todays.session("Piano", "callback", {})
    assert [one.root for one in todays.latest] == ["C"]
    assert "0 of the latest 1 answers" in todays.plan().choices[0].why
    store.close()


def test_days_are_those_of_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    try:
        # 29 March 2026, 01:00 UTC: the clocks go from two to three; 22:30 UTC is 23:30 before that and 00:30 after.
        assert local_day("2026-03-28T22:30:00.000Z").isoformat() == "2026-03-28"
        assert local_day("2026-03-29T22:30:00.000Z").isoformat() == "2026-03-30"
    finally:
        monkeypatch.undo()
        time.tzset()


def test_a_reach_that_no_voicing_fits_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(None)
    todays = Todays(store, 5)
    todays.plan()
    assert todays._history is not None
    monkeypatch.setattr(type(todays._history.pool), "target", lambda self, item: None)
    with pytest.raises(Refusal, match="within your reach"):
        todays.session("Piano", "callback", {})
    store.close()
