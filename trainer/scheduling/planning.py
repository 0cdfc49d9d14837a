"""Today's plan: what has faded, what was wrong, one new thing, what is slow, and a form at tempo, within the minutes.

* *Faded*: right when last played, and due by FSRS; least likely to be right still first.
* *Wrong*: wrong, corrected or shown when last played; most lately played first.
* *New*: one form at a time. A form that was begun comes before one that was never played; forms are met in the order of
  the pool. A form is blocked (practised by itself, root after root) until `history.STAGE_RIGHT` of its latest answers
  are right; nothing is begun while what has faded or was wrong fills more than `BACKLOG` of the time. Within a session
  the next form may follow (`choosing`).
* *Slow*: right, not due, and likely to be slower on another day than the set aims at; then whatever keeps at least
  `LEAST_ROOTS` roots in the shuffle (small sets flatter: Rickard, Lau & Pashler 2008), longest not played first.
* *At tempo*: a form or lesson whose voicings are all known, with a key and a tempo.

Minutes are estimated from the player's own seconds from prompt to prompt. The plan is a function of its arguments: the
same record, pool, day and minutes give the same plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random
from typing import Final

from trainer.pitch import TWELVE_ROOTS, pretty
from trainer.progress import Attempt, Item
from trainer.scheduling import reasons
from trainer.scheduling.history import History, replay
from trainer.scheduling.pool import Form, Pool
from trainer.timing import PassRecord, TempoLadder, next_tempo
from trainer.timing.ladder import counts

DEFAULT_MINUTES: Final = 15.0
BREAK_MINUTES: Final = 25.0
"""A break is proposed after this long. Source: advice to musicians, 25 minutes on and 5 off (Horvath; Klickstein)."""

LOAD_JUMP: Final = 1.3
LOAD_WEEKS: Final = 4
LEAST_LOAD_MINUTES: Final = 60.0
"""Seven days are mentioned that are more than 30 % over the mean of the (at most four) weeks before, and over an hour.

Source: a sudden rise in load is a common trigger of trouble (BAPAM, return to play); the figures are a judgement.
"""

PART_WORDS: Final = {
    "faded": "What has faded",
    "wrong": "What was wrong",
    "new": "One new thing",
    "slow": "What is slow",
    "tempo": "A form at tempo",
}
"""The parts of a plan, in the order in which they are practised."""

NEW_SHARE: Final = 0.5
TEMPO_SHARE: Final = 0.2
BACKLOG: Final = 0.6
LEAST_ROOTS: Final = 6
REPEATS: Final = 1.25
"""Prompts for one item of the plan, on average: what is missed comes back (a judgement, as the shares above)."""

LEAST_TEMPO_MINUTES: Final = 8.0
MOST_CHOICES: Final = 120
LATER_FORMS: Final = 8


@dataclass(frozen=True, slots=True)
class Choice:
    """One item of the plan, in which part, and why in one sentence."""

    item: Item
    part: str
    why: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the plan. `choices` are in order; `minutes` is an estimate."""

    kind: str
    minutes: float
    choices: tuple[Choice, ...]

    @property
    def words(self) -> str:
        return PART_WORDS[self.kind]


@dataclass(frozen=True, slots=True)
class TempoOffer:
    """A form or lesson that can be played in time: the (voicing, quality) pairs it needs, and the tempo to begin at.

    `name` is what whoever plays it knows it by; it comes back in the slot.
    """

    title: str
    needs: frozenset[tuple[str, str]]
    tempo_bpm: float = 80.0
    name: str = ""


@dataclass(frozen=True, slots=True)
class TempoSlot:
    """What to play in time: a form or lesson, the key by name, beats a minute, for how long, and why."""

    title: str
    key: str
    tempo_bpm: float
    minutes: float
    why: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """What to practise on a day. `drill_minutes` are those before the form at tempo.

    `new_form` is the form that is blocked, None where nothing is new. `remarks` are sentences for the player.
    """

    day: date
    minutes: float
    drill_minutes: float
    parts: tuple[Part, ...]
    tempo: TempoSlot | None
    new_form: Form | None
    new_minutes: float
    later_forms: tuple[Form, ...]
    remarks: tuple[str, ...]

    @property
    def minutes_words(self) -> str:
        return f"{self.minutes:.0f} minute{'' if round(self.minutes) == 1 else 's'}"

    @property
    def choices(self) -> tuple[Choice, ...]:
        return tuple(choice for part in self.parts for choice in part.choices)


