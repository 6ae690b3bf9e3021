"""Speed of choosing holes, as ratios to music21 reading the same tune in the same run."""

from __future__ import annotations

import random
import time
from collections.abc import Callable

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tabtool.holes.fingering import Hands, choose
from tabtool.holes.passage import Passage, Want
from tabtool.player import Player
from tabtool.tunings import TUNINGS, make_harp

NAMES = ["C", "D", "E", "F", "G", "A", "B", "c", "d", "e", "f", "g", "a", "b", "c'"]
SCALE = (60, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79, 81, 83, 84)
TEN_HOLES = [layout for layout in TUNINGS.values() if layout.holes == 10]
TWELVE = [*TEN_HOLES, *(layout for layout in TUNINGS.values() if layout.holes > 10)][:12]


def walk(notes: int) -> list[int]:
    """A tune that goes by steps and small leaps, as steps of the scale; the same each time."""
    dice = random.Random(1)
    steps = [4]
    while len(steps) < notes:
        step = steps[-1] + dice.choice((-3, -2, -1, -1, 1, 1, 2, 3))
        if 0 <= step < len(SCALE):
            steps.append(step)
    return steps


def cpu(work: Callable[[], object], rounds: int) -> float:
    best = float("inf")
    for _ in range(rounds):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


@pytest.fixture(scope="module")
def reading() -> float:
    """CPU seconds music21 takes to read a tune of 500 notes from ABC."""
    converter = pytest.importorskip("music21.converter")
    bars = ["".join(NAMES[s] for s in walk(500)[at : at + 8]) for at in range(0, 500, 8)]
    abc = "X:1\nT:walk\nM:4/4\nL:1/8\nK:C\n" + "|\n".join(bars) + "|\n"

    def read() -> None:
        assert len(converter.parse(abc, format="abc", forceSource=True).flatten().notes) == 500

    read()
    return cpu(read, 3)


def passage(notes: int) -> Passage:
    return Passage([Want((SCALE[step],)) for step in walk(notes)], [0.25] * notes)


def test_choosing_holes_takes_a_twentieth_of_music21s_reading(
    benchmark: BenchmarkFixture, reading: float
) -> None:
    """One harp never met before, 500 notes."""

    def work() -> None:
        chosen = Hands(TUNINGS["Richter"], Player()).choose(passage(500), 60)
        assert None not in chosen.grips

    ours = cpu(work, 5)
    benchmark.pedantic(work, rounds=5)
    benchmark.extra_info["share of music21's reading"] = round(ours / reading, 3)
    assert ours <= reading / 20


def test_ranking_180_harps_takes_no_longer_than_music21s_reading(
    benchmark: BenchmarkFixture, reading: float
) -> None:
    """15 keys × 12 tunings, none of them met before, 500 notes."""

    def work() -> None:
        tune = passage(500)
        assert len(TWELVE) == 12
        for layout in TWELVE:
            played = Hands(layout, Player())
            for root in range(53, 68):
                played.rate(tune, root)

    ours = cpu(work, 3)
    benchmark.pedantic(work, rounds=3)
    benchmark.extra_info["share of music21's reading"] = round(ours / reading, 2)
    assert ours <= reading


@pytest.mark.parametrize("tuning", ["Richter", "chromatic 12"])
def test_cost_is_linear_to_100_000_notes(benchmark: BenchmarkFixture, tuning: str) -> None:
    harp = make_harp("C", TUNINGS[tuning])
    assert harp is not None
    short, long = ([SCALE[step] for step in walk(notes)] for notes in (10_000, 100_000))
    choose(short[:100], harp)
    each = cpu(lambda: choose(short, harp), 3) / len(short)
    long_each = cpu(lambda: choose(long, harp), 2) / len(long)
    benchmark.pedantic(choose, args=(short, harp), rounds=3)
    benchmark.extra_info["cost of a note, 100,000 to 10,000"] = round(long_each / each, 2)
    assert long_each / each < 2.5


def test_a_chain_of_free_choices_is_linear_too(benchmark: BenchmarkFixture) -> None:
    """Notes that all leave a choice, none of them in a phrase that comes again."""
    played = Hands(TUNINGS["chromatic 12"], Player())
    free = [pitch for pitch in range(60, 97) if len(played.grips(Want((pitch - 60,)))) > 1]
    assert len(free) >= 5
    dice = random.Random(2)

    def chain(notes: int) -> Passage:
        line = [dice.choice(free) for _ in range(notes)]
        return Passage([Want((pitch,)) for pitch in line], written=range(notes))

    def work(tune: Passage) -> None:
        assert None not in played._try(tune, 60, len(tune) + 1, None).values.values()

    sizes = [chain(2_000), chain(20_000)]
    short, long = (cpu(lambda tune=tune: work(tune), 2) / len(tune) for tune in sizes)
    benchmark.pedantic(work, args=(sizes[0],), rounds=3)
    benchmark.extra_info["cost of a note, 20,000 to 2,000"] = round(long / short, 2)
    assert long / short < 2.5
