"""Questions about chords: spell one, or a voicing of it; name the keys of one."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any, Final

from trainer.commands.refusals import DONE, NO, USED_WRONGLY, Refusal
from trainer.commands.rows import CommandRow
from trainer.commands.streams import input_lines, json_line

if TYPE_CHECKING:
    from trainer.chords import Quality
    from trainer.naming import Reading
    from trainer.pitch import MidiNote, Note
    from trainer.voicings import Placement, Recipe


def spell(options: argparse.Namespace) -> int:
    if options.all:
        return _print_voicings(options)
    if options.chord == "-":
        for symbol in input_lines():
            _print_spelled(options, symbol, stream=True)
        return DONE
    _print_spelled(options, options.chord, stream=False)
    return DONE


def _print_voicings(options: argparse.Namespace) -> int:
    """Every voicing of the table that a chord has: name, degrees, and notes where it has a root."""
    from trainer.chords import ChordError, parse
    from trainer.pitch import pretty
    from trainer.voicings import recipes_for

    try:
        chord = parse(options.chord, german=options.german)
    except ChordError as error:
        raise Refusal(str(error), USED_WRONGLY) from None
    if chord.root is None:
        raise Refusal(f"{chord.symbol} is no chord, so there is nothing to voice", USED_WRONGLY)
    for each in recipes_for(chord.quality):
        degrees = [degree.name for degree in each.degrees]
        notes = [(chord.root + degree).name for degree in each.degrees]
        if options.json:
            print(json_line({"voicing": each.name, "hand": each.hand, "degrees": degrees, "notes": notes}))
        else:
            print(f"{each.name:<52} {' '.join(map(pretty, degrees)):<22} {' '.join(map(pretty, notes))}")
    return DONE


def name_keys(options: argparse.Namespace) -> int:
    """Name keys as degrees of a chord, or as every chord they may be."""
    from trainer.chords import ChordError, parse
    from trainer.naming import NamingError, name, readings
    from trainer.pitch import PitchError, parse_key

    try:
        keys = [parse_key(text) for text in options.keys]
        bass = parse_key(options.bass) if options.bass else None
        if options.chord is not None:
            naming = name(keys, parse(options.chord))
            if options.json:
                print(json_line(asdict(naming)))
            else:
                print(naming.sentence)
                print(f"\nAs a row of a drill set:\n{naming.drill}")
            return DONE
        previous = parse(options.after) if options.after else None
        found = readings(keys, previous, bass)
    except (ChordError, NamingError, PitchError) as error:
        raise Refusal(str(error), USED_WRONGLY) from None
    if not found:
        print("trainer: these keys are no chord that has a name here", file=sys.stderr)
        return NO
    for reading in found:
        if options.json:
            values = {field: value for field, value in vars_of(reading).items() if field != "chord"}
            print(json_line(values))
        else:
            print(reading.sentence)
    return DONE


def vars_of(reading: Reading) -> dict[str, Any]:
    """The fields of a reading by name."""
    return {field.name: getattr(reading, field.name) for field in fields(reading)}


def _print_spelled(options: argparse.Namespace, symbol: str, *, stream: bool) -> None:
    from trainer.chords import ChordError
    from trainer.voicings import VoicingError

    try:
        spelled, explanations = _spelled(options, symbol)
    except (ChordError, VoicingError) as error:
        if not stream:
            raise Refusal(str(error), USED_WRONGLY) from None
        if options.json:
            at = error.at if isinstance(error, ChordError) else None
            print(json_line({"symbol": symbol, "error": str(error), "at": at}))
        else:
            print(f"{symbol}: {error}")
        return
    if options.json:
        print(json_line(({"symbol": symbol} if stream else {}) | spelled))
        return
    print(f"{symbol}: " if stream else "", end="")
    for line in _spelled_lines(spelled):
        print(line)
    for line in explanations:
        print(f"  {line}")


def _spelled(options: argparse.Namespace, symbol: str) -> tuple[dict[str, Any], list[str]]:
    from trainer.chords import parse
    from trainer.voicings import VoicingError, place, recipe

    chord = parse(symbol, german=options.german)
    if options.voicing is None:
        spelled: dict[str, Any] = {
            "chord": chord.write(options.style),
            "degrees": [degree.name for degree in chord.quality.degrees] if chord.root is not None else [],
            "notes": [note.name for note in chord.notes],
            "optional": [degree.name for degree in chord.quality.degrees if degree in chord.quality.optional],
            "bass": chord.bass.name if chord.bass is not None else None,
        }
        reading = getattr(chord, "reading", None)
        if reading:
            spelled["reading"] = reading
        return spelled, []
    if chord.root is None:
        raise VoicingError(f"{chord.symbol} is no chord, so there is nothing to voice")
    chosen = recipe(options.voicing, chord.quality)
    placed = place(chosen, chord.root)
    explanations = list(_why(chosen, chord.quality, placed)) if options.why else []
    spelled = {
        "chord": chord.write(options.style),
        "voicing": chosen.name,
        "degrees": [degree.name for degree in chosen.degrees],
        "notes": [note.name for note in placed.notes],
        "keys": list(placed.keys),
        "optional": [degree.name for index, degree in enumerate(chosen.degrees) if index in chosen.optional],
    }
    if options.why:
        spelled["why"] = explanations
    return spelled, explanations


def _why(chosen: Recipe, quality: Quality, placed: Placement) -> Iterator[str]:
    """Why the octave was chosen, and the ones next to it were not; and where the other form would lie."""
    from trainer.pitch import pretty, spelled_key
    from trainer.voicings import VoicingError, alternatives, place, recipe

    def shown(notes: Sequence[Note], keys: Sequence[MidiNote]) -> str:
        return " ".join(pretty(spelled_key(note, key)) for note, key in zip(notes, keys, strict=True))

    for candidate, _, reason in alternatives(chosen, placed.root):
        if abs(candidate.keys[0] - placed.keys[0]) <= 12:
            yield f"{shown(candidate.notes, candidate.keys)}: {reason}"
    if chosen.other is not None:
        try:
            other = place(recipe(chosen.other, quality), placed.root)
        except VoicingError:
            return
        yield f"{shown(other.notes, other.keys)}: where its other form lies, {chosen.other}."


def _spelled_lines(spelled: dict[str, Any]) -> Iterator[str]:
    from trainer.grading import pretty_symbol
    from trainer.pitch import Note, note_label, pretty

    title = pretty_symbol(spelled["chord"])
    yield f"{title}, {spelled['voicing']}" if "voicing" in spelled else title
    keys = spelled.get("keys")
    for index in reversed(range(len(spelled["degrees"]))):
        degree = spelled["degrees"][index]
        note = note_label(Note.parse(spelled["notes"][index]))
        optional = "  may be left out" if degree in spelled["optional"] else ""
        key = f"  key {keys[index]}" if keys else ""
        yield f"  {pretty(degree):>4}  {note:<9}{key}{optional}".rstrip()
    if spelled.get("bass"):
        yield f"  bass  {note_label(Note.parse(spelled['bass']))}"
    if spelled.get("reading"):
        yield f"  {spelled['reading']}"


def _spell_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chord", help="a chord symbol, or - to read one a line from standard input")
    parser.add_argument("--voicing", metavar="NAME|DEGREES", help="a family's name, or degrees from the bottom up")
    parser.add_argument("--all", action="store_true", help="every voicing of the table that the chord has")
    parser.add_argument("--why", action="store_true", help="say why each octave was chosen or refused")
    parser.add_argument("--german", action="store_true", help="read H as B and B as B flat")
    parser.add_argument(
        "--style",
        choices=("house", "words", "signs"),
        default="house",
        help="how to write the chord",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def _name_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "keys", nargs="+", metavar="KEY", help="a key by name with octave (C4 is middle C) or by number"
    )
    parser.add_argument("--chord", metavar="SYMBOL", help="the chord they are meant for")
    parser.add_argument("--after", metavar="SYMBOL", help="the chord before")
    parser.add_argument("--bass", metavar="KEY", help="a note that sounds below")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


COMMANDS: Final = (
    CommandRow(
        "spell",
        spell,
        "spell a chord, or a voicing of it, by degrees and notes",
        "  trainer spell Ebm7b5\n"
        "  trainer spell Cm7 --voicing 'rootless from the third'\n"
        "  trainer spell D7 --voicing 'b7 3 13' --why\n"
        "  trainer spell Cm7 --voicing 'drop 2 under 9'\n"
        "  trainer spell C7alt --all\n"
        "  trainer spell - --json < symbols.txt",
        _spell_arguments,
    ),
    CommandRow(
        "name",
        name_keys,
        "name keys: as degrees of a chord, or as every chord they may be",
        "  trainer name Eb3 G3 Bb3 D4 --chord Cm7\n"
        "  trainer name 53 57 60 64 --after G7\n"
        "  trainer name F3 A3 C4 E4 --bass D2 --json",
        _name_arguments,
    ),
)
