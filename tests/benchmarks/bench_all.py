"""Every benchmark of this folder, and one table of what came out: `python tests/benchmarks/bench_all.py [--full]`.

Each is run by itself, one after another, with `--quick` (unless `--full`) and `--rows` (see `rows`), within a time
limit. The table stands on standard output as Markdown; `--readme` also writes it into README between its markers. What
took too long, failed, or has no rows is told under the table. Exit code 1 where one failed or took too long.

Timed figures want a machine that does nothing else; how busy it was stands below the table. A benchmark that needs what
is not here (JACK's server, tmux) says so and is left out.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parent))

from rows import OPTION, rows_in  # noqa: E402

HERE: Final = Path(__file__).parent
ROOT: Final = HERE.parent.parent
QUICK_LIMIT_S: Final = 180.0
FULL_LIMIT_S: Final = 3600.0
HEAD: Final = "| what | this project | beside it | ratio |\n|---|---|---|---|\n"
PLACE: Final = re.compile(r"(<!-- figures -->\n).*?(<!-- end of figures -->\n)", re.DOTALL)


@dataclass(frozen=True)
class Ran:
    """What became of one benchmark: its rows, and why it has none or failed."""

    name: str
    rows: Sequence[Sequence[str]]
    seconds: float
    trouble: str = ""
    failed: bool = False


def benchmarks(folder: Path, only: Sequence[str] = ()) -> list[Path]:
    """The other benchmarks of a folder, those of some names where names are given."""
    found = [path for path in sorted(folder.glob("bench_*.py")) if path.name != Path(__file__).name]
    return [path for path in found if not only or path.stem.removeprefix("bench_") in only]


def run(path: Path, full: bool, limit_s: float) -> Ran:
    """Run one benchmark in a process group of its own, which is ended whole when the time is up."""
    name = path.stem.removeprefix("bench_")
    if OPTION not in path.read_text(encoding="utf-8") and "add_rows" not in path.read_text(encoding="utf-8"):
        return Ran(name, (), 0, "gives no rows yet")
    command = [sys.executable, str(path), OPTION, *(() if full else ("--quick",))]
    begun = time.monotonic()
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "tests")))}
    process = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=environment,
        start_new_session=True,
    )
    try:
        out, errors = process.communicate(timeout=limit_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        out, errors = process.communicate()
        return Ran(name, rows_in(out), limit_s, f"was stopped after {limit_s:g} s", failed=True)
    took_s = time.monotonic() - begun
    rows = rows_in(out)
    last = next((line.strip() for line in reversed(errors.splitlines()) if line.strip()), "")
    if "is not installed" in last:
        return Ran(name, rows, took_s, f"left out: {last}")
    if process.returncode != 0:
        return Ran(name, rows, took_s, f"ended with {process.returncode}{f': {last}' if last else ''}", failed=True)
    return Ran(name, rows, took_s, "" if rows else "gave no rows")


def table(ran: Sequence[Ran]) -> str:
    """The rows of all, and below them what lacks."""
    lines = ["| " + " | ".join(row) + " |\n" for each in ran for row in each.rows]
    notes = [f"- `bench_{each.name}.py` {each.trouble}.\n" for each in ran if each.trouble]
    return HEAD + "".join(lines) + ("\n" + "".join(notes) if notes else "")


def into_readme(text: str, told: str) -> str:
    """README with the table between its markers. Raises ValueError where it has none."""
    if not PLACE.search(text):
        raise ValueError("README has no place for the figures")
    return PLACE.sub(lambda found: found[1] + told + found[2], text)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--full", action="store_true", help="whole benchmarks, as their heads tell them (hours)")
    how.add_argument("--quick", action="store_true", help="short ones: the default (minutes)")
    parser.add_argument("--only", nargs="+", metavar="NAME", default=[], help="as in: --only chords timing")
    parser.add_argument("--limit", type=float, metavar="SECONDS", help="for each benchmark")
    parser.add_argument("--readme", action="store_true", help="write the table into README")
    options = parser.parse_args()
    limit_s = options.limit or (FULL_LIMIT_S if options.full else QUICK_LIMIT_S)
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
    ran = []
    for path in benchmarks(HERE, options.only):
        print(f"{path.name} ...", end="", file=sys.stderr, flush=True)
        ran.append(run(path, options.full, limit_s))
        print(f" {ran[-1].seconds:.0f} s {ran[-1].trouble}", file=sys.stderr, flush=True)
    kind = "whole" if options.full else "quick"
    told = (
        f"{table(ran)}\nMeasured by {kind} runs with Python {platform.python_version()} on {platform.system()} "
        f"{platform.machine()}, {os.cpu_count()} cores, with {load:.1f} programs at work when it began.\n"
    )
    print(told)
    if options.readme:
        readme = ROOT / "README.md"
        readme.write_text(into_readme(readme.read_text(encoding="utf-8"), told), encoding="utf-8")
    return 1 if any(each.failed for each in ran) else 0


if __name__ == "__main__":
    sys.exit(main())
