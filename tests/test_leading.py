"""Voice leading: published distances, and the cheapest path against every path.

Distances between triads and seventh chords: one-to-one taxicab size on pitch classes (Tymoczko, Science 313, 2006),
each computed by full enumeration outside this project; P, L and R on C4 E4 G4 as music21 gives them. Costs of whole
paths: enumerated here, with a motion of their own that tries every pairing.
"""

from __future__ import annotations

import json
from itertools import pairwise, permutations, product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.chords import parse
from trainer.leading import (
    LeadingError,
    Path,
    Plan,
    Slot,
    Weights,
    candidates,
    lead,
    motion,
    path_text,
    path_values,
)
from trainer.leading.graphs import Graph, closed_path, closed_through, open_path, open_through
from trainer.leading.paths import _Costs, _costs_of
from trainer.pitch import Degree, MidiNote
from trainer.voicings import LOW_INTERVAL_LIMITS, Placement, Register

WIDE = Register(MidiNote(36), MidiNote(96))
TRIADS = Plan(("close triad",), WIDE)
SEVENTHS = Plan(("four-way close",), WIDE)


def slots(symbols: str) -> list[Slot]:
    return [Slot(parse(symbol)) for symbol in symbols.split()]


def keys(path: Path) -> list[tuple[int, ...]]:
    return [station.placement.keys for station in path.stations]


# ------------------------------------------------------------- published distances


@pytest.mark.parametrize(
    ("second", "semitones"),
    [
        ("Cm", 1), ("Em", 1), ("Am", 2), ("F", 3), ("G", 3), ("E", 2), ("Ab", 2), ("Eb", 3), ("Db", 3), ("D", 6),
        ("F#", 6), ("Fm", 2), ("Abm", 3), ("Caug", 1), ("Cdim", 2),
    ],
)  # fmt: skip
def test_a_triad_moves_from_c_major_by_its_published_distance(second: str, semitones: int) -> None:
    assert lead(slots(f"C {second}"), TRIADS).motion_semitones == semitones


@pytest.mark.parametrize(
    ("first", "second", "semitones"),
    [
        ("C7", "Cm7", 1), ("C7", "Cmaj7", 1), ("C7", "Cm7b5", 2), ("C7", "Cdim7", 3), ("C7", "Eb7", 2),
        ("C7", "F#7", 2), ("C7", "A7", 2), ("C7", "F7", 4), ("C7", "Db7", 4), ("Dm7", "G7", 3), ("G7", "Cmaj7", 3),
        ("Cmaj7", "Fmaj7", 4), ("Cmaj7", "Am7", 2), ("Cmaj7", "Em7", 2),
    ],
)  # fmt: skip
def test_a_seventh_chord_moves_by_its_published_distance(first: str, second: str, semitones: int) -> None:
    assert lead(slots(f"{first} {second}"), SEVENTHS).motion_semitones == semitones


def test_a_major_seventh_chord_moves_to_the_one_a_third_up_by_four_one_to_one() -> None:
    # Tymoczko 2006, figure S12: 3 with a doubled tone, which is not counted here; 4 one to one.
    assert lead(slots("Cmaj7 Emaj7"), SEVENTHS).motion_semitones == 4


@pytest.mark.parametrize(("second", "found"), [("Cm", (60, 63, 67)), ("Em", (59, 64, 67)), ("Am", (60, 64, 69))])
def test_parallel_leading_tone_and_relative_keep_two_notes_of_the_triad_on_middle_c(
    second: str, found: tuple[int, ...]
) -> None:
    one = Plan(("close triad, root position",), Register(MidiNote(60), MidiNote(67)))
    start = candidates(Slot(parse("C")), one).placements
    assert [placement.keys for placement in start] == [(60, 64, 67)]
    nearest = min(
        candidates(Slot(parse(second)), TRIADS).placements, key=lambda other: motion((60, 64, 67), other.keys)
    )
    assert nearest.keys == found


@pytest.mark.parametrize(
    ("lowest", "highest", "found"),
    [
        (50, 72, [(53, 57, 60, 64), (53, 57, 59, 64), (52, 55, 59, 62)]),
        (46, 60, [(48, 52, 53, 57), (47, 52, 53, 57), (47, 50, 52, 55)]),
    ],
)
def test_a_rootless_two_five_one_in_c_moves_by_one_and_then_by_five(
    lowest: int, highest: int, found: list[tuple[int, ...]]
) -> None:
    plan = Plan(register=Register(MidiNote(lowest), MidiNote(highest)))
    path = lead(slots("Dm7 G7 Cmaj7"), plan)
    assert keys(path) == found
    assert [station.move and station.move.motion_semitones for station in path.stations] == [None, 1, 5]


