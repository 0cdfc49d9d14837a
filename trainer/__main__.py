"""The command line: which command was asked for, and how it ends.

Exit codes: 0 done, 1 the answer is no, 2 used wrongly, 3 a file or port is unusable. Data goes to standard output,
narration and errors to standard error.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from trainer.commands import all_rows, practising
from trainer.commands.caring import complete
from trainer.commands.refusals import DONE, UNUSABLE, USED_WRONGLY, Ended, Refusal, ended_in_order
from trainer.commands.streams import abandon_output, prepare_streams


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code. No traceback reaches a user."""
    prepare_streams()
    parser = command_line()
    if "_ARGCOMPLETE" in os.environ:
        complete(parser)
    options = parser.parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = options.run
    try:
        with ended_in_order():
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
    except Ended as ended:
        return ended.code
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
        epilog="Without a command the screen opens on today's practice.  "
        "example: trainer drill 'shells' --input 'Digital Piano'",
    )
    parser.set_defaults(run=practising.open_screen, input=None, records=None, seed=None, set=None)
    parser.add_argument(
        "--plain", action="store_true", help="practise in lines, for screen readers and simple terminals"
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", parser_class=_Parser)

    for row in all_rows():
        added = commands.add_parser(
            row.name,
            help=row.words,
            description=row.words[0].upper() + row.words[1:] + ".",
            epilog=f"examples:\n{row.examples}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        added.set_defaults(run=row.run)
        row.add_arguments(added)
    return parser


if __name__ == "__main__":
    sys.exit(main())
