"""Where things are kept, and finding a drill set by what a player would call it."""

from __future__ import annotations

from pathlib import Path

import platformdirs
import pytest

from trainer.storage.files import StorageError
from trainer.storage.places import Places, shipped_drills, title_of


@pytest.fixture
def places(tmp_path: Path) -> Places:
    """Two shipped sets and an own one; the package lies in a checkout."""
    package = tmp_path / "checkout" / "trainer"
    package.mkdir(parents=True)
    shipped = tmp_path / "checkout" / "drills"
    own = tmp_path / "home" / "drills"
    for folder, name, title in (
        (shipped, "minor-sevenths", "Minor sevenths without the root"),
        (shipped, "dominants", "Dominants, three notes"),
        (shipped, "lessons/first", "Two notes are enough"),
        (own, "evening", "What I play in the evening"),
    ):
        path = folder / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f'title = "{title}"\n', "utf-8")
    return Places.found({"TRAINER_HOME": str(tmp_path / "home")}, package)


def test_trainer_home_holds_everything(places: Places, tmp_path: Path) -> None:
    home = tmp_path / "home"
    for path in (places.records, places.own_drills, places.settings, places.log):
        assert path.is_relative_to(home)
    assert len({places.records, places.own_drills, places.settings, places.log}) == 4


def test_trainer_home_wins_over_xdg_and_may_begin_with_a_tilde(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    places = Places.found({"TRAINER_HOME": "~/piano", "XDG_DATA_HOME": str(tmp_path / "xdg")})
    assert places.records == tmp_path / "piano" / "records.sqlite"


def test_trainer_home_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="TRAINER_HOME"):
        Places.found({"TRAINER_HOME": str(tmp_path / "file")})


def test_xdg_folders_are_honoured_wherever_they_are_set(tmp_path: Path) -> None:
    """XDG Base Directory Specification 0.8: data, config and state homes."""
    places = Places.found(
        {
            "XDG_DATA_HOME": str(tmp_path / "data"),
            "XDG_CONFIG_HOME": str(tmp_path / "config"),
            "XDG_STATE_HOME": str(tmp_path / "state"),
        }
    )
    assert places.records == tmp_path / "data" / "jazz-piano-trainer" / "records.sqlite"
    assert places.own_drills.parent == places.records.parent
    assert places.settings == tmp_path / "config" / "jazz-piano-trainer" / "settings.toml"
    assert places.log.parent == tmp_path / "state" / "jazz-piano-trainer"


def test_a_relative_xdg_folder_is_ignored() -> None:
    """XDG Base Directory Specification 0.8: "If an implementation encounters a relative path ... ignore it"."""
    places = Places.found({"XDG_DATA_HOME": "relative"})
    assert places.data == platformdirs.user_data_path("jazz-piano-trainer", appauthor=False)


def test_the_environment_of_the_process_is_used_unless_another_is_given(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("TRAINER_HOME", str(tmp_path))
    assert Places.found().data == tmp_path


def test_finding_the_places_creates_nothing(tmp_path: Path) -> None:
    Places.found({"TRAINER_HOME": str(tmp_path / "new")}).drill_files()
    assert list(tmp_path.iterdir()) == []


def test_the_installed_package_carries_its_own_drill_sets(tmp_path: Path) -> None:
    package = tmp_path / "trainer"
    package.mkdir()
    assert shipped_drills(package) is None
    (tmp_path / "drills").mkdir()
    assert shipped_drills(package) == tmp_path / "drills"
    (package / "_drills").mkdir()
    assert shipped_drills(package) == package / "_drills"


def test_drill_files_are_the_shipped_ones_and_then_the_players_own(places: Places) -> None:
    assert [file.stem for file in places.drill_files()] == ["dominants", "first", "minor-sevenths", "evening"]


def test_hidden_and_other_files_are_no_drill_files(places: Places) -> None:
    (places.own_drills / ".half-written.toml").write_text("")
    (places.own_drills / "notes.txt").write_text("")
    (places.own_drills / "folder.toml").mkdir()
    assert len(places.drill_files()) == 4


@pytest.mark.parametrize(
    ("asked", "stem"),
    [
        ("minor-sevenths", "minor-sevenths"),
        ("Minor-Sevenths.toml", "minor-sevenths"),
        ("dominants, three notes", "dominants"),
        ("without the root", "minor-sevenths"),
        ("enough", "first"),
        ("in the even", "evening"),
    ],
)
def test_a_set_is_found_by_name_by_title_or_by_a_part_of_it(places: Places, asked: str, stem: str) -> None:
    assert places.find_set(asked).stem == stem


def test_a_set_is_found_by_its_path(places: Places, tmp_path: Path) -> None:
    path = tmp_path / "anywhere.toml"
    path.write_text("")
    assert places.find_set(str(path)) == path


def test_a_players_own_file_hides_a_shipped_one_of_the_same_name(places: Places) -> None:
    (places.own_drills / "dominants.toml").write_text('title = "My dominants"\n')
    assert places.find_set("dominants").parent == places.own_drills


def test_a_part_that_fits_several_sets_names_them(places: Places) -> None:
    with pytest.raises(StorageError, match=r"several drill sets \(dominants, first\)"):
        places.find_set("notes")


@pytest.mark.parametrize("asked", ["dominents", "sevnths", "minor-seventh5"])
def test_a_set_that_is_not_there_brings_near_names(places: Places, asked: str) -> None:
    with pytest.raises(StorageError) as told:
        places.find_set(asked)
    assert asked in str(told.value)
    assert ("dominants" if asked.startswith("dom") else "minor-sevenths") in str(told.value)


@pytest.mark.parametrize("asked", ["", "xyzzy", "../etc", "\0", "[b7]", "~nobody", "x" * 5000])
def test_a_name_like_nothing_there_brings_the_names_that_there_are(places: Places, asked: str) -> None:
    with pytest.raises(StorageError, match="there are dominants, first"):
        places.find_set(asked)


def test_with_no_drill_sets_at_all_that_is_said(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="no drill sets yet"):
        Places(tmp_path, tmp_path, tmp_path, None).find_set("any")


def test_a_file_that_cannot_be_read_has_no_title_and_is_still_found_by_name(places: Places) -> None:
    broken = places.own_drills / "broken.toml"
    broken.write_bytes(b"title = \xff")
    assert title_of(broken) == "" == title_of(places.own_drills / "missing.toml")
    assert places.find_set("broken") == broken
