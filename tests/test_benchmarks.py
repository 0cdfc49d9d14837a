"""The table of figures: gathered from the benchmarks' rows, whatever becomes of one of them. Nothing is timed here."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FOLDER = ROOT / "tests" / "benchmarks"
sys.path.insert(0, str(FOLDER))

from bench_all import PLACE, benchmarks, into_readme, run, table  # noqa: E402
from rows import row_of, rows_in  # noqa: E402


def test_a_row_says_how_it_stands_beside_its_bar() -> None:
    assert row_of("a take", 4.0, "ms", 10.0) == "| a take | 4 ms | 10 ms (bar) | 2.5 |"
    assert row_of("named", 97, "%", 98, more_is_better=True) == "| named | 97 % | 98 % (bar) | 0.99 |"
    assert row_of("read", 2.4, "µs", 28.44, "a library") == "| read | 2.4 µs | 28.4 µs (a library) | 11.9 |"
    assert row_of("lost", 1, "", 0).endswith("| missed |")
    assert row_of("lost", 0, "", 0).endswith("| met |")
    assert row_of("append", 0.05, "ms", None) == "| append | 0.05 ms | – | – |"
    assert rows_in("heading\n| a | b |\n" + row_of("a", 1, "s", 2) + "\n") == [("a", "1 s", "2 s (bar)", "2")]


@pytest.mark.parametrize("path", benchmarks(FOLDER), ids=lambda path: path.stem)
def test_a_benchmark_that_gives_rows_takes_both_options(path: Path) -> None:
    """One that gives none yet is told under the table."""
    text = path.read_text(encoding="utf-8")
    if "tell_row(" in text:
        assert "--quick" in text
        assert "add_rows(" in text or "sys.argv" in text


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / f"bench_{name}.py"
    path.write_text(f"# --rows\n{text}\n", encoding="utf-8")
    return path


def test_what_fails_or_takes_too_long_is_told_and_the_others_stand(tmp_path: Path) -> None:
    good = written(tmp_path, "good", "import sys\nassert '--quick' in sys.argv\nprint('| a | 1 s | 2 s (bar) | 2 |')")
    slow = written(tmp_path, "slow", "import time\nprint('| b | 1 | – | – |', flush=True)\ntime.sleep(60)")
    broken = written(tmp_path, "broken", "raise SystemExit('no such thing')")
    lacking = written(tmp_path, "lacking", "raise SystemExit('jackd is not installed')")
    ran = [run(good, False, 30), run(slow, False, 1.5), run(broken, False, 30), run(lacking, False, 30)]
    assert [each.failed for each in ran] == [False, True, True, False]
    told = table(ran)
    assert "| a | 1 s | 2 s (bar) | 2 |\n" in told
    assert "| b | 1 | – | – |\n" in told
    assert "- `bench_slow.py` was stopped after 1.5 s.\n" in told
    assert "- `bench_broken.py` ended with 1: no such thing.\n" in told
    assert "- `bench_lacking.py` left out: jackd is not installed.\n" in told


def test_readme_has_the_table_between_its_markers() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = PLACE.search(text)
    assert found is not None
    assert len(rows_in(found[0])) > 10
    assert "bench_all.py" in text
    assert into_readme(text, "anew\n").count("anew") == text.count("anew") + 1
    with pytest.raises(ValueError, match="no place"):
        into_readme("nothing", "anew")
