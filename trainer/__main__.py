"""The command line and the wiring: the one file directly in `trainer/` that touches the world.

Exit codes: 0 done, 1 the answer is no, 2 used wrongly, 3 a file or port is unusable. Data goes to standard output,
narration and errors to standard error. Nothing heavy is imported before the command that needs it.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

if TYPE_CHECKING:
    from trainer.progress import Attempt, RootFigures

DONE: Final = 0
NO: Final = 1
USED_WRONGLY: Final = 2
UNUSABLE: Final = 3


class Refusal(Exception):
    """What the command cannot do, as one line for the player, and the exit code that goes with it."""

    def __init__(self, message: str, code: int = UNUSABLE) -> None:
        super().__init__(message)
        self.code = code


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code. No traceback reaches a user."""
    parser = _parser()
    options = parser.parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = options.run
    try:
        code = command(options)
        sys.stdout.flush()
        return code
    except Refusal as refusal:
        print(f"trainer: {refusal}", file=sys.stderr)
        return refusal.code
    except BrokenPipeError:
        # The reader has gone (a pager closed, `head`): end quietly, and keep Python from complaining at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return 130


# -- spell


def _spell(options: argparse.Namespace) -> int:
    if options.chord == "-":
        for line in sys.stdin:
            symbol = line.rstrip("\r\n")
            _print_spelled(options, symbol, stream=True)
        return DONE
    _print_spelled(options, options.chord, stream=False)
    return DONE


def _print_spelled(options: argparse.Namespace, symbol: str, *, stream: bool) -> None:
    from trainer.chords import ChordError
    from trainer.voicings import VoicingError

    try:
        spelled, explanations = _spelled(options, symbol)
    except ChordError as error:
        if stream and options.json:
            print(json.dumps({"symbol": symbol, "error": str(error), "at": error.at}, ensure_ascii=False))
            return
        if stream:
            print(f"{symbol}: {error}")
            return
        raise Refusal(str(error), USED_WRONGLY) from None
    except VoicingError as error:
        if stream and options.json:
            print(json.dumps({"symbol": symbol, "error": str(error), "at": None}, ensure_ascii=False))
            return
        raise Refusal(str(error), USED_WRONGLY) from None
    if options.json:
        print(json.dumps(({"symbol": symbol} if stream else {}) | spelled, ensure_ascii=False))
        return
    print(f"{symbol}: " if stream else "", end="")
    for line in _spelled_lines(spelled):
        print(line)
    for line in explanations:
        print(f"  {line}")


def _spelled(options: argparse.Namespace, symbol: str) -> tuple[dict[str, Any], list[str]]:
    from trainer.chords import parse
    from trainer.pitch import key_name
    from trainer.voicings import alternatives, place, recipe

    chord = parse(symbol, german=options.german)
    if options.voicing is None:
        spelled: dict[str, Any] = {
            "chord": chord.symbol,
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
        raise Refusal(f"{chord.symbol} is no chord, so there is nothing to voice", USED_WRONGLY)
    chosen = recipe(options.voicing, chord.quality)
    explanations = []
    if options.why:
        for candidate, _, reason in alternatives(chosen, chord.root):
            explanations.append(f"{' '.join(key_name(key) for key in candidate.keys)}: {reason}")
    placed = place(chosen, chord.root)
    spelled = {
        "chord": chord.symbol,
        "voicing": chosen.name,
        "degrees": [degree.name for degree in chosen.degrees],
        "notes": [note.name for note in placed.notes],
        "keys": list(placed.keys),
        "optional": [degree.name for index, degree in enumerate(chosen.degrees) if index in chosen.optional],
    }
    if options.why:
        spelled["why"] = explanations
    return spelled, explanations


def _spelled_lines(spelled: dict[str, Any]) -> Iterator[str]:
    from trainer.pitch import Note, note_label, pretty
    from trainer.grading import pretty_symbol

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


# -- check


def _check(options: argparse.Namespace) -> int:
    faults: list[Any] = []
    for name in options.files:
        _, found = _read_set(Path(name))
        faults += found
        if not found and not options.json:
            print(f"{name}: no fault found")
    if options.json:
        print(json.dumps([_fault_object(fault) for fault in faults], ensure_ascii=False))
    else:
        for fault in faults:
            print(fault, file=sys.stderr)
    return UNUSABLE if faults else DONE


def _fault_object(fault: Any) -> dict[str, Any]:
    return {name: getattr(fault, name) for name in ("file", "line", "column", "field", "found", "expected", "message")}


def _read_set(path: Path) -> tuple[Any, tuple[Any, ...]]:
    from trainer import drills
    from trainer.storage import StorageError, read_text

    try:
        text = read_text(path)
    except StorageError as error:
        raise Refusal(str(error)) from None
    return drills.read(text, str(path))


def _load_set(name: str) -> Any:
    from trainer.storage import StorageError, find_set

    try:
        path = find_set(name)
    except StorageError as error:
        raise Refusal(str(error)) from None
    drill_set, faults = _read_set(path)
    if faults or drill_set is None:
        raise Refusal("\ntrainer: ".join(str(fault) for fault in faults))
    return drill_set


# -- the parser


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(USED_WRONGLY, f"trainer: {message}\ntrainer: see '{self.prog} --help'\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="trainer",
        description="Practise jazz-piano voicings by chord degree, in twelve keys, at a MIDI piano.",
        epilog="Without a command the practice screen opens.  example: trainer drill 'shells' --input 'Digital Piano'",
    )
    parser.set_defaults(run=_open_screen, input=None, records=None, seed=None, set=None)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", parser_class=_Parser)

    def command(
        name: str, run: Callable[[argparse.Namespace], int], words: str, example: str
    ) -> argparse.ArgumentParser:
        added = commands.add_parser(
            name,
            help=words,
            description=words[0].upper() + words[1:] + ".",
            epilog=f"examples:\n{example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        added.set_defaults(run=run)
        return added

    spell = command(
        "spell",
        _spell,
        "spell a chord, or a voicing of it, by degrees and notes",
        "  trainer spell Ebm7b5\n"
        "  trainer spell Cm7 --voicing 'rootless from the third'\n"
        "  trainer spell D7 --voicing 'b7 3 13' --why\n"
        "  trainer spell - --json < symbols.txt",
    )
    spell.add_argument("chord", help="a chord symbol, or - to read one a line from standard input")
    spell.add_argument("--voicing", metavar="NAME|DEGREES", help="a family's name, or degrees from the bottom up")
    spell.add_argument("--why", action="store_true", help="say why each octave was chosen or refused")
    spell.add_argument("--german", action="store_true", help="read H as B and B as B flat")
    spell.add_argument("--json", action="store_true", help="one JSON object a line")

    check = command(
        "check",
        _check,
        "look for every fault in drill sets",
        "  trainer check my-set.toml",
    )
    check.add_argument("files", nargs="+", metavar="FILE")
    check.add_argument("--json", action="store_true", help="the faults as a JSON list")
    return parser
