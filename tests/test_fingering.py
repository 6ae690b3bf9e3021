"""The choice of holes: exact, the same every time, and what good players choose.

The oracle of the minimum is enumeration of every fingering. What good players choose is
common practice, no source.
"""

from __future__ import annotations

import random
from itertools import product
from pathlib import Path

import pytest

from tabtool.holes.costs import COSTS, costs_for
from tabtool.holes.fingering import PHRASE, Choice, Grip, Hands, choose, hands
from tabtool.holes.melody import melody
from tabtool.holes.minimum import Network
from tabtool.holes.passage import Passage, Want
from tabtool.load import load_file
from tabtool.player import Player
from tabtool.tune import Figure
from tabtool.tunings import TUNINGS, find_tuning, make_harp

C = make_harp("C")
assert C is not None
PLAYERS = (
    Player(),
    Player(bends=1, overbends=False),
    Player(bends=3, overbends=True, tongue_blocking=True),
    Player(tongue_blocking=False, fastest_change=0.2),
)


def tokens(pitches, harp=C, player=Player(), times=None):  # noqa: B008
    return [tone.token if tone else None for tone in choose(pitches, harp, player, times)]


# --- exact ---


def brute_force(played: Hands, passage: Passage, alike: list[int]) -> Choice:
    """The cheapest of all fingerings in which places of one number in `alike` have one grip.

    Ties go to the first in the order of the ways, the first note deciding first.
    """
    ways = [played.grips(passage.wants[sound]) for sound in passage.sounds]
    numbers = sorted(set(alike))
    best: Choice | None = None
    for values in product(*[range(max(1, len(ways[number]))) for number in numbers]):
        value = dict(zip(numbers, values, strict=True))
        grips = tuple(
            way[value[number]] if way else None for way, number in zip(ways, alike, strict=True)
        )
        cost = played.cost(passage, grips)
        if best is None or cost < best.cost:
            best = Choice(grips, cost)
    assert best is not None
    return best


def alike_by_definition(passage: Passage) -> list[int]:
    """Which places share a grip, found by comparing every pair of runs until nothing changes."""
    count = len(passage)
    group = list(range(count))
    pairs = [
        (i + step, j + step)
        for i in range(count - PHRASE + 1)
        for j in range(i)
        if passage.sounds[i : i + PHRASE] == passage.sounds[j : j + PHRASE]
        for step in range(PHRASE)
    ]
    changed = True
    while changed:
        changed = False
        for one, other in pairs:
            if group[one] != group[other]:
                group[one] = group[other] = min(group[one], group[other])
                changed = True
    return group


def random_passage(chance: random.Random, tuning: str) -> Passage:
    """A short tune: singles and chords of the pitches that leave a choice, and of any."""
    layout = find_tuning(tuning)
    assert layout is not None
    played = hands(layout)
    pitches = sorted({way.pitch for way in played.harp.ways})
    open_ones = [pitch for pitch in pitches if len(played.grips(Want((pitch,)))) > 1]
    pool = chance.choices(open_ones, k=2) + chance.choices(pitches, k=3)
    wants = [Want((pitch,)) for pitch in pool]
    blow = chance.choice((layout.blow, layout.draw))
    low = chance.randrange(layout.holes - 4)
    wants.append(Want((blow[low], blow[low + 1])))
    wants.append(Want((blow[low], blow[low + 3])))
    if chance.random() < 0.3:
        wants.append(Want((pool[0],), shake=pool[-1]))
    phrase = chance.choices(wants, k=chance.randint(1, 5))
    line = phrase + chance.choices(wants, k=chance.randint(0, 3)) + phrase[: chance.randint(0, 4)]
    times = [chance.choice((0.05, 0.12, 0.2, 0.5, float("inf"))) for _ in line]
    marks = [chance.choice((0, 0, 0, 1, 2)) for _ in line]
    return Passage(line, times, marks)