def todays_plan(
    attempts: Iterable[Attempt],
    pool: Pool,
    minutes: float,
    today: date,
    day_of: Callable[[str], date],
    offers: Sequence[TempoOffer] = (),
    passes: Sequence[PassRecord] = (),
) -> Plan:
    """The plan for a day of the player's own calendar, `day_of` giving that of a UTC text. See the head of the module.

    Raises ValueError where `minutes` is not above 0.
    """
    return plan_of(replay(attempts, pool, today, day_of), minutes, offers, passes)


def plan_of(
    history: History, minutes: float, offers: Sequence[TempoOffer] = (), passes: Sequence[PassRecord] = ()
) -> Plan:
    """The plan for the day of a history; see `todays_plan`."""
    if not minutes > 0:
        raise ValueError(f"{minutes} minutes hold no practice")
    day, prompt_s = history.today, history.prompt_s
    tempo = _tempo(history, minutes, offers, passes)
    drill_minutes = minutes - (tempo.minutes if tempo is not None else 0.0)
    room = max(1.0, 60 * drill_minutes / prompt_s)

    new_form, later = _new_forms(history)
    blocked = (new_form.voicing, new_form.quality) if new_form is not None else None
    known = [
        item
        for form in history.pool.forms
        if (form.voicing, form.quality) != blocked
        for item in form.items
        if item in history.items and history.pool.target(item) is not None
    ]
    wrong, faded, slow, rest = _sorted_out(history, known)
    if new_form is not None and REPEATS * (len(wrong) + len(faded)) > BACKLOG * room:
        if blocked not in history.forms:
            new_form, later = None, ()
    new_minutes = 0.0
    if new_form is not None:
        new_minutes = drill_minutes if not known else NEW_SHARE * drill_minutes
    review_room = max(0.0, room - 60 * new_minutes / prompt_s)
    chance = Random(day.isoformat())

    take = int(review_room / REPEATS)
    faded = faded[:take]
    wrong = wrong[: take - len(faded)]
    left = review_room - REPEATS * (len(faded) + len(wrong))
    count = min(MOST_CHOICES, max(0, round(left)))
    shuffle = slow[:count]
    roots = {item[2] for item in (*shuffle, *faded, *wrong)}
    for item in rest:
        if len(shuffle) >= count and len(roots) >= LEAST_ROOTS:
            break
        if len(shuffle) < count or item[2] not in roots:
            shuffle.append(item)
            roots.add(item[2])
    slow_items = set(slow)
    parts = []
    for kind, items in (("faded", faded), ("wrong", wrong)):
        chance.shuffle(items)
        why = reasons.why_faded if kind == "faded" else reasons.why_wrong
        part_minutes = REPEATS * len(items) * prompt_s / 60
        parts.append(Part(kind, part_minutes, tuple(Choice(i, kind, why(history, i, day)) for i in items)))
    if new_form is not None:
        items = [item for item in new_form.items if history.pool.target(item) is not None]
        news = tuple(Choice(item, "new", reasons.why_new(history, new_form, item)) for item in items)
        parts.append(Part("new", new_minutes, news))
    mixed = tuple(
        Choice(item, "slow", (reasons.why_slow if item in slow_items else reasons.why_rest)(history, item, day))
        for item in shuffle
    )
    parts.append(Part("slow", max(0.0, drill_minutes - sum(part.minutes for part in parts)), mixed))
    parts = [part for part in parts if part.choices]
    return Plan(
        day, minutes, drill_minutes, tuple(parts), tempo, new_form, new_minutes, later, _remarks(history, minutes)
    )


def _sorted_out(history: History, items: Iterable[Item]) -> tuple[list[Item], list[Item], list[Item], list[Item]]:
    """Items that were wrong, that have faded, that are slow, and the rest, each in its order."""
    day = history.today
    wrong: list[tuple[int, Item]] = []
    faded: list[tuple[float, Item]] = []
    slow: list[tuple[float, Item]] = []
    rest: list[tuple[date, Item]] = []
    for item in items:
        known = history.items[item]
        latest, due = known.latest, history.due(item)
        assert latest is not None and due is not None
        if latest.kind != "right":
            wrong.append((-latest.day.toordinal(), item))
        elif due <= day:
            faded.append((history.recall(item, day) or 0.0, item))
        elif (slowness := history.slowness(item)) > 0:
            slow.append((-slowness, item))
        else:
            rest.append((latest.day, item))
    return tuple([item for _, item in sorted(each, key=lambda pair: pair[0])] for each in (wrong, faded, slow, rest))  # type: ignore[return-value]


