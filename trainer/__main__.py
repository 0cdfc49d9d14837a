"""The command line: which command was asked for, and how it ends.

Exit codes: 0 done, 1 the answer is no, 2 used wrongly, 3 a file or port is unusable. Data goes to standard output,
narration and errors to standard error.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from trainer.commands import leading, practising, sets, showing, spelling
from trainer.commands.refusals import DONE, UNUSABLE, USED_WRONGLY, Refusal
from trainer.commands.streams import abandon_output, prepare_streams


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code. No traceback reaches a user."""
    prepare_streams()
    parser = command_line()
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
        abandon_output()
        return DONE
    except OSError as error:
        abandon_output()
        place = "the output" if error.filename is None else f"{error.filename!r}"
        print(f"trainer: {place} cannot be used ({error.strerror}); give it another place", file=sys.stderr)
        return UNUSABLE
    except KeyboardInterrupt:
        return 130
    except Exception as error:  # noqa: BLE001  whatever it is, a player gets one line and a report, no traceback
        return _report(error)


def _report(error: Exception) -> int:
    """Tell a fault of the program itself in one line; where it happened in the code goes to the log."""
    from datetime import UTC, datetime

    from trainer.screens.app import write_crash_report
    from trainer.storage.files import StorageError
    from trainer.storage.places import Places

    try:
        log = Places.found().log
        write_crash_report(log, error, datetime.now(UTC))
        where = f" A report is in {log}."
    except StorageError:
        where = ""
    print(f"trainer: this is a fault of the program ({type(error).__name__}), not yours.{where}", file=sys.stderr)
    return UNUSABLE


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(USED_WRONGLY, f"trainer: {message}\ntrainer: see '{self.prog} --help'\n")


def command_line() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="trainer",
        description="Practise jazz-piano voicings by chord degree, in twelve keys, at a MIDI piano.",
        epilog="Without a command the practice screen opens.  example: trainer drill 'shells' --input 'Digital Piano'",
    )
    parser.set_defaults(run=practising.open_screen, input=None, records=None, seed=None, set=None)
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
        spelling.spell,
        "spell a chord, or a voicing of it, by degrees and notes",
        "  trainer spell Ebm7b5\n"
        "  trainer spell Cm7 --voicing 'rootless from the third'\n"
        "  trainer spell D7 --voicing 'b7 3 13' --why\n"
        "  trainer spell Cm7 --voicing 'drop 2 under 9'\n"
        "  trainer spell C7alt --all\n"
        "  trainer spell - --json < symbols.txt",
    )
    spell.add_argument("chord", help="a chord symbol, or - to read one a line from standard input")
    spell.add_argument("--voicing", metavar="NAME|DEGREES", help="a family's name, or degrees from the bottom up")
    spell.add_argument("--all", action="store_true", help="every voicing of the table that the chord has")
    spell.add_argument("--why", action="store_true", help="say why each octave was chosen or refused")
    spell.add_argument("--german", action="store_true", help="read H as B and B as B flat")
    spell.add_argument(
        "--style",
        choices=("house", "words", "signs"),
        default="house",
        help="how to write the chord",
    )
    spell.add_argument("--json", action="store_true", help="one JSON object a line")

    name = command(
        "name",
        spelling.name_keys,
        "name keys: as degrees of a chord, or as every chord they may be",
        "  trainer name Eb3 G3 Bb3 D4 --chord Cm7\n"
        "  trainer name 53 57 60 64 --after G7\n"
        "  trainer name F3 A3 C4 E4 --bass D2 --json",
    )
    name.add_argument("keys", nargs="+", metavar="KEY", help="a key by name with octave (C4 is middle C) or by number")
    name.add_argument("--chord", metavar="SYMBOL", help="the chord they are meant for")
    name.add_argument("--after", metavar="SYMBOL", help="the chord before")
    name.add_argument("--bass", metavar="KEY", help="a note that sounds below")
    name.add_argument("--json", action="store_true", help="one JSON object a line")

    drill = command(
        "drill",
        practising.drill,
        "drill one set",
        "  trainer drill 'guide tones'\n"
        "  trainer drill my-set.toml --input 'Digital Piano'\n"
        "  trainer drill my-set.toml --input take.mid --headless --json\n"
        "  trainer drill 07-minor-sevenths-from-the-third --input script --headless --seed 3",
    )
    drill.add_argument("set", metavar="SET", help="a file, or a shipped set or one of your own by part of its name")
    drill.add_argument(
        "--input",
        metavar="PORT|FILE.mid|computer|script",
        help="a MIDI port by part of its name, a Standard MIDI File, the computer keyboard, or the scripted player",
    )
    drill.add_argument("--headless", action="store_true", help="without the screen: one line an event")
    drill.add_argument("--json", action="store_true", help="with --headless: one JSON object a line for each attempt")
    drill.add_argument("--seed", type=int, metavar="N", help="makes random orders and the scripted player repeatable")
    drill.add_argument("--records", metavar="FILE", help="keep the record in this file")

    lead = command(
        "lead",
        leading.lead,
        "find the voicings of a chart that move least",
        "  trainer lead ii-V-I --key Bb\n"
        "  trainer lead 'jazz blues' --all-keys --loop\n"
        "  trainer lead my-tune.chart --voicing 'drop 2' --why --json",
    )
    lead.add_argument("chart", metavar="CHART", help="a chart file, or a progression or form by name")
    lead.add_argument("--key", metavar="NOTE", help="the key to play it in")
    lead.add_argument("--all-keys", action="store_true", help="in all twelve keys, in the cycle of fourths")
    lead.add_argument("--voicing", action="append", metavar="NAME|DEGREES", help="choose from these; may come again")
    lead.add_argument("--loop", action="store_true", help="the last chord leads into the first")
    lead.add_argument("--without-melody", action="store_true", help="leave the melody of the chart aside")
    lead.add_argument("--why", action="store_true", help="say what each other voicing would cost, and what was refused")
    lead.add_argument("--json", action="store_true", help="one JSON object for each key")

    ports = command("ports", showing.ports, "list the MIDI ports", "  trainer ports\n  trainer ports --json")
    ports.add_argument("--json", action="store_true", help="one JSON object")

    progress = command(
        "progress",
        showing.progress,
        "show accuracy and response time by root",
        "  trainer progress\n  trainer progress --set 'minor sevenths' --json",
    )
    progress.add_argument("--set", metavar="TITLE", help="only attempts of sets with this in their title")
    progress.add_argument("--records", metavar="FILE", help="read the record from this file")
    progress.add_argument("--json", action="store_true", help="one JSON object for each root")

    check = command(
        "check",
        sets.check,
        "look for every fault in drill sets",
        "  trainer check my-set.toml",
    )
    check.add_argument("files", nargs="+", metavar="FILE")
    check.add_argument("--json", action="store_true", help="the faults as a JSON list")
    return parser


if __name__ == "__main__":
    sys.exit(main())