def test_a_rootless_two_five_one_to_the_six_nine_moves_by_one_and_then_by_seven() -> None:
    path = lead(slots("Dm7 G7 C6"))
    assert keys(path)[2] == (52, 55, 57, 62)
    assert path.motion_semitones == 8


def test_rootless_forms_alternate_round_the_cycle_of_fourths() -> None:
    # Common practice, no source: from the third, from the seventh, from the third ...
    path = lead(slots("Dm7 G7 Cmaj7"))
    names = [station.placement.recipe.name for station in path.stations]
    assert names == ["rootless from the third", "rootless from the seventh", "rootless from the third"]


# ------------------------------------------------------------- motion, by every pairing


def every_pairing(first: tuple[int, ...], second: tuple[int, ...]) -> int:
    """Least sum over all ways to join each voice of the larger chord to one of the smaller, leaving none alone."""
    small, large = sorted((first, second), key=len)
    if len(small) == len(large):
        return min(sum(abs(a - b) for a, b in zip(small, order, strict=True)) for order in permutations(large))
    return min(
        sum(abs(small[to] - key) for to, key in zip(joined, large, strict=True))
        for joined in product(range(len(small)), repeat=len(large))
        if set(joined) == set(range(len(small)))
    )


CHORDS_OF_KEYS = st.lists(st.integers(36, 84), min_size=1, max_size=5, unique=True).map(
    lambda found: tuple(sorted(found))
)


@given(CHORDS_OF_KEYS, CHORDS_OF_KEYS)
def test_motion_is_the_least_over_every_pairing_of_voices(first: tuple[int, ...], second: tuple[int, ...]) -> None:
    assert motion(first, second) == motion(second, first) == every_pairing(first, second)


def test_a_voice_that_divides_pays_both_ways() -> None:
    # Guide tones into a three-note chord: the lower note goes on to both lower ones.
    assert motion((53, 59), (52, 55, 59)) == 1 + 2 + 0


# ------------------------------------------------------------- the cheapest path, by every path


def cost_of(path: tuple[Placement, ...], weights: Weights, centre: int, loop: bool) -> float:
    total = 0.0
    for placement in path:
        total += weights.centre * abs((placement.keys[0] + placement.keys[-1]) / 2 - centre)
    for first, second in pairwise([*path, path[0]] if loop else path):
        low, high = second.keys[0] - first.keys[0], second.keys[-1] - first.keys[-1]
        total += weights.motion * every_pairing(first.keys, second.keys)
        total += weights.top_leap * max(0, abs(high) - 2)
        total += weights.parallel * (low * high > 0) + weights.contrary * (low * high < 0)
        same_chord = first.root == second.root and first.recipe.degrees == second.recipe.degrees
        total += weights.repeated_form * (first.recipe.name == second.recipe.name and not same_chord)
    return total


SYMBOLS = "Dm7 G7 Cmaj7 A7 Fm7 Bb7 Ebmaj7 Bm7b5 E7(b9) Am6 Db7 C6 F#dim7".split()
PLANS = (
    Plan(),
    Plan(("rootless from the third", "three-note rootless, seventh low with 5")),
    Plan(("guide tones", "shell, root third seventh")),
    Plan(("four-way close",), Register(MidiNote(55), MidiNote(76))),
)
WEIGHTS = (
    Weights(),
    Weights(top_leap=2, repeated_form=1.5),
    Weights(centre=0.25, parallel=1, contrary=0.5),
    Weights(motion=0, centre=1, top_leap=0.5),
)


@settings(max_examples=120, deadline=None)
@given(
    st.lists(st.sampled_from(SYMBOLS), min_size=1, max_size=4),
    st.sampled_from(PLANS),
    st.sampled_from(WEIGHTS),
    st.booleans(),
)
def test_no_path_is_cheaper_than_the_one_found(symbols: list[str], plan: Plan, weights: Weights, loop: bool) -> None:
    asked = slots(" ".join(symbols))
    found = lead(asked, plan, weights, loop=loop)
    layers = [candidates(slot, plan).placements for slot in asked]
    every = {path: cost_of(path, weights, plan.centre, loop) for path in product(*layers)}
    assert found.cost == pytest.approx(min(every.values()))
    assert every[tuple(station.placement for station in found.stations)] == pytest.approx(found.cost)
    for at, station in enumerate(found.stations):
        for option, extra in zip(station.candidates.placements, station.extra_costs, strict=True):
            through = min(cost for path, cost in every.items() if path[at] is option)
            assert extra == pytest.approx(through - found.cost, abs=1e-6)


