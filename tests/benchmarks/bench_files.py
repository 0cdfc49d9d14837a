"""Files broken on purpose, for every reader but MusicXML's: `python tests/benchmarks/bench_files.py [--quick]`.

Real files of each kind have bytes changed, cut, repeated and replaced, by chance that can be repeated. Prints for each
reader how many were read, how many refused as documented, how many ended in anything else (which must be 0), the
longest time and the highest memory. Checks nothing. Lead sheets in MusicXML: `bench_scores.py`.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from random import Random
from time import perf_counter

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from test_inputs_files import plain_takes  # noqa: E402
from test_results import PLAYED, assignment  # noqa: E402
from test_storage_exchange import fill  # noqa: E402

from trainer.charts import ChartError, read_chart  # noqa: E402
from trainer.drills import read  # noqa: E402
from trainer.drills.assignments import read_assignment, write_assignment  # noqa: E402
from trainer.drills.lesson_reading import read_lesson  # noqa: E402
from trainer.inputs.files import read_events  # noqa: E402
from trainer.inputs.source import InputError  # noqa: E402
from trainer.results import ResultsError, read_results, write_results  # noqa: E402
from trainer.storage.exchange import entries_of, lines_of, take_in, write_file  # noqa: E402
from trainer.storage.files import StorageError  # noqa: E402
from trainer.storage.records import Records  # noqa: E402
from trainer.storage.settings import read_settings  # noqa: E402

TOKENS = (
    *(b"\0", b"\xff", b"\x1b[2J", b"[", b"[" * 3_000, b"{" * 500, b'"', b'"""', b"'", b"=", b"\n", b"\r", b"#", b"-1"),
    *(b"1e999", b"nan", b"9" * 400, b"0x", b"x" * 20_000, b"[bold]", "\u202e".encode(), "\u2066".encode()),
    *(b"true", b"7alt", b"| % |", b"\xff\x51\x03\0\0\0", b"\x8f\xff\xff\x7f", b"\xf0", b"MTrk"),
)
SETTINGS = b'theme = "dark"\nport = "Piano"\nlast_set = "shells"\nkeyboard_shown = true\n'


def mutated(chance: Random, seeds: list[bytes]) -> bytes:
    data = bytearray(chance.choice(seeds))
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(data) + 1)
        other = min(len(data), at + chance.choice((1, 8, 300)))
        match chance.randrange(6):
            case 0:
                del data[at:other]
            case 1:
                data[at:at] = chance.choice(TOKENS)
            case 2:
                data[at:at] = data[at:other]
            case 3 if at < len(data):
                data[at] = chance.randrange(256)
            case 4 if chance.random() < 0.3:
                del data[at:]
            case _:
                data[at:other] = chance.choice(TOKENS)
    return bytes(data)


def exported() -> bytes:
    """A record written out: every kind of line."""
    with tempfile.TemporaryDirectory() as folder, Records.open(":memory:") as records:
        fill(records, 3)
        write_file(Path(folder) / "record.jsonl", lines_of(entries_of(records), "2026-04-01T08:00:00.000Z"))
        return (Path(folder) / "record.jsonl").read_bytes()


def taken_in(path: Path) -> bool:
    with Records.open(":memory:") as records:
        try:
            take_in(records, path)
        except StorageError:
            assert list(entries_of(records)) == []
            return False
    return True


def text_of(data: bytes) -> str:
    return data.decode("utf-8", "replace")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="200 cases a reader, not 2,000")
    count = 200 if parser.parse_args().quick else 2_000
    drills = ROOT / "drills"
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "file"

        def from_file(reader: Callable[[Path], object], data: bytes) -> object:
            file.write_bytes(data)
            return reader(file)

        def chart_beside(name: str) -> str:
            return (drills / Path(name).name).read_text(encoding="utf-8")

        readers: dict[str, tuple[Callable[[bytes], object], list[bytes]]] = {
            "sets": (
                lambda data: read(text_of(data), "s.toml")[0],
                [path.read_bytes() for path in sorted(drills.glob("[0-9]*.toml"))],
            ),
            "lessons": (
                lambda data: read_lesson(text_of(data), "l.toml")[0],
                [path.read_bytes() for path in sorted(drills.glob("*.lesson.toml"))],
            ),
            "charts": (
                lambda data: read_chart(text_of(data)),
                [
                    path.read_bytes()
                    for path in sorted([*drills.glob("*.chart"), *(ROOT / "tests/scores").glob("*.chart")])
                ],
            ),
            "assignments": (
                lambda data: read_assignment(text_of(data), "a.toml")[0],
                [write_assignment(assignment()).encode()],
            ),
            "results": (
                lambda data: read_results(text_of(data)),
                [write_results(assignment(), "Ada", PLAYED).encode()],
            ),
            "settings": (lambda data: not from_file(read_settings, data)[1], [SETTINGS]),  # type: ignore[index]
            "exports": (lambda data: from_file(taken_in, data), [exported()]),
            "MIDI files": (lambda data: from_file(read_events, data), plain_takes()),
        }
        print(f"{'reader':14} {'cases':>7} {'read':>7} {'refused':>8} {'other':>6} {'slowest ms':>11} {'most MB':>8}")
        tracemalloc.start()
        for reader, (work, seeds) in readers.items():
            chance, good, refused, slowest, peak = Random(7), 0, 0, 0.0, 0
            others: dict[str, int] = {}
            for _ in range(count):
                data = mutated(chance, seeds)
                tracemalloc.reset_peak()
                before, started = tracemalloc.get_traced_memory()[0], perf_counter()
                try:
                    found = work(data)
                    refused, good = refused + (found in (None, False)), good + (found not in (None, False))
                except (ChartError, InputError, ResultsError):
                    refused += 1
                except Exception as error:  # noqa: BLE001  counted, whatever it is
                    others[type(error).__name__] = others.get(type(error).__name__, 0) + 1
                slowest = max(slowest, perf_counter() - started)
                peak = max(peak, tracemalloc.get_traced_memory()[1] - before)
            told = f"{sum(others.values()):6} {slowest * 1e3:11.0f} {peak / 1e6:8.1f}"
            print(f"{reader:14} {count:7,} {good:7,} {refused:8,} {told} {others or ''}", flush=True)


if __name__ == "__main__":
    main()
