"""Lead sheets broken on purpose, by chance that can be repeated: bytes changed, and numbers and words changed."""

from __future__ import annotations

from pathlib import Path
from random import Random

from trainer.charts import form_chart
from trainer.charts.score_files import compressed
from trainer.charts.score_writing import write_score

SCORES = Path(__file__).parent / "scores"
GOOD = write_score(form_chart("jazz blues"))
SEEDS = [path.read_bytes() for path in sorted(SCORES.glob("*.m*xl"))] + [GOOD.encode(), compressed(GOOD)]
TOKENS = [
    b"<",
    b">",
    b"&",
    b"\0",
    b"\xff",
    b"</note>",
    b"<chord/>",
    b"0",
    b"-1",
    b"999999",
    b'"',
    b"]]>",
    b"<!--",
    b"/",
]


def mutated(chance: Random) -> bytes:
    data = bytearray(chance.choice(SEEDS))
    for _ in range(chance.randint(1, 6)):
        at, other = sorted(chance.choices(range(len(data) + 1), k=2))
        other = min(other, at + chance.choice((1, 8, 300)))
        match chance.randrange(6):
            case 0:
                data[at:other] = b""
            case 1:
                data[at:at] = chance.choice(TOKENS)
            case 2:
                data[at:at] = data[at:other]
            case 3 if at < len(data):
                data[at] = chance.randrange(256)
            case 4:
                del data[at:]
            case _:
                data[at:other] = chance.choice(TOKENS)
    return bytes(data)


def changed_text(chance: Random, text: str) -> str:
    """A well-formed score whose numbers and words are others: faults of music, not of XML."""
    parts = text.split(">")
    for _ in range(chance.randint(1, 5)):
        at = chance.randrange(len(parts))
        word, _, tag = parts[at].partition("<")
        if tag.startswith("/") and word:
            parts[at] = f"{chance.choice(['', '0', '-3', '7', '1.5', '99', 'C', 'x', '1, 2', 'minor'])}<{tag}"
    return ">".join(parts)
