"""Takes of invented players over the forms of the table, from a seed, with what answers what known beforehand.

A player has a steady offset, a jitter (normal, standard deviation 15-30 ms), a drift away from the grid (none, steady,
growing, or to and fro, 5 % at most; or half a beat to two and a half lost once or twice), a spread of the notes of a
chord, and a touch from short to overlapping. On the way come chords left out (also several in a row), wrong chords,
chords too many, chords struck twice, late chords, common tones held over, chords rolled upward, and brushed keys. It
knows the forms and the piano, and nothing of the aligner.

Where nobody could tell what was meant, nothing is generated: a chord too many comes between two slots that were both
played (beside a slot left out it might be that one, late), and one hand does not strike two slots within 180 ms (of
played piano, 1 % of chords of one hand follow each other within 201 ms).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from random import Random

from trainer.capture import Kind, NoteEvent
from trainer.charts import form_chart
from trainer.grading import Passes, Target
from trainer.pitch import TWELVE_ROOTS, MidiNote, Note, mask_of
from trainer.timing import STRAIGHT, SWUNG, Aligned, Grid, Slot
from trainer.voicings import Placement, Register, VoicingError, place, recipe

HALF = Fraction(1, 2)

RHYTHMS: dict[str, tuple[tuple[Fraction, str], ...]] = {
    "once a chord": (),
    "1, 2&": ((Fraction(1), "chord"), (Fraction(5, 2), "chord")),
    "2, 4": ((Fraction(2), "chord"), (Fraction(4), "chord")),
    "every beat": tuple((Fraction(beat), "chord") for beat in (1, 2, 3, 4)),
    "bass on 1, chord on 2&": ((Fraction(1), "bass"), (Fraction(5, 2), "chord")),
    "bass and chord on 1": ((Fraction(1), "bass"), (Fraction(1), "chord")),
    "bass on 1 and 3, chord on 2 and 4": (
        (Fraction(1), "bass"),
        (Fraction(2), "chord"),
        (Fraction(3), "bass"),
        (Fraction(4), "chord"),
    ),
    "bass on 1, chord on 1, 2& and 4": (
        (Fraction(1), "bass"),
        (Fraction(1), "chord"),
        (Fraction(5, 2), "chord"),
        (Fraction(4), "chord"),
    ),
}
FORMS = ("ii-V-I", "iii-VI-ii-V", "blues", "jazz blues", "minor blues", "AABA, dominants in the bridge")
VOICINGS = ("rootless from the third", "rootless from the seventh")
BASS_REGISTER = Register(MidiNote(28), MidiNote(43))
LEAST_APART_MS = 180.0


def chord_target(chord: object, voicing: str, passes: Passes = Passes()) -> Target:  # noqa: B008
    """A chord in a voicing; a shape that it always has where it has none in that one."""
    for name in (voicing, *VOICINGS, "close triad"):
        try:
            return Target(chord, _placed(name, chord.quality, chord.root), passes)  # type: ignore[attr-defined,arg-type]
        except VoicingError:
            continue
    raise AssertionError(chord)


@lru_cache(maxsize=None)
def _placed(name: str, quality: object, root: Note) -> Placement:
    return place(recipe(name, quality), root)  # type: ignore[arg-type]


def bass_target(chord: object, passes: Passes = Passes()) -> Target:  # noqa: B008
    return Target(chord, place(recipe("1", chord.quality), chord.root, BASS_REGISTER), passes)  # type: ignore[attr-defined,arg-type]


@lru_cache(maxsize=2048)
def form_slots(form: str, root: Note, rhythm: str, voicing: str = VOICINGS[0], choruses: int = 1) -> tuple[Slot, ...]:
    """A form as slots: each chord takes the hits of the rhythm that fall into its time, at least one chord."""
    chart = form_chart(form, root)
    length = Fraction(sum(bar.beats for bar in chart.played))
    hits: list[tuple[Fraction, str, int, Fraction, object]] = []
    for chorus in range(choruses):
        for one in chart.unrolled():
            start = one.start_beats + chorus * length
            inside = [
                (start + count - one.beat, part)
                for count, part in RHYTHMS[rhythm]
                if one.beat <= count < one.beat + one.beats
            ]
            if not any(part == "chord" for _, part in inside):
                inside.append((start, "chord"))
            for at, part in inside:
                hits.append((at, part, one.bar, one.beat + at - start, one.chord))
    hits.sort(key=lambda hit: (hit[0], hit[1]))
    ends = {"chord": choruses * length, "bass": choruses * length}
    slots: list[Slot] = []
    for index in range(len(hits) - 1, -1, -1):
        at, part, bar, beat, chord = hits[index]
        target = chord_target(chord, voicing) if part == "chord" else bass_target(chord)
        slots.append(Slot(index, bar, beat, at, ends[part] - at, target, part))
        ends[part] = at
    slots.reverse()
    return tuple(slots)


@dataclass(frozen=True)
class Player:
    """What goes wrong how often, each a share of the slots; times in ms."""

    jitter_ms: float = 22.0
    offset_ms: float = 0.0
    drift: str = "none"
    drift_share: float = 0.0
    hesitations: tuple[tuple[float, float], ...] = ()
    spread_ms: float = 14.0
    touch: float = 0.7
    missed: float = 0.03
    missed_bars: float = 0.01
    wrong: float = 0.04
    extra: float = 0.03
    doubled: float = 0.03
    late: float = 0.02
    held_over: float = 0.03
    brushed: float = 0.01
    rolled: float = 0.02


@dataclass(frozen=True)
class Played:
    """What was played for a slot: its kind, the first and last key (ms from beat 0), the keys that are its answer."""

    kind: str
    first_ms: float
    last_ms: float
    held: int


@dataclass
class Take:
    """A generated take: events, and for each slot (by place) what was played; None where it was left out."""

    slots: tuple[Slot, ...]
    grid: Grid
    player: Player
    events: tuple[NoteEvent, ...]
    truth: tuple[Played | None, ...]
    extra: int
    kinds: dict[str, int] = field(default_factory=dict)


DRIFTS = ("none", "steady", "growing", "to and fro", "hesitating")


def drifted(player: Player, at_ms: float, whole_ms: float) -> float:
    """When something due at a moment is played by a player whose tempo drifts, or who stops short and then goes on."""
    share = player.drift_share
    if player.drift == "hesitating":
        return at_ms + sum(lost_ms for after_ms, lost_ms in player.hesitations if at_ms >= after_ms * whole_ms)
    if player.drift == "steady":
        return at_ms * (1 + share)
    if player.drift == "growing":
        return at_ms + share * at_ms * max(at_ms, 0.0) / (2 * whole_ms)
    if player.drift == "to and fro":
        round_ms = max(whole_ms / 2, 8000.0)
        return at_ms + share * round_ms / (2 * math.pi) * (1 - math.cos(2 * math.pi * at_ms / round_ms))
    return at_ms


def any_player(chance: Random, beat_ms: float = 500.0) -> Player:
    drift = chance.choice(DRIFTS)
    return Player(
        jitter_ms=chance.uniform(15, 30),
        offset_ms=chance.uniform(-40, 60),
        drift=drift,
        drift_share=0.0 if drift == "none" else chance.choice((-1, 1)) * chance.uniform(0.01, 0.05),
        hesitations=tuple(
            (chance.uniform(0.15, 0.85), beat_ms * chance.uniform(0.5, 2.5)) for _ in range(chance.randint(1, 2))
        ),
        spread_ms=chance.uniform(6, 22),
        touch=chance.choice((0.3, 0.6, 0.9, 1.05)),
    )


def any_take(chance: Random, form: str | None = None) -> Take:
    """A take over a form, key, rhythm and tempo by chance. Rhythms too dense for the tempo are not drawn."""
    while True:
        tempo = round(math.exp(chance.uniform(math.log(60), math.log(240))))
        swing = chance.choice((STRAIGHT, SWUNG))
        name = form or chance.choice(FORMS)
        voicing = chance.choice(VOICINGS)
        choruses = 3 if name in ("ii-V-I", "iii-VI-ii-V") else 1
        slots = form_slots(name, chance.choice(TWELVE_ROOTS), chance.choice(tuple(RHYTHMS)), voicing, choruses)
        grid = Grid(tempo, chance.randrange(10**12), swing)
        if least_apart_ms(slots, grid) >= LEAST_APART_MS:
            return take(chance, slots, grid, any_player(chance, grid.beat_ns / 1e6))


def due_ms(slot: Slot, grid: Grid) -> float:
    return (grid.time_ns(slot.start_beats) - grid.start_ns) / 1e6


def least_apart_ms(slots: Sequence[Slot], grid: Grid) -> float:
    least = math.inf
    for part in ("chord", "bass"):
        own = [due_ms(slot, grid) for slot in slots if slot.part == part]
        least = min([least, *(after - before for before, after in zip(own, own[1:], strict=False))])
    return least


@dataclass
class Gesture:
    """Keys struck by one hand (key, down and up in ms); `kept` are keys of the chord before that it holds on to, and
    before a `clear` one all keys are let go."""

    part: str
    notes: list[tuple[int, float, float]]
    first_ms: float
    kept: int = 0
    clear: bool = False


def take(chance: Random, slots: Sequence[Slot], grid: Grid, player: Player) -> Take:
    """One take of a player."""
    due = [due_ms(slot, grid) for slot in slots]
    whole_ms = max(due) + 2 * grid.beat_ns / 1e6
    away = [_to_next(slots, due, index, grid) for index in range(len(slots))]
    kinds = _kinds(chance, slots, away, player)
    gestures: list[Gesture] = []
    truth: list[Played | None] = [None] * len(slots)
    last: dict[str, Gesture] = {}

    def strike(
        part: str, keys: Sequence[int], centre: float, length: float, kept: int = 0, clear: bool = False
    ) -> Gesture:
        notes = [
            (key, centre + abs(chance.gauss(0, player.spread_ms)), centre + length * chance.uniform(0.9, 1.1) + 60)
            for key in keys
            if not kept >> key & 1
        ]
        gesture = Gesture(part, notes, min(down for _, down, _ in notes), kept, clear)
        gestures.append(gesture)
        return gesture

    for index, slot in enumerate(slots):
        kind, part = kinds[index], slot.part
        if kind == "missed":
            continue
        centre = drifted(player, due[index], whole_ms) + player.offset_ms + chance.gauss(0, player.jitter_ms)
        if kind == "late":
            centre += max(200.0, chance.uniform(0.25, 0.45) * away[index])
        length = max(70.0, player.touch * away[index])
        keys = _wrong(chance, slots, index) if kind == "wrong" else list(slot.target.keys)
        kept = 0
        if kind == "held over" and part in last and gestures[-1] is last[part]:
            common = [key for key, _, _ in last[part].notes if key in keys]
            kept = mask_of(common) if 0 < len(common) < len(keys) else 0
        gesture = last[part] = strike(part, keys, centre, length, kept, kind == "wrong")
        if kind == "brushed":
            at = gesture.first_ms + chance.uniform(0, 10)
            gesture.notes.append((chance.choice((min(keys) - 1, max(keys) + 1)), at, at + chance.uniform(15, 40)))
        if kind == "rolled":
            at, rising = gesture.first_ms, []
            for key in sorted(key for key, _, _ in gesture.notes):
                rising.append((key, at, gesture.first_ms + max(length, 800.0)))
                at += chance.uniform(60, 180)
            gesture.notes = rising
        downs = [down for _, down, _ in gesture.notes]
        truth[index] = Played(kind, min(downs), max(downs), mask_of(keys))
        if kind == "doubled":
            last[part] = strike(part, keys, centre + chance.uniform(120, min(250.0, 0.5 * away[index])), length / 2)
        elif kind == "extra":
            low = min(keys)
            many = 1 if part == "bass" else chance.randint(2, 4)
            foreign = sorted(chance.sample(range(low - 2, low + (14 if part == "chord" else 5)), many))
            again = chance.random() < 0.3
            last[part] = strike(
                part, keys if again else foreign, centre + chance.uniform(0.38, 0.62) * away[index], 150
            )
    counted = Counter(kinds)
    extra = counted["extra"] + counted["doubled"]
    return Take(
        tuple(slots), grid, player, _events(chance, gestures, grid.start_ns), tuple(truth), extra, dict(counted)
    )


def _to_next(slots: Sequence[Slot], due: Sequence[float], index: int, grid: Grid) -> float:
    for later in range(index + 1, len(slots)):
        if slots[later].part == slots[index].part:
            return due[later] - due[index]
    return float(slots[index].beats) * grid.beat_ns / 1e6


def _kinds(chance: Random, slots: Sequence[Slot], away: Sequence[float], player: Player) -> list[str]:
    rates = (
        ("missed", player.missed),
        ("wrong", player.wrong),
        ("extra", player.extra),
        ("doubled", player.doubled),
        ("late", player.late),
        ("held over", player.held_over),
        ("brushed", player.brushed),
        ("rolled", player.rolled),
        ("missed bars", player.missed_bars),
    )
    kinds: list[str] = []
    silent = 0
    for index, slot in enumerate(slots):
        drawn = chance.random()
        kind = "plain"
        for name, rate in rates:
            if drawn < rate:
                kind = name
                break
            drawn -= rate
        if kind == "missed bars":
            silent = chance.randint(3, 8)
        if silent:
            silent -= 1
            kind = "missed"
        if kind == "doubled" and away[index] < 420:
            kind = "plain"
        if kind in ("late", "extra") and away[index] < 520:
            kind = "plain"
        if kind == "rolled" and away[index] < 1100:
            kind = "plain"
        if kind in ("held over", "brushed", "rolled") and slot.part == "bass":
            kind = "plain"
        kinds.append(kind)
    for index, kind in enumerate(kinds):
        if kind in ("extra", "late"):
            following = next((n for n in range(index + 1, len(slots)) if slots[n].part == slots[index].part), None)
            if following is not None and kinds[following] == "missed":
                kinds[index] = "plain"
    return kinds


def _wrong(chance: Random, slots: Sequence[Slot], index: int) -> list[int]:
    """A finger beside its key, the shape elsewhere, a note less, another chord of the form, or any keys."""
    slot = slots[index]
    asked = slot.target.accepted
    keys = list(slot.target.keys)
    low = min(keys)
    ways: list[Callable[[], list[int]]] = [
        lambda: [key + (chance.choice((-1, 1, 2)) if at == chosen else 0) for at, key in enumerate(keys)],
        lambda: [key + moved for key in keys],
        lambda: list(chance.choice([each for each in slots if each.part == slot.part]).target.keys),
    ]
    if len(keys) > 1:
        ways.append(lambda: [key for at, key in enumerate(keys) if at != chosen])
        ways.append(lambda: sorted(chance.sample(range(low - 3, low + 13), len(keys))))
    while True:
        chosen = chance.randrange(len(keys))
        moved = chance.choice((-2, -1, 1, 2))
        found = chance.choice(ways)()
        if len(set(found)) == len(found) and mask_of(found) not in asked:
            return found


def _events(chance: Random, gestures: Sequence[Gesture], start_ns: int) -> tuple[NoteEvent, ...]:
    """Note events in order. A key is let go before it is struck again, and at most 100 ms into the next chord of its
    hand (of played chords, 3 % overlap by more), unless that chord keeps it; before a wrong one, as it comes."""
    by_key: dict[int, list[list[float]]] = {}
    by_part: dict[str, list[Gesture]] = {}
    for gesture in sorted(gestures, key=lambda each: each.first_ms):
        by_part.setdefault(gesture.part, []).append(gesture)
    for part in by_part.values():
        for gesture, following in zip(part, [*part[1:], None], strict=True):
            for key, down, up in gesture.notes:
                if following is not None and following.kept >> key & 1:
                    up = max(up, following.first_ms + 150)
                elif following is not None:
                    up = min(up, following.first_ms + (-10 if following.clear else chance.uniform(0, 100)))
                by_key.setdefault(key, []).append([down, up])
    events = []
    for key, strokes in by_key.items():
        strokes.sort()
        for stroke, following in zip(strokes, [*strokes[1:], [math.inf, math.inf]], strict=True):
            down, up = stroke[0], max(stroke[0] + 20, min(stroke[1], following[0] - 8))
            events.append(NoteEvent(start_ns + round(down * 1e6), Kind.DOWN, MidiNote(key), 70))
            events.append(NoteEvent(start_ns + round(min(up, following[0] - 1) * 1e6), Kind.UP, MidiNote(key)))
    return tuple(sorted(events, key=lambda event: (event.time_ns, event.kind == Kind.DOWN)))


@dataclass(frozen=True)
class Score:
    """What became of one slot: how it was played, whether the alignment gave it what was generated for it, and
    whether its verdict and keys are those generated (None where nothing was played)."""

    slot: Slot
    kind: str
    assigned: bool
    graded: bool | None


def scores(take: Take, aligned: Aligned) -> list[Score]:
    """The slots of a take against what was generated.

    Assigned as generated: silent where nothing was played, else answered by a gesture that begins within the one
    played (whole milliseconds). Graded as generated: right but for wrong chords, a brushed key named as that, and
    exactly the keys that were played.
    """
    answers = {id(answer.slot): answer for answer in aligned.answers}
    found = []
    for slot, truth in zip(take.slots, take.truth, strict=True):
        answer = answers[id(slot)]
        if truth is None:
            found.append(Score(slot, "missed", answer.verdict in ("missed", "left out"), None))
            continue
        if answer.error_ms is None or answer.grade is None:
            found.append(Score(slot, truth.kind, False, None))
            continue
        began_ms = answer.error_ms + due_ms(slot, take.grid)
        assigned = truth.first_ms - 1.5 <= began_ms <= truth.last_ms + 1.5
        right = answer.grade.cause == "graze" if truth.kind == "brushed" else answer.grade.right
        graded = right == (truth.kind != "wrong") and mask_of(answer.held) == truth.held
        found.append(Score(slot, truth.kind, assigned, graded if assigned else None))
    return found