def _new_forms(history: History) -> tuple[Form | None, tuple[Form, ...]]:
    """The form to be blocked, and the next few for when it has passed its stage and time is left.

    Forms that were begun come first, the one played last before the others; then those never played.
    """
    begun: list[Form] = []
    unmet: list[Form] = []
    for form in history.pool.forms:
        of_form = history.forms.get((form.voicing, form.quality))
        if of_form is not None and of_form.passed:
            continue
        kind = unmet if of_form is None else begun
        if len(kind) <= LATER_FORMS and any(history.pool.target(item) is not None for item in form.items):
            kind.append(form)
    begun.sort(key=lambda form: -_latest(history, form).toordinal())
    waiting = (*begun, *unmet)
    return (waiting[0], waiting[1 : 1 + LATER_FORMS]) if waiting else (None, ())


def _latest(history: History, form: Form) -> date:
    return history.forms[form.voicing, form.quality].latest_day or date.min


def _tempo(
    history: History, minutes: float, offers: Sequence[TempoOffer], passes: Sequence[PassRecord]
) -> TempoSlot | None:
    """The offered form that was longest not played and whose voicings are all past their first stage.

    The key is the next in the cycle of fourths after a clean pass, the same after any other; the tempo goes down its
    ladder after a pass that was not clean, and up it when all twelve keys have come round.
    """
    if minutes < LEAST_TEMPO_MINUTES:
        return None
    latest: dict[str, PassRecord] = {}
    for one in sorted(passes, key=lambda one: (one.utc, one.session, one.number)):
        if counts(one):
            latest[one.title] = one
    ready = [offer for offer in offers if all(_passed(history, *need) for need in offer.needs)]
    if not ready:
        return None
    offer = min(ready, key=lambda offer: latest[offer.title].utc if offer.title in latest else "")
    share = TEMPO_SHARE * minutes
    keys = [note.name for note in TWELVE_ROOTS]
    before = latest.get(offer.title)
    if before is None or before.key not in keys:
        why = f"{offer.title}: all its voicings are in your hands, and it has not been played in time yet."
        return TempoSlot(offer.title, keys[0], offer.tempo_bpm, share, why, offer.name)
    at = keys.index(before.key) + int(before.clean)
    round_over = at == len(keys)
    tempo_bpm = before.tempo_bpm
    if round_over or not before.clean:
        tempo_bpm = next_tempo(TempoLadder(), before)
    key = keys[at % len(keys)]
    said = "clean" if before.clean else "not clean yet"
    why = f"{offer.title}: {said} in {pretty(before.key)} at {before.tempo_bpm:.0f} when last played whole."
    return TempoSlot(offer.title, key, tempo_bpm, share, why, offer.name)


def _passed(history: History, voicing: str, quality: str) -> bool:
    form = history.pool.form_of(voicing, quality)
    names = (voicing, quality) if form is None else (form.voicing, form.quality)
    of_form = history.forms.get(names)
    return of_form is not None and of_form.passed


def week_minutes(history: History, last: date) -> float:
    """Minutes of practice in the seven days that end with a day."""
    return sum(history.seconds.get(last - timedelta(days=back), 0.0) for back in range(7)) / 60


def _remarks(history: History, minutes: float) -> tuple[str, ...]:
    remarks = []
    if minutes > BREAK_MINUTES:
        remarks.append(f"Take five minutes' rest after {BREAK_MINUTES:.0f}; it is part of the practice.")
    day = history.today
    first = min(history.seconds, default=day)
    before = [
        week_minutes(history, day - timedelta(days=7 * week))
        for week in range(1, LOAD_WEEKS + 1)
        if day - timedelta(days=7 * week + 6) >= first
    ]
    this = week_minutes(history, day) + minutes
    if before and this > LEAST_LOAD_MINUTES and this > LOAD_JUMP * sum(before) / len(before):
        weeks = f"the {len(before)} weeks before had {sum(before) / len(before):.0f} each"
        remarks.append(
            f"With today, seven days come to {this:.0f} minutes; "
            f"{weeks if len(before) > 1 else f'the week before had {before[0]:.0f}'}. "
            "Let that rise slowly, and rest when your hands ask for it."
        )
    return tuple(remarks)