@pytest.mark.parametrize(
    "tuning", ["Richter", "solo", "half-valved Richter", "chromatic 16", "chromatic 12"]
)
def test_the_choice_is_the_minimum_over_every_fingering(tuning):
    """Oracle: enumeration. 5 × 600 tunes, four players, singles, chords, splits and shakes."""
    chance = random.Random(tuning)
    layout = find_tuning(tuning)
    done = open_tunes = 0
    while done < 600:
        passage = random_passage(chance, tuning)
        played = hands(layout, chance.choice(PLAYERS))
        alike = alike_by_definition(passage)
        size = 1
        for number in set(alike):
            size *= max(1, len(played.grips(passage.wants[passage.sounds[number]])))
        if size > 800:
            continue
        done += 1
        open_tunes += size > 1
        expected, chosen = brute_force(played, passage, alike), played.choose(passage)
        assert chosen.cost == expected.cost
        assert played.cost(passage, chosen.grips) == chosen.cost
        assert [grip is None for grip in chosen.grips] == [g is None for g in expected.grips]
        assert alike == passage.notes(PHRASE)
    assert open_tunes > 300  # enough of them left a choice


def test_ties_go_the_same_way_whatever_was_asked_before():
    chance = random.Random(5)
    passages = [random_passage(chance, "chromatic 12") for _ in range(200)]
    layout = TUNINGS["chromatic 12"]
    first = [Hands(layout).choose(passage) for passage in passages]
    chance.shuffle(passages)
    again = {id(passage): Hands(layout).choose(passage) for passage in passages}
    kept = hands(layout)
    chance = random.Random(5)
    for choice in first:
        passage = random_passage(chance, "chromatic 12")
        assert kept.choose(passage) == choice
    assert sorted(map(str, first)) == sorted(map(str, again.values()))


def test_among_equals_the_first_note_takes_the_lower_hole():
    assert tokens([67]) == ["2v"]
    assert tokens([67, 67, 67]) == ["2v", "2v", "2v"]


def test_a_chain_without_repeats_takes_the_first_of_all_minima():
    """Oracle: enumeration in order; ties there go to the first note's first way, and so on."""
    chance = random.Random(8)
    played = hands(TUNINGS["solo"])
    for _ in range(300):
        line = chance.sample([Want((pitch,)) for pitch in range(0, 29)], 7)
        passage = Passage(line)
        assert played.choose(passage) == brute_force(played, passage, list(range(7)))


def test_networks_with_loops_are_solved_exactly():
    """Oracle: enumeration, on dense networks where three and more choices hang together."""
    chance = random.Random(9)
    for _ in range(300):
        size = chance.randint(1, 7)
        own = [[chance.randint(0, 9) for _ in range(chance.randint(1, 3))] for _ in range(size)]
        links = {
            (i, j): [[chance.randint(0, 9) for _ in own[j]] for _ in own[i]]
            for i in range(size)
            for j in range(i)
            if chance.random() < 0.7
        }
        network = Network()
        for number, costs in enumerate(own):
            network.choice(number, list(costs))
        for (i, j), rows in links.items():
            network.link(i, j, rows)
        solved = network.solve()
        assert solved is not None
        least, values = solved

        assert network_cost(own, links, values) == least
        every = product(*[range(len(costs)) for costs in own])
        assert least == min(network_cost(own, links, values) for values in every)


def network_cost(own, links, values):
    return sum(costs[values[n]] for n, costs in enumerate(own)) + sum(
        rows[values[i]][values[j]] for (i, j), rows in links.items()
    )


def test_where_phrases_overlap_too_densely_the_choice_is_still_made():
    """A random walk over a chromatic harp: every phrase of four comes again somewhere."""
    chance = random.Random(10)
    line = [60 + chance.randrange(24) for _ in range(3000)]
    harp = make_harp("C", TUNINGS["chromatic 12"])
    assert all(choose(line, harp))


# --- repeated phrases ---