def every_path(graph: Graph, loop: bool) -> dict[tuple[int, ...], int]:
    """The cost of each path through a graph."""
    found = {}
    for path in product(*(range(len(stands)) for stands in graph.stands)):
        cost = sum(stands[at] for stands, at in zip(graph.stands, path, strict=True))
        steps = pairwise([*path, path[0]] if loop else path)
        found[path] = cost + sum(rows[a][b] for rows, (a, b) in zip(graph.moves, steps, strict=False))
    return found


@st.composite
def graphs(draw: st.DrawFn) -> Graph:
    """Small numbers, so that many paths are equal."""
    sizes = draw(st.lists(st.integers(1, 4), min_size=1, max_size=5))
    costs = st.integers(0, draw(st.sampled_from([1, 3, 20])))
    stands = [draw(st.lists(costs, min_size=size, max_size=size)) for size in sizes]
    moves = [
        draw(st.lists(st.lists(costs, min_size=after, max_size=after), min_size=before, max_size=before))
        for before, after in pairwise([*sizes, sizes[0]])
    ]
    return Graph(stands, moves)


@settings(max_examples=400, deadline=None)
@given(graphs())
def test_paths_and_loops_of_any_graph_are_the_cheapest(graph: Graph) -> None:
    for loop, found, through in (
        (False, open_path(graph), open_through(graph)),
        (True, closed_path(graph), closed_through(graph)),
    ):
        every = every_path(graph, loop)
        path, cost = found
        assert cost == min(every.values()) == every[tuple(path)]
        if not loop:
            assert tuple(path) == min(one for one, its in every.items() if its == cost)
        for layer, costs in enumerate(through):
            for at, least in enumerate(costs):
                assert least == min(its for one, its in every.items() if one[layer] == at)


def test_a_long_loop_costs_what_following_each_beginning_by_itself_finds() -> None:
    chance = Random(3)
    sizes = [5, *chance.choices(range(5, 9), k=150)]
    places = [[chance.randrange(40) for _ in range(size)] for size in sizes]
    moves = [[[abs(a - b) for b in after] for a in before] for before, after in pairwise([*places, places[0]])]
    graph = Graph([[chance.randrange(3) for _ in layer] for layer in places], moves)
    found = []
    for start in range(5):
        ahead = [cost + moves[-1][at][start] for at, cost in enumerate(graph.stands[-1])]
        for stands, rows in zip(reversed(graph.stands[:-1]), reversed(moves[:-1]), strict=True):
            ahead = [
                stand + min(a + b for a, b in zip(row, ahead, strict=True))
                for stand, row in zip(stands, rows, strict=True)
            ]
        found.append(ahead[start])
    assert closed_path(graph)[1] == min(found)
    assert closed_through(graph)[0] == found


def test_weights_add_up_as_they_are_written() -> None:
    # 0.1 and 0.2 have no exact binary fractions; costs are counted as decimals, so that equal paths stay equal.
    path = lead(slots("Dm7 G7 Cmaj7"), Plan(), Weights(motion=0.1, contrary=0.2))
    assert path.cost == 0.6
    assert {extra for station in path.stations for extra in station.extra_costs} <= {0.0, 0.2, 0.4, 0.6, 0.8, 1.0}


def test_costs_are_the_same_when_what_is_known_is_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = slots("Dm7 G7 Cmaj7 A7 Fm7 Bb7 Ebmaj7")
    plan, weights = Plan(("four-way close", "drop 2")), Weights(repeated_form=1, parallel=0.5)
    found = [lead(asked, plan, weights, loop=loop) for loop in (False, True)]
    _costs_of.cache_clear()
    monkeypatch.setattr(_Costs, "MOST_KINDS", 60)
    monkeypatch.setattr(_Costs, "MOST_KEPT", 2)
    again = [lead(asked, plan, weights, loop=loop) for loop in (False, True)]
    assert [keys(path) for path in again] == [keys(path) for path in found]
    assert [path.cost for path in again] == [path.cost for path in found]
    _costs_of.cache_clear()


def test_going_to_the_nearest_voicing_each_time_can_cost_more_than_the_path_found() -> None:
    chance, dearer = Random(7), 0
    for _ in range(40):
        asked = slots(" ".join(chance.choices(SYMBOLS, k=8)))
        layers = [candidates(slot).placements for slot in asked]
        here, nearest = layers[0][0], 0
        for layer in layers[1:]:
            following = min(layer, key=lambda other: every_pairing(here.keys, other.keys))
            nearest += every_pairing(here.keys, following.keys)
            here = following
        found = lead(asked).motion_semitones
        assert found <= nearest
        dearer += found < nearest
    assert dearer > 10


