"""Killed at random moments: is every attempt whose verdict was shown in the record, and does the next start work?

    python tests/benchmarks/bench_kill.py [--headless 150] [--screen 150] [--seed 1]

Each round starts the real program on one record that grows from round to round, lets the scripted player play, and
kills the program with SIGKILL at a moment drawn by chance (which may lie in its start, in a write, between two).
Without the screen, shown are the attempts whose whole line has come out of the pipe; on the screen (a tmux terminal),
those that the count at the top says are behind the player, read before the kill. After each kill the record is opened
anew, counted, and passes SQLite's own integrity check; the next round is the next start.

Needs tmux for the screen. Nothing is timed: the figures are counts, and all but the first must be 0.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from rows import add_rows, tell_row

ROOT = Path(__file__).parent.parent.parent
SET = """title = "Long evening"
rounds = 20
[[drill]]
chord = "m7"
voicing = "rootless from the third"
"""
LATEST_S = 6.0
"""The latest moment of a kill after the first prompt has been seen."""
OPENED_BY_S = 20.0


@dataclass(slots=True)
class Outcome:
    """What a number of kills came to; `shown` verdicts in all, `missing` of them, and the rounds with trouble."""

    kills: int = 0
    shown: int = 0
    missing: int = 0
    damaged: int = 0
    no_start: int = 0


def environment(home: Path) -> dict[str, str]:
    return os.environ | {"TRAINER_HOME": str(home), "PYTHONPATH": str(ROOT), "TERM": "xterm-256color"}


def recorded(records: Path, before: set[str]) -> tuple[int, bool]:
    """How many attempts the newest sessions have, those of `before` left out, and whether the file is whole."""
    if not records.exists():
        return 0, True
    with sqlite3.connect(records) as connection:
        whole = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        rows = connection.execute("SELECT session, count(*) FROM attempts GROUP BY session").fetchall()
    connection.close()
    return sum(count for session, count in rows if session not in before), whole


def sessions(records: Path) -> set[str]:
    if not records.exists():
        return set()
    connection = sqlite3.connect(records)
    found = {row[0] for row in connection.execute("SELECT DISTINCT session FROM attempts")}
    connection.close()
    return found


def headless(home: Path, chance: random.Random, outcome: Outcome) -> None:
    """One round without the screen."""
    before = sessions(home / "records.sqlite")
    command = [sys.executable, "-m", "trainer", "drill", str(home / "long.toml"), "--input", "script"]
    process = subprocess.Popen(
        [*command, "--headless", "--json"], env=environment(home), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    # Most rounds end while attempts are written, which without the screen goes at a hundred times a player's pace.
    first = chance.random() < 0.1
    if not first and process.stdout is not None:
        process.stdout.read(1)
    time.sleep(chance.uniform(0, 0.4 if first else 0.15))
    process.send_signal(signal.SIGKILL)
    out, err = process.communicate()
    judge(home, before, (b"" if first else b"{") + out, err, outcome)


def judge(home: Path, before: set[str], out: bytes, err: bytes, outcome: Outcome) -> None:
    shown = out.count(b"\n")
    count, whole = recorded(home / "records.sqlite", before)
    outcome.kills += 1
    outcome.shown += shown
    outcome.missing += max(0, shown - count)
    outcome.damaged += not whole
    outcome.no_start += bool(err.strip())


def on_screen(home: Path, chance: random.Random, outcome: Outcome, name: str) -> None:
    """One round in a terminal."""
    before = sessions(home / "records.sqlite")
    terminal = ["tmux", "-L", name]
    program = (
        f"exec {sys.executable} -m trainer drill {home / 'long.toml'} --input script --seed {chance.randrange(999)}"
    )
    subprocess.run(
        [*terminal, "new-session", "-d", "-x", "100", "-y", "30", program], env=environment(home), check=True
    )
    listed = subprocess.run(
        [*terminal, "list-panes", "-F", "#{pane_pid}"], capture_output=True, text=True, check=True
    ).stdout
    process = int(listed.split()[0])
    early = chance.random() < 0.1
    until = time.monotonic() + (chance.uniform(0, 1) if early else OPENED_BY_S)
    shown = 0
    opened = False
    while time.monotonic() < until:
        seen = subprocess.run([*terminal, "capture-pane", "-p"], capture_output=True, text=True).stdout
        found = re.search(r"(\d+) of 240", seen)
        if found is not None:
            if not opened and not early:
                until = time.monotonic() + chance.uniform(0, LATEST_S)
            opened = True
            shown = int(found[1]) - 1
        time.sleep(0.01)
    os.kill(process, signal.SIGKILL)
    subprocess.run([*terminal, "kill-server"], capture_output=True)
    while Path(f"/proc/{process}").exists() and "Z" not in Path(f"/proc/{process}/stat").read_text("utf-8").split()[2]:
        time.sleep(0.01)
    outcome.no_start += not (opened or early)
    judge(home, before, b"\n" * shown, b"", outcome)


def main() -> int:
    parser = argparse.ArgumentParser()
    add_rows(parser)
    parser.add_argument("--headless", type=int, default=150)
    parser.add_argument("--screen", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="few rounds")
    options = parser.parse_args()
    rounds = {"headless": options.headless, "screen": options.screen}
    if options.quick:
        rounds = {"headless": 5, "screen": 3}
    if shutil.which("tmux") is None:
        print("no tmux here: the screen is left out")
        rounds["screen"] = 0
    chance = random.Random(options.seed)
    trouble = 0
    print(f"{'':<10}{'kills':>7}{'shown':>8}{'missing':>9}{'damaged':>9}{'no start':>10}")
    for kind, count in rounds.items():
        outcome = Outcome()
        with tempfile.TemporaryDirectory() as folder:
            home = Path(folder)
            (home / "long.toml").write_text(SET, encoding="utf-8")
            for number in range(count):
                if kind == "headless":
                    headless(home, chance, outcome)
                else:
                    on_screen(home, chance, outcome, f"bench-kill-{os.getpid()}-{number}")
        trouble += outcome.missing + outcome.damaged + outcome.no_start
        print(
            f"{kind:<10}{outcome.kills:>7}{outcome.shown:>8}{outcome.missing:>9}{outcome.damaged:>9}"
            f"{outcome.no_start:>10}",
            flush=True,
        )
        if count:
            lost = outcome.missing + outcome.damaged + outcome.no_start
            tell_row(f"killed {outcome.kills} times ({kind}): lost, damaged or not started again", lost, "", 0)
    return 1 if trouble else 0


if __name__ == "__main__":
    sys.exit(main())