@pytest.mark.parametrize("tuning", ["Richter", "solo", "chromatic 12"])
def test_a_repeated_phrase_keeps_its_fingering(tuning):
    chance = random.Random(tuning)
    harp = make_harp("C", TUNINGS[tuning])
    pool = [60, 62, 64, 67, 67, 71, 72, 72, 74, 76, 77]
    for _ in range(200):
        phrase = chance.choices(pool, k=chance.randint(PHRASE, 9))
        before, between, after = (chance.choices(pool, k=chance.randint(0, 5)) for _ in range(3))
        line = [*before, *phrase, *between, *phrase, *after]
        chosen = choose(line, harp)
        one, two = len(before), len(before) + len(phrase) + len(between)
        assert chosen[one : one + len(phrase)] == chosen[two : two + len(phrase)], line


def test_a_note_written_once_has_one_fingering_that_suits_both_passes():
    """G4 follows 1 blow on one pass and 4 draw on the other; written once, it is one hole."""
    wants = [Want((float(p),)) for p in (64, 67, 74, 67)]
    chosen = hands(C.layout).choose(Passage(wants, written=["a", "g", "b", "g"]), 60)
    grips = [grip.tones[0].token for grip in chosen.grips]
    assert grips[1] == grips[3]


# --- what good players choose: common practice, no source ---


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # second position: G4 is the home note, and it is 2 draw among draw notes
        ([67, 71, 74, 71, 67], "2v 3v 4v 3v 2v"),
        ([74, 71, 70, 67], "4v 3v 3v1 2v"),  # the blue third falling home
        ([65, 67, 65, 67], "2v2 2v 2v2 2v"),
        ([62, 67, 71], "1v 2v 3v"),
        # first position: the same G4 is 3 blow among blow notes
        ([60, 64, 67, 72], "1^ 2^ 3^ 4^"),
        ([72, 67, 64, 60], "4^ 3^ 2^ 1^"),
        ([64, 67, 64], "2^ 3^ 2^"),
        # 4 blow, never 3 overblow; 9 draw, never 8 overdraw; 3 draw bent three, not 2 overblow
        ([71, 72, 74], "3v 4^ 4v"),
        ([88, 89, 91], "8^ 9v 9^"),
        ([71, 68, 71], "3v 3v3 3v"),
        ([64, 68, 64], "2^ 3v3 2^"),
        # the major scale of the middle octave is all natural notes
        ([72, 74, 76, 77, 79, 81, 83, 84], "4^ 4v 5^ 5v 6^ 6v 7v 7^"),
        # and in the low octave the missing notes are bends
        ([60, 62, 64, 65, 67, 69, 71, 72], "1^ 1v 2^ 2v2 2v 3v2 3v 4^"),
    ],
)
def test_choices_of_a_good_player(line, expected):
    assert " ".join(tokens(line)) == expected


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # the scale of the key on the cover without the slide; C where the hand already is
        ([60, 62, 64, 65, 67, 69, 71, 72], "1^ 1v 2^ 2v 3^ 3v 4v 4^"),
        ([76, 74, 72, 71], "6^ 5v 4^ 4v"),
        # a neighbour note by the slide alone
        ([62, 63, 62], "1v 1v* 1v"),
        ([64, 65, 64], "2^ 2v 2^"),
        # flat keys: F with the slide among notes with the slide
        ([61, 65, 68, 65, 61], "1^* 2^* 3^* 2^* 1^*"),
    ],
)
def test_choices_of_a_good_player_on_the_chromatic(line, expected):
    harp = make_harp("C", TUNINGS["chromatic 12"])
    assert " ".join(tokens(line, harp)) == expected


SONGS = sorted((Path(__file__).resolve().parent.parent / "songs").glob("*.harptab"))


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
def test_songs_written_by_hand_are_fingered_alike(song):
    """Oracle: the songs as their writer fingered them. Where they differ it costs no more."""
    loaded = load_file(str(song))
    for harp in {event.setting.harp for event in loaded.score.events}:
        tune = melody([e for e in loaded.score.events if e.setting.harp == harp])
        figures = [(*e.figure.grace, e.figure)[place] for e, place in tune.places]
        played = hands(harp.layout)
        written = [played.grip_of(figure.tones, figure.shake) for figure in figures]
        chosen = played.choose(tune.passage, harp.root)
        same = [one is not None and one.all_tones == two.all_tones
                for one, two in zip(chosen.grips, written, strict=True)]  # fmt: skip
        assert chosen.cost <= played.cost(tune.passage, written)
        assert sum(same) >= 0.9 * len(same)