def test_equal_paths_are_settled_by_the_order_of_the_voicings_asked_for() -> None:
    third, seventh = "rootless from the third", "rootless from the seventh"
    register = Register(MidiNote(48), MidiNote(76))
    for order in ((third, seventh), (seventh, third)):
        assert lead(slots("Am7"), Plan(order, register)).stations[0].placement.recipe.name == order[0]


# ------------------------------------------------------------- loops, weights, melody


def test_a_loop_pays_the_way_back_to_its_first_chord() -> None:
    path = lead(slots("Dm7 G7 Cmaj7 A7"), loop=True)
    assert path.stations[0].move is not None
    assert path.motion_semitones == sum(every_pairing(a, b) for a, b in pairwise([*keys(path), keys(path)[0]]))


def test_a_loop_of_one_chord_stands_still() -> None:
    assert lead(slots("Cm7"), loop=True).cost == 0


def test_a_weight_on_leaps_keeps_the_top_voice_closer() -> None:
    def leaps(weights: Weights) -> int:
        path = lead(slots("Cmaj7 F7 Bm7b5 E7 Am7 D7 Abm7 Db7"), PLANS[2], weights)
        return sum(max(0, abs(b[-1] - a[-1]) - 2) for a, b in pairwise(keys(path)))

    assert leaps(Weights(motion=0.01, top_leap=10)) <= leaps(Weights())


def test_a_weight_on_the_centre_gathers_voicings_around_it() -> None:
    plan = Plan(("four-way close",), Register(MidiNote(48), MidiNote(90)), centre=MidiNote(80))
    path = lead(slots("Cmaj7"), plan, Weights(centre=1))
    assert path.stations[0].placement.keys == (76, 79, 83, 84)
    assert path.cost == 0


@pytest.mark.parametrize("wrong", [-1.0, float("nan"), float("inf")])
def test_a_weight_below_nothing_is_refused(wrong: float) -> None:
    with pytest.raises(LeadingError, match="top_leap"):
        Weights(top_leap=wrong)


@pytest.mark.parametrize("family", ["four-way close", "drop 2", "rootless from the third", "guide tones"])
def test_under_a_melody_the_melody_is_on_top(family: str) -> None:
    melody = [76, 74, 71, 72]
    asked = [
        Slot(parse(symbol), MidiNote(key)) for symbol, key in zip("Cmaj7 Dm7 G7 Cmaj7".split(), melody, strict=True)
    ]
    path = lead(asked, Plan((family,)))
    assert [found[-1] for found in keys(path)] == melody
    for station in path.stations:
        placement = station.placement
        assert list(placement.keys) == sorted(set(placement.keys))
        sounding = [(key - note.pitch_class) % 12 for key, note in zip(placement.keys, placement.notes, strict=True)]
        assert not any(sounding)


def test_an_open_dominant_takes_on_the_flat_nine_of_its_melody() -> None:
    # Common practice, no source: no natural nine under a flat nine.
    found = candidates(Slot(parse("D7"), MidiNote(75)))
    assert found.placements
    assert not any("E" in [note.name for note in placement.notes] for placement in found.placements)


def test_a_left_hand_form_lies_below_a_melody_far_above_it() -> None:
    found = candidates(Slot(parse("Dm7"), MidiNote(81)), Plan(("rootless from the third",)))
    assert (53, 57, 60, 64, 81) in [placement.keys for placement in found.placements]


def test_a_chord_with_voicings_of_its_own_is_voiced_in_them() -> None:
    own = Slot(parse("G7"), voicings=("b7 3 13",))
    path = lead([*slots("Dm7"), own, *slots("Cmaj7")])
    assert [note.name for note in path.stations[1].placement.notes] == ["F", "B", "E"]


def test_a_triad_among_seventh_chords_is_voiced_close_in_the_same_register() -> None:
    path = lead(slots("Dm7 G7 C"))
    assert path.stations[2].placement.recipe.family == "close triad"
    assert 50 <= keys(path)[2][0] <= 72
    assert path.stations[2].candidates.refused


def test_a_chord_leads_across_a_bar_of_silence() -> None:
    path = lead(slots("Dm7 N.C. G7"))
    assert [station.number for station in path.stations] == [0, 2]
    assert path.motion_semitones == 1


