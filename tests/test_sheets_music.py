"""Sheets as MusicXML: what is written is what is to be played, for people and for other programs.

From outside: the schema of MusicXML 4.0 (see `conftest.schema`), music21 as an independent reader, and notes by hand.
Musical facts without a name beside them are common practice, no source.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import music21
import pytest
from lxml import etree

from trainer.charts import FORMS, Key, read_chart
from trainer.drills import DrillSet, Lesson, lesson_of, read, read_lesson, targets_of
from trainer.pitch import TWELVE_ROOTS, MidiNote, Note, spelled_key
from trainer.sheets.beams import beams
from trainer.sheets.from_lessons import of_lessons
from trainer.sheets.from_sets import Choices, ClefWish, of_set
from trainer.sheets.musicxml import engraver_text, musicxml
from trainer.sheets.scores import Bar, Block, Sheet, Sound, accidentals, fitting_clef

DRILLS = Path(__file__).parents[1] / "drills"
SETS = sorted(DRILLS.glob("[0-9]*.toml"))
LESSONS = sorted(DRILLS.glob("*.lesson.toml"))
CHARTS = [DRILLS / "demo-the-kettle-takes-its-time.chart", *sorted((Path(__file__).parent / "scores").glob("*.chart"))]


def _set(text: str) -> DrillSet:
    drill_set, faults = read(text, "set.toml")
    assert faults == () and drill_set is not None
    return drill_set


def _drill(chord: str, voicing: str, more: str = "") -> DrillSet:
    return _set(f'title = "A set"\n[[drill]]\nchord = "{chord}"\nvoicing = "{voicing}"\n{more}\n')


def _lesson(path: Path) -> Lesson:
    lesson, faults = read_lesson(path.read_text("utf-8"), path.name, lambda name: (DRILLS / name).read_text("utf-8"))
    assert faults == () and lesson is not None
    return lesson


def _chart(text: str) -> Sheet:
    return of_lessons([lesson_of(read_chart(text))])


def _check(schema: etree.XMLSchema, text: str) -> None:
    schema.assertValid(etree.fromstring(text.encode(), etree.XMLParser(load_dtd=False, no_network=True)))


def _written(element: ElementTree.Element) -> str:
    """A note as it is spelled, with its octave: ``Cb4``."""
    alter = int(element.findtext("pitch/alter") or "0")
    return f"{element.findtext('pitch/step')}{'#' * alter}{'b' * -alter}{element.findtext('pitch/octave')}"


def _first_bar(text: str) -> list[str]:
    measure = ElementTree.fromstring(text).find("part/measure")
    assert measure is not None
    return [_written(note) for note in measure.findall("note") if note.find("pitch") is not None]


# -- notes by hand


@pytest.mark.parametrize(
    ("chord", "voicing", "root", "notes"),
    [
        # trade.md, "Check facts"; the octaves by the set's register, counted by hand: D3 is the lowest bottom note.
        ("7", "b7 3 13", "D", ["C4", "F#4", "B4"]),
        ("7", "b7 3 5 (9)", "Eb", ["Db4", "G4", "Bb4", "F5"]),
        ("m7", "rootless from the third", "A", ["C4", "E4", "G4", "B4"]),
        # The b7 of Db is Cb, the key B: its octave is that of the letter C.
        ("7", "1 b7", "Db", ["Db3", "Cb4"]),
        ("dim7", "1 b3 b5 bb7", "Eb", ["Eb3", "Gb3", "Bbb3", "Dbb4"]),
        ("7(#9)", "3 b7 #9", "B", ["D#3", "A3", "C##4"]),
    ],
)
def test_a_voicing_is_written_as_it_is_spelled(chord: str, voicing: str, root: str, notes: list[str]) -> None:
    sheet = of_set(_drill(chord, voicing), root=Note.parse(root))
    assert _first_bar(musicxml(sheet)) == notes


def test_a_note_of_three_sharps_is_written_as_the_plainer_one() -> None:
    # The sharp ninth of E#7 would be F with three sharps: the key G sharp.
    sheet = of_set(_drill("7(#9)", "3 b7 #9", 'roots = ["E#"]'))
    assert _first_bar(musicxml(sheet)) == ["G##3", "D#4", "G#4"]


def test_every_altered_note_has_what_sounds_and_what_is_printed() -> None:
    text = musicxml(of_set(_drill("dim7", "1 b3 b5 bb7"), root=Note.parse("Eb")))
    notes = ElementTree.fromstring(text).findall("part/measure/note")
    assert [note.findtext("pitch/alter") for note in notes] == ["-1", "-1", "-2", "-2"]
    assert [note.findtext("accidental") for note in notes] == ["flat", "flat", "flat-flat", "flat-flat"]


def test_degrees_are_lyric_lines_the_top_notes_first() -> None:
    text = musicxml(of_set(_drill("7", "b7 3 5 (9)"), root=Note.parse("Eb")))
    lyrics = ElementTree.fromstring(text).findall("part/measure/note/lyric")
    assert [(lyric.get("number"), lyric.findtext("text")) for lyric in lyrics] == [
        ("1", "(9)"),
        ("2", "5"),
        ("3", "3"),
        ("4", "♭7"),
    ]
    bare = musicxml(of_set(_drill("7", "b7 3 5 (9)"), Choices(degrees=False)))
    assert "lyric" not in bare


def test_fingers_stand_at_each_note_for_other_programs_and_in_one_row_on_the_page() -> None:
    sheet = of_set(_drill("m7", "b3 5 b7 9", "fingers = [5, 3, 2, 1]"), root=Note.parse("C"))
    notes = ElementTree.fromstring(musicxml(sheet)).findall("part/measure/note")
    assert [note.findtext("notations/technical/fingering") for note in notes] == ["5", "3", "2", "1"]
    rows = ElementTree.fromstring(engraver_text(sheet.blocks[0])).findall("part/measure/note/lyric")
    assert [row.findtext("text") for row in rows][4:] == ["5\u20053\u20052\u20051"]


# -- clefs and hands


def test_two_hands_stand_on_two_staves_split_as_the_voicing_says() -> None:
    text = musicxml(of_set(_drill("m7", "1 b7 | b3 5 9"), root=Note.parse("C")))
    notes = ElementTree.fromstring(text).findall("part/measure/note")
    assert [(note.findtext("staff"), _written(note)) for note in notes] == [
        ("1", "Eb4"), ("1", "G4"), ("1", "D5"), ("2", "C3"), ("2", "Bb3"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("chord", "voicing", "wish", "signs"),
    [
        ("m7", "1 b7", "auto", ["F"]),
        ("m7", "four-way close, root position", "auto", ["G"]),
        ("m7", "1 b7 | b3 5 9", "auto", ["G", "F"]),
        ("m7", "1 b7", "grand", ["G", "F"]),
        ("m7", "1 b7 | b3 5 9", "bass", ["F"]),
        ("m7", "1 b7", "treble", ["G"]),
    ],
)
def test_the_clef_is_the_fitting_one_or_the_one_asked_for(
    chord: str, voicing: str, wish: ClefWish, signs: list[str]
) -> None:
    text = musicxml(of_set(_drill(chord, voicing), Choices(clef=wish)))
    assert [sign.text for sign in ElementTree.fromstring(text).findall("part/measure/attributes/clef/sign")] == signs


def test_a_right_hand_on_the_grand_staff_is_on_the_upper_one() -> None:
    text = musicxml(of_set(_drill("m7", "four-way close, root position"), Choices(clef="grand")))
    notes = [note for note in ElementTree.fromstring(text).findall("part/measure/note") if note.find("pitch")]
    assert {note.findtext("staff") for note in notes} == {"1"}


def test_fewest_ledger_lines_decide() -> None:
    low = Sound(Fraction(0), Fraction(4), (Note.parse("G"), Note.parse("D")), (MidiNote(43), MidiNote(50)))
    high = Sound(Fraction(0), Fraction(4), (Note.parse("G"), Note.parse("D")), (MidiNote(67), MidiNote(74)))
    assert (fitting_clef([low]), fitting_clef([high]), fitting_clef([])) == ("bass", "treble", "treble")


# -- accidentals


def _bar(*notes: str, tied: bool = False) -> Bar:
    from trainer.pitch import parse_key

    quarters = Fraction(4, len(notes))
    return Bar(
        (
            tuple(
                Sound(quarters * at, quarters, (Note.parse(name[:-1]),), (parse_key(name),), tied=tied and not at)
                for at, name in enumerate(notes)
            ),
        )
    )


def _shown(bars: list[Bar], key: str | None = None) -> list[list[str]]:
    found = accidentals(bars, None if key is None else Key.parse(key))
    return [
        [signs.get((0, index, 0), "") for index in range(len(bar.staves[0]))]
        for signs, bar in zip(found, bars, strict=True)
    ]


def test_an_accidental_holds_for_its_line_to_the_end_of_the_bar() -> None:
    assert _shown([_bar("F#4", "F#4", "F4", "F4")]) == [["plain", "", "plain", ""]]


def test_a_key_signature_needs_no_accidental() -> None:
    assert _shown([_bar("Bb3", "Eb4", "B3", "Bb3")], "Bb") == [["", "", "plain", "plain"]]
    assert _shown([_bar("F#4", "F4")], "Em") == [["", "plain"]]


def test_the_next_bar_reminds_once_of_what_no_longer_holds() -> None:
    bars = [_bar("F#4", "G4"), _bar("F4", "F4"), _bar("F4", "G4")]
    assert _shown(bars) == [["plain", ""], ["courtesy", ""], ["", ""]]


def test_another_octave_in_the_same_bar_shows_its_own() -> None:
    assert _shown([_bar("F#4", "F5")]) == [["plain", "plain"]]
    assert _shown([_bar("F5", "F#4")]) == [["", "plain"]]


def test_a_note_held_over_the_bar_line_repeats_nothing_but_the_next_one_does() -> None:
    assert _shown([_bar("F#4"), _bar("F#4", "F#4", tied=True)]) == [["plain"], ["", "plain"]]


# -- charts


def test_a_lead_sheet_has_key_time_symbols_and_melody() -> None:
    text = musicxml(_chart("title: T\nkey: Eb\ntime: 3/4\n\n  | Fm7 | Bb7 Eb6 / |\n~ | F4 _ G4 | A4 Bb4 . |\n"))
    root = ElementTree.fromstring(text)
    attributes = root.find("part/measure/attributes")
    assert attributes is not None
    assert (attributes.findtext("key/fifths"), attributes.findtext("time/beats")) == ("-3", "3")
    assert [kind.get("text") for kind in root.findall("part[@id='P1']/measure/harmony/kind")] == ["m7", "7", "6"]
    sung = root.findall("part[@id='P1']/measure/note")
    assert [(_written(note), note.findtext("type")) for note in sung if note.find("pitch")] == [
        ("F4", "half"), ("G4", "quarter"), ("A4", "quarter"), ("Bb4", "quarter"),
    ]  # fmt: skip
    assert [note.findtext("accidental") for note in sung] == [None, None, "natural", None, None]


def test_three_in_the_time_of_two_is_a_tuplet_and_short_notes_are_beamed() -> None:
    text = musicxml(_chart("key: C\n\n  | C7 |\n~ | C5 D5 E5 C5 _ _ G4 _ _ C5 _ _ |\n"))
    notes = ElementTree.fromstring(text).findall("part[@id='P1']/measure/note")[:3]
    assert [note.findtext("time-modification/actual-notes") for note in notes] == ["3", "3", "3"]
    assert [note.findtext("beam") for note in notes] == ["begin", "continue", "end"]


def test_a_rest_parts_beams() -> None:
    from trainer.charts import Meter
    from trainer.charts.note_values import pieces_of

    eighth = Fraction(1, 2)
    pieces = pieces_of([(eighth * at, eighth * (at + 1)) for at in range(4)], Fraction(2))
    assert beams(pieces, [True] * 4, Meter(2, 4)) == [("begin",), ("end",), ("begin",), ("end",)]
    assert beams(pieces, [True, False, True, True], Meter(2, 4)) == [(), (), ("begin",), ("end",)]


def test_repeats_are_printed_where_each_pass_is_played_alike() -> None:
    text = musicxml(_chart("key: C\n\n| Dm7 |: G7 | Cmaj7 :|\n"))
    root = ElementTree.fromstring(text)
    assert [repeat.get("direction") for repeat in root.iter("repeat")] == ["forward", "backward"]
    assert len(root.findall("part/measure")) == 3


def test_a_form_line_is_written_out_as_it_is_played() -> None:
    text = musicxml(_chart("key: C\nform: A B A\n\n[A] | Dm7 | G7 |\n[B] | Cmaj7 | C6 |\n"))
    root = ElementTree.fromstring(text)
    assert [mark.text for mark in root.iter("rehearsal")] == ["A", "B", "A"]
    assert len(root.findall("part/measure")) == 6


def test_a_chord_under_the_melody_leaves_the_melody_its_note() -> None:
    lesson, faults = read_lesson(
        'title = "T"\nchart = """\nkey: C\n\n  | Cmaj7 |\n~ | B4 |\n"""\n'
        '[[rule]]\nvoicing = "four-way close"\ntop = "melody"\nlowest = "C3"\n',
        "a.toml",
    )
    assert faults == () and lesson is not None
    root = ElementTree.fromstring(musicxml(of_lessons([lesson])))
    played = [_written(note) for note in root.findall("part[@id='P2']/measure/note")]
    assert played == ["C4", "E4", "G4"]


def test_in_twelve_keys_there_are_twelve_blocks_with_their_signatures() -> None:
    sheet = of_lessons(lesson_of(read_chart("title: T\nkey: C\n\n| Dm7 | G7 | Cmaj7 |\n")).in_twelve_keys())
    assert [block.heading for block in sheet.blocks][:3] == ["In C major", "In F major", "In B♭ major"]
    fifths = [each.text for each in ElementTree.fromstring(musicxml(sheet)).iter("fifths")]
    # The cycle of fourths under the trade's names: B and its sharps follow Gb.
    assert fifths == ["0", "-1", "-2", "-3", "-4", "-5", "-6", "5", "4", "3", "2", "1"]


# -- for other programs


def _sounding(part: music21.stream.Part) -> list[tuple[int, ...]]:
    """The keys of each chord or note that is struck, in order of time."""
    found = []
    for element in part.recurse().notes:
        if isinstance(element, music21.harmony.Harmony):
            continue
        tied = element.tie is not None and element.tie.type in ("stop", "continue")
        if not tied:
            found.append(tuple(sorted(pitch.midi for pitch in element.pitches)))
    return found


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
def test_every_set_on_twelve_roots_is_valid_and_music21_reads_the_same_notes(
    path: Path, schema: etree.XMLSchema
) -> None:
    drill_set = _set(path.read_text("utf-8"))
    text = musicxml(of_set(drill_set, all_roots=True))
    _check(schema, text)
    expected = [
        sorted(map(spelled_key, target.notes, target.keys))
        for drill in drill_set.drills
        for root in TWELVE_ROOTS
        for target in targets_of(drill, root)
    ]
    score = music21.converter.parseData(text, format="musicxml")
    by_number: dict[int, list[str]] = {}
    for part in score.parts:
        for measure in part.getElementsByClass(music21.stream.Measure):
            names = [_name(pitch) for each in _struck(measure) for pitch in each.pitches]
            by_number.setdefault(measure.number, []).extend(names)
    assert [sorted(by_number[number]) for number in sorted(by_number)] == expected


def _name(pitch: music21.pitch.Pitch) -> str:
    """``Bb3``; music21 writes a flat as a minus sign."""
    return pitch.nameWithOctave.replace("-", "b")


def _struck(measure: music21.stream.Measure) -> list[music21.note.NotRest]:
    return [each for each in measure.recurse().notes if not isinstance(each, music21.harmony.Harmony)]


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
def test_a_set_as_it_is_drilled_is_valid(path: Path, schema: etree.XMLSchema) -> None:
    drill_set = _set(path.read_text("utf-8"))
    for wish in ("auto", "treble", "bass", "grand"):
        _check(schema, musicxml(of_set(drill_set, Choices(clef=wish))))


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_a_lesson_is_valid_and_music21_hears_its_chords_when_they_are_due(path: Path, schema: etree.XMLSchema) -> None:
    lesson = _lesson(path)
    text = musicxml(of_lessons([lesson]))
    _check(schema, text)
    score = music21.converter.parseData(text, format="musicxml")
    beats = sum(played.beats for played in lesson.chart.played)
    heard: dict[Fraction, set[int]] = {}
    for part in score.parts:
        if part.partName == "Melody":
            continue
        for each in part.recurse().notes:
            if isinstance(each, music21.harmony.Harmony) or each.tie is not None and each.tie.type != "start":
                continue
            at = Fraction(each.getOffsetInHierarchy(score)).limit_denominator(64)
            heard.setdefault(at, set()).update(pitch.midi for pitch in each.pitches)
    due: dict[Fraction, set[int]] = {}
    for slot in lesson.slots():
        due.setdefault(slot.start_beats - lesson.start_beats, set()).update(slot.target.keys)
    assert heard == due
    assert score.duration.quarterLength == beats


@pytest.mark.parametrize("path", CHARTS, ids=lambda path: path.stem)
def test_a_chart_is_valid_in_a_far_key_and_music21_sings_its_melody(path: Path, schema: etree.XMLSchema) -> None:
    chart = read_chart(path.read_text("utf-8"))
    lesson = lesson_of(chart).in_key(Note.parse("Db"))
    text = musicxml(of_lessons([lesson]))
    _check(schema, text)
    sung = [
        note.key for played in lesson.chart.played for note in lesson.chart.bars[played.written].melody if not note.tied
    ]
    if sung and "<repeat" not in text:
        score = music21.converter.parseData(text, format="musicxml")
        assert _sounding(score.parts[0]) == [(key,) for key in sung]


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row.name)
def test_every_form_in_every_key_is_valid(row: object, schema: etree.XMLSchema) -> None:
    from trainer.charts import form_chart

    lessons = lesson_of(form_chart(row.name)).in_twelve_keys()  # type: ignore[attr-defined]
    _check(schema, musicxml(of_lessons(lessons)))


# -- texts from outside


@pytest.mark.parametrize(
    "title", ['<b>& "C7[b9]"</b>', "]]>&#x41;", "\u202eevil\x00\x1b[31m", "\ud800", "a" * 5000, "\n\n", "\ufffe"]
)
def test_a_title_of_any_kind_is_harmless_and_valid(title: str, schema: etree.XMLSchema) -> None:
    block = of_set(_drill("m7", "b3 5 b7 9")).blocks[0]
    hostile = Block(title, block.clefs, block.bars[:1], title)
    text = musicxml(Sheet(title, (hostile,)))
    _check(schema, text)
    written = ElementTree.fromstring(text).findtext("work/work-title") or ""
    assert len(written) <= 1200 and (written.isprintable() or not written)


def test_the_same_sheet_gives_the_same_text() -> None:
    texts = {musicxml(of_set(_set(SETS[15].read_text("utf-8")))) for _ in "ab"}
    assert len(texts) == 1