def test_who_does_not_bend_gets_no_bends():
    low_a, g = 69, 67
    assert tokens([g, low_a, g], player=Player(bends=0)) == ["2v", None, "2v"]
    assert tokens([g, low_a, g], player=Player(bends=2)) == ["2v", "3v2", "2v"]


def test_who_does_not_bend_takes_the_second_octave_note_where_octaves_may_move():
    """3 draw bent two or 6 draw an octave up."""
    want = Want((9,), octaves=True)
    (grip,) = hands(C.layout, Player(bends=0)).grips(want)
    assert (grip.tones[0].token, grip.octave) == ("6v", 12)
    bender = hands(C.layout, Player(bends=3)).grips(want)
    assert (bender[0].tones[0].token, bender[0].octave) == ("3v2", 0)


def test_a_scoop_takes_the_hole_that_can_bend():
    """Among blow notes G4 is 3 blow; with a scoop on it, 2 draw, which bends."""
    wants = [Want((pitch,)) for pitch in (4, 7, 4)]
    plain = hands(C.layout).choose(Passage(wants))
    scooped = hands(C.layout).choose(Passage(wants, marks=[0, 1, 0]))
    assert [grip.tones[0].token for grip in plain.grips] == ["2^", "3^", "2^"]
    assert [grip.tones[0].token for grip in scooped.grips] == ["2^", "2v", "2^"]


@pytest.mark.parametrize(
    ("pitches", "expected"),
    [
        ((60, 64, 67), "1+2+3^"),
        ((67, 71, 74), "2+3+4v"),
        ((62, 74), "1+4v"),  # an octave split
        ((60, 72), "1+4^"),
        ((60, 62), None),  # blow and draw at once
        ((60, 96), None),  # too far apart
        ((75, 79), None),  # an overblow in a chord
        ((67, 70), "2v+3v1"),  # bent, as there is no other way
    ],
)
def test_chords_and_splits(pitches, expected):
    found = hands(C.layout).grips(Want(tuple(pitch - 60 for pitch in pitches)))
    written = [Figure(grip.tones).token for grip in found]
    assert written == ([expected] if expected else [])


def test_a_split_needs_a_tongue():
    assert not hands(C.layout, Player(tongue_blocking=False)).grips(Want((0, 12)))


# --- the table ---


def test_every_weight_has_words_and_points():
    for name, weight in COSTS._asdict().items():
        assert weight.points > 0, name
        assert len(weight.words) > 10, name


def test_the_player_changes_the_table():
    table = costs_for(Player(bends=2, overbends=True, tongue_blocking=True, fastest_change=0.2))
    assert table.first_bend.points < COSTS.first_bend.points
    assert table.overblow.points < COSTS.overblow.points
    assert table.split.points < COSTS.split.points
    assert table.too_quick.points > COSTS.too_quick.points
    assert costs_for(Player()) == COSTS


def test_bends_cost_less_than_overbends_whoever_plays():
    for player in PLAYERS:
        table = costs_for(player)
        deepest = table.first_bend.points + 2 * table.further_bend.points
        assert deepest < table.overblow.points < table.overdraw.points


def test_holes_do_not_depend_on_the_key_of_the_harp():
    """A position's hole pattern is the same on every harp (published fact, Harp-L)."""
    line = [67, 71, 74, 70, 67, 65, 67, 64, 62, 60, 67]
    expected = tokens(line)
    for key in ("G", "A", "F#", "low F", "high G"):
        harp = make_harp(key)
        assert tokens([pitch + harp.root - 60 for pitch in line], harp) == expected


def test_quarter_tones_are_bends():
    assert tokens([70.5]) == ["3v0.5"]
    assert tokens([60.5]) == [None]  # 1 draw bends a semitone, not one and a half


def test_a_grip_is_what_it_says():
    grip = hands(C.layout).grip_of(choose([67, 71], C)[:1])
    assert isinstance(grip, Grip)
    assert grip.points == 0
