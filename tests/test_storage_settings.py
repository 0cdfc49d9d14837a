"""Settings: read with every fault told, written with everything else in the file kept."""

from __future__ import annotations

import importlib.util
import os
import stat
import sys
import tomllib
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from trainer.storage import files
from trainer.storage.files import StorageError, read_text, utc_now, write_text_atomically
from trainer.storage.settings import (
    COMMAND_SETTINGS,
    SETTINGS,
    Settings,
    change_settings,
    read_settings,
    write_settings,
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "config" / "settings.toml"


def put(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode())


# -- the table


def test_every_setting_has_one_row_and_every_default_may_stand_in_the_file() -> None:
    assert sorted(row.name for row in SETTINGS) == sorted(field.name for field in fields(Settings))
    for row in SETTINGS:
        assert row.accepts(row.default)
        assert row.explanation.endswith(".") and row.expected


def test_the_commands_that_the_piano_can_give_are_those_of_a_session() -> None:
    if importlib.util.find_spec("trainer.session") is None:
        pytest.skip("there is no session yet")
    from trainer.session import Command

    known = {str(command) for command in Command}
    assert set(COMMAND_SETTINGS.values()) <= known


def test_the_default_reach_is_a_ninth() -> None:
    """A major ninth is fourteen semitones: common practice, no source."""
    assert Settings().reach_semitones == 14


# -- reading


def test_without_a_file_the_defaults_hold_and_nothing_is_written(path: Path) -> None:
    assert read_settings(path) == (Settings(), ())
    assert not path.parent.exists()


def test_settings_are_read(path: Path) -> None:
    put(path, 'port = "Stage piano"\nreach_semitones = 16\nmouse = false\nskip_from = "A0"\n')
    expected = replace(Settings(), port="Stage piano", reach_semitones=16, mouse=False, skip_from="A0")
    assert read_settings(path) == (expected, ())


FAULTY = '''# mine
port = "Stage piano"

reach_semitones = "a tenth"
them = "dark"   # a slip
mouse = 1
skip_from = "H9"
pause_from = """
fly"""
channel = 17
daily_minutes = 30
[piano]
name = "upright"
'''


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_every_fault_is_told_with_its_line_and_field_and_what_could_stand_there(path: Path, ends: str) -> None:
    put(path, FAULTY.replace("\n", ends))
    settings, faults = read_settings(path)
    assert settings == replace(Settings(), port="Stage piano", daily_minutes=30)
    assert [(fault.line, fault.field) for fault in faults] == [
        (4, "reach_semitones"),
        (5, "them"),
        (6, "mouse"),
        (7, "skip_from"),
        (8, "pause_from"),
        (10, "channel"),
        (12, "piano"),
    ]
    assert str(faults[0]) == (
        f'{path}:4: reach_semitones: found "a tenth", expected a whole number of semitones from 7 to 24'
    )
    assert faults[1].expected == "theme"
    assert faults[2].expected == "true or false"


@pytest.mark.parametrize(
    ("text", "line", "field"),
    [
        ('port = "x"\nchannel = \n', 2, "channel"),
        ("# fine\n\nwhat is this\n", 3, ""),
        ("mouse = true\nmouse = false\n", 2, "mouse"),
        ('port = """never\nclosed\n', 3, ""),
    ],
)
def test_a_file_that_is_no_toml_is_one_fault_at_its_line(path: Path, text: str, line: int, field: str) -> None:
    put(path, text)
    settings, (fault,) = read_settings(path)
    assert settings == Settings()
    assert (fault.path, fault.line, fault.field) == (path, line, field)


@pytest.mark.parametrize("value", ["[" * 5_000, "9" * 5_000])
def test_a_value_too_deep_or_too_long_to_read_is_a_fault(path: Path, value: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"theme = {value}", encoding="utf-8")
    settings, (fault,) = read_settings(path)
    assert settings == Settings()
    assert fault.line == 1


def test_a_file_that_is_no_text_is_a_fault(path: Path) -> None:
    path.parent.mkdir()
    path.write_bytes(b"port = '\xff'")
    settings, (fault,) = read_settings(path)
    assert settings == Settings() and "UTF-8" in fault.found


def test_a_file_saved_with_a_byte_order_mark_is_read(path: Path) -> None:
    put(path, '\ufefftheme = "light"\n')
    assert read_settings(path) == (replace(Settings(), theme="light"), ())


def test_a_folder_in_the_place_of_the_file_is_explained(path: Path) -> None:
    path.mkdir(parents=True)
    with pytest.raises(StorageError, match="is a folder"):
        read_settings(path)


@examples(deadline=None)
@given(st.text(max_size=80) | st.lists(st.sampled_from(FAULTY.split("\n")), max_size=12).map("\n".join))
def test_no_text_at_all_stops_the_reading(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    settings, faults = read_settings(path)
    for row in SETTINGS:
        assert row.accepts(getattr(settings, row.name))
    for fault in faults:
        assert 1 <= fault.line <= text.count("\n") + 1
        assert "\n" not in str(fault)


# -- writing


def test_a_new_file_explains_every_setting_and_reads_back(path: Path) -> None:
    chosen = replace(Settings(), port="Stage piano", theme="high contrast", octave_shift=-1)
    write_settings(path, chosen)
    assert read_settings(path) == (chosen, ())
    text = path.read_text("utf-8")
    for row in SETTINGS:
        assert f"# {row.explanation}\n" in text
        assert f"\n{row.name} = " in text


MINE = """# My piano stands by the window.
theme = "light"  # it is bright there
unheard_of = 7

  reach_semitones    =   12
"""


def test_writing_keeps_comments_order_and_what_is_not_understood(path: Path) -> None:
    put(path, MINE)
    settings, _ = read_settings(path)
    write_settings(path, replace(settings, theme="dark", daily_minutes=30))
    assert path.read_text("utf-8") == MINE.replace('"light"', '"dark"') + "daily_minutes = 30\n"


def test_writing_settings_that_have_not_changed_changes_nothing(path: Path) -> None:
    put(path, MINE)
    write_settings(path, read_settings(path)[0])
    assert path.read_text("utf-8") == MINE


def test_writing_keeps_the_line_ends(path: Path) -> None:
    put(path, MINE.replace("\n", "\r\n"))
    change_settings(path, {"theme": "dark"})
    assert path.read_bytes() == MINE.replace('"light"', '"dark"').replace("\n", "\r\n").encode()


def test_a_faulty_line_that_was_not_chosen_anew_stays_for_its_writer_to_see(path: Path) -> None:
    put(path, 'reach_semitones = "a tenth"\n')
    change_settings(path, {"mouse": False})
    assert path.read_text("utf-8") == 'reach_semitones = "a tenth"\nmouse = false\n'
    assert change_settings(path, {"reach_semitones": 16}).reach_semitones == 16
    assert read_settings(path)[1] == ()


def test_a_setting_added_to_a_file_with_a_table_does_not_fall_into_the_table(path: Path) -> None:
    put(path, 'theme = "light"\n\n[piano]\nname = "upright"\n')
    settings = change_settings(path, {"mouse": False, "theme": "dark"})
    assert (settings.mouse, settings.theme) == (False, "dark")
    assert tomllib.loads(path.read_text("utf-8"))["piano"] == {"name": "upright"}


def test_a_file_that_is_no_toml_is_not_written_over(path: Path) -> None:
    put(path, "theme = \n")
    with pytest.raises(StorageError, match="not valid TOML"):
        change_settings(path, {"theme": "light"})
    assert path.read_text("utf-8") == "theme = \n"


@pytest.mark.parametrize(
    ("changes", "told"),
    [({"them": "dark"}, "theme"), ({"channel": 17}, "from 0 to 16"), ({"mouse": 1}, "true or false"),
     ({"port": "a\nb"}, "one line")],
)  # fmt: skip
def test_what_cannot_stand_in_the_file_is_refused_before_it_is_touched(
    path: Path, changes: dict[str, str | int], told: str
) -> None:
    with pytest.raises(StorageError, match=told):
        change_settings(path, changes)
    assert not path.exists()


@examples(deadline=None)
@given(st.data())
def test_any_settings_read_back_as_written(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    path = tmp_path_factory.getbasetemp() / "round.toml"
    path.unlink(missing_ok=True)
    for _ in range(2):
        values = {}
        for row in SETTINGS:
            kinds: dict[type, st.SearchStrategy[str | int | bool]] = {
                bool: st.booleans(),
                int: st.integers(-3, 250),
                str: st.text(max_size=8) | st.sampled_from([*COMMAND_SETTINGS.values(), "dark", "light", "A0", "C8"]),
            }
            drawn = data.draw(kinds[row.type])
            values[row.name] = drawn if row.accepts(drawn) else row.default
        chosen = Settings(**values)  # type: ignore[arg-type]
        write_settings(path, chosen)
        assert read_settings(path) == (chosen, ())


# -- writing a file whole


def test_a_write_that_fails_leaves_the_old_file_and_nothing_beside_it(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(path, MINE)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(StorageError, match="the disk is full; free some space"):
        write_text_atomically(path, "new")
    assert path.read_text("utf-8") == MINE
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_a_file_below_a_file_is_explained(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="folder is needed"):
        write_text_atomically(tmp_path / "file" / "settings.toml", "")


def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "link.toml"
    real.write_text("old")
    try:
        link.symlink_to(real)
    except OSError:
        pytest.skip("no links here")
    write_text_atomically(link, "new")
    assert link.is_symlink() and real.read_text() == "new"


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX permissions")
def test_a_file_keeps_its_permissions_and_a_new_one_follows_the_mask(tmp_path: Path) -> None:
    private = tmp_path / "private"
    private.write_text("old")
    private.chmod(0o600)
    mask = os.umask(0o027)
    try:
        write_text_atomically(private, "new")
        write_text_atomically(tmp_path / "fresh", "new")
    finally:
        os.umask(mask)
    assert stat.S_IMODE(private.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "fresh").stat().st_mode) == 0o640


@examples(deadline=None)
@given(st.text(st.characters(codec="utf-8")))
def test_text_comes_back_as_it_was_written(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.getbasetemp() / "text"
    write_text_atomically(path, text)
    assert read_text(path) == text.removeprefix("\ufeff")


def test_the_wall_clock_is_told_in_utc_with_milliseconds() -> None:
    """ISO 8601: the Z stands for UTC."""
    now = utc_now()
    assert len(now) == len("2026-03-01T18:30:00.000Z") and now.endswith("Z")