def test_every_turn_of_a_form_is_a_candidate_where_inversions_are_asked_for() -> None:
    found = candidates(Slot(parse("Dm7")), Plan(("b3 5 b7 9",), Register(MidiNote(53), MidiNote(76)), inversions=True))
    assert {placement.recipe.text for placement in found.placements} == {
        "b3 5 b7 9", "5 b7 9 b3", "b7 9 b3 5", "9 b3 5 b7",
    }  # fmt: skip


# ------------------------------------------------------------- refusals


def test_a_voicing_wider_than_the_reach_is_refused_with_its_reason() -> None:
    found = candidates(Slot(parse("Dm7")), Plan(reach_semitones=10))
    assert [placement.recipe.name for placement in found.placements] == ["rootless from the seventh"]
    assert any("reach" in refusal.reason for refusal in found.refused)


def test_an_interval_below_its_limit_is_refused_with_its_reason() -> None:
    low = Register(MidiNote(36), MidiNote(60), LOW_INTERVAL_LIMITS)
    found = candidates(Slot(parse("C7")), Plan(("shell, root and third",), low))
    assert [placement.keys for placement in found.placements] == [(48, 52)]
    assert any(refusal.keys == (36, 40) and "unclear" in refusal.reason for refusal in found.refused)


def test_a_chord_that_fits_nowhere_is_named() -> None:
    narrow = Plan(register=Register(MidiNote(60), MidiNote(64)))
    with pytest.raises(LeadingError, match="chord 2, G7, has no voicing") as caught:
        lead(slots("N.C. G7"), narrow)
    assert caught.value.slot == 1
    assert caught.value.refused


@pytest.mark.parametrize("name", ["rootles from the third", "nonsense", "b7 3 zz"])
def test_an_unknown_voicing_is_refused_by_name(name: str) -> None:
    with pytest.raises(LeadingError):
        lead(slots("G7"), Plan((name,)))


def test_no_chord_is_no_path() -> None:
    with pytest.raises(LeadingError, match="no chord"):
        lead(slots("N.C. N.C."))


# ------------------------------------------------------------- telling


def test_a_path_is_told_with_its_moves_and_what_else_was_possible() -> None:
    path = lead(slots("Dm7 G7 Cmaj7"))
    text = path_text(path, {0: "1", 1: "2", 2: "3"}, why=True)
    assert "♭3 5 ♭7 9" in text
    assert "6 semitones in all" in text
    assert "rootless from the seventh from C4: just as cheap" in text
    path = lead(slots("A7 D7"), Plan(("drop 2",)), Weights(top_leap=0.5))
    assert "more in all" in path_text(path, why=True)
    assert "C♯" in path_text(path)


def test_a_path_as_plain_values_is_json() -> None:
    path = lead(slots("Dm7 G7 Cmaj7"), loop=True)
    told = json.loads(json.dumps(path_values(path)))
    assert told["motion_semitones"] == path.motion_semitones
    assert [chord["keys"] for chord in told["chords"]] == [list(found) for found in keys(path)]


# ------------------------------------------------------------- a plan of its own for one chord


def test_a_chord_may_have_a_plan_of_its_own_among_others() -> None:
    # Common practice, no source: G7 as its shell, root and seventh, between rootless neighbours.
    shell = Slot(parse("G7"), plan=Plan(("shell, root and seventh",)))
    path = lead([Slot(parse("Dm7")), shell, Slot(parse("Cmaj7"))])
    assert [len(each) for each in keys(path)] == [4, 2, 4]
    assert {key % 12 for key in keys(path)[1]} == {7, 5}


def test_a_plan_asks_for_the_top_note_the_bottom_key_the_hand_and_what_is_optional() -> None:
    dm7 = Slot(parse("Dm7"))
    # The form of Dm7 with its 9 on top is F A C E.
    assert {each.keys[-1] % 12 for each in candidates(dm7, Plan(top=Degree.parse("9"))).placements} == {4}
    assert [each.keys for each in candidates(dm7, Plan(bottom=MidiNote(60))).placements] == [(60, 64, 65, 69)]
    ninth = candidates(dm7, Plan(optional=(Degree.parse("9"),), hand="both")).placements[0].recipe
    assert (ninth.text, ninth.hand, ninth.split) == ("b3 5 b7 (9)", "both", 2)


def test_bounds_of_a_plan_take_the_place_of_the_usual_ones() -> None:
    found = candidates(Slot(parse("Dm7")), Plan(lowest=MidiNote(54))).placements
    assert found and all(each.keys[0] >= 54 for each in found)
