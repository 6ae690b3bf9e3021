"""Which harp: rankings and smallest sets.

Oracles: enumeration of all sets; scipy's integer programming (HiGHS); the circle of fifths.
What a player would take is common practice, no source.
"""

from __future__ import annotations

import json
import random
from itertools import combinations
from pathlib import Path

import pytest

from tabtool.cli import main
from tabtool.diagnostics import TabError
from tabtool.harp import position
from tabtool.holes.fingering import hands
from tabtool.holes.melody import melody
from tabtool.holes.ranking import (
    cheapest_cover,
    every_harp,
    rank,
    rate,
    read_case,
    smallest_set,
)
from tabtool.holes.tally import tally
from tabtool.load import load, load_file
from tabtool.music import parse_key
from tabtool.player import Player
from tabtool.tunings import REGISTERS, STANDARD_KEYS, TUNINGS

SONGS = Path(__file__).resolve().parent.parent / "songs"
RICHTER = every_harp([TUNINGS["Richter"]])
AIR = "title: Air\nharp: C\nkey: C\n| 4^ 4v 5^ 5v | 6^ 6v 7v 7^ | 7v 6v 6^ 5v | 5^ 4v 4^ . |\n"


def tune(text: str):  # type: ignore[no-untyped-def]
    return melody(load(text).score.events)


# --- ranking ---


def test_every_key_register_and_tuning_is_tried() -> None:
    harps = every_harp()
    assert len(harps) == len(set(harps)) == len(TUNINGS) * len(STANDARD_KEYS) * 3
    assert {harp.key.rpartition(" ")[0] for harp in harps} == {"", "low", "high"} <= set(REGISTERS)


def test_best_first_and_every_rating_is_the_fingering_s() -> None:
    """Oracle: the exact choice of holes on each harp, whose own oracle is enumeration."""
    song = melody(load_file(str(SONGS / "rope-and-lantern.harptab")).score.events)
    for player in (Player(), Player(bends=2, overbends=False)):
        ranked = rank([song], RICHTER, player)
        assert len(ranked) == len(RICHTER)
        order = [(one.impossible, one.cost) for one in ranked]
        assert order == sorted(order)
        for one in ranked:
            choice = hands(one.harp.layout, player).choose(song.passage, one.harp.root)
            missing = {
                (event.note.span, place)
                for (event, place), grip in zip(song.places, choice.grips, strict=True)
                if grip is None
            }
            assert one.cost == choice.cost
            assert one.impossible == len(missing)


def test_songs_rate_no_worse_than_they_are_written() -> None:
    """The written fingering is one of those weighed, so the best costs no more."""
    songs = sorted(SONGS.glob("*.harptab"))
    assert len(songs) >= 15
    compared = 0
    for path in songs:
        loaded = load_file(str(path))
        harps = {stretch.setting.harp for stretch in loaded.score.stretches}
        if len(harps) > 1 or not loaded.playable:
            continue
        (harp,) = harps
        assert harp is not None
        compared += 1
        best = rate([melody(loaded.score.events)], harp, Player())
        # Phrases are kept alike, so a fingering written otherwise may undercut it a little.
        assert best.cost <= tally(loaded.score).cost * 1.02, path
    assert compared >= 12


def test_a_major_scale_of_natural_notes_is_played_in_first_position() -> None:
    """Common practice, no source: C major, C5 to C6, on a C harp. Solo tuning holds it too."""
    ranked = rank([tune(AIR)], RICHTER)
    assert ranked[0].harp.key == "C"
    assert position(ranked[0].harp, parse_key("C")) == 1  # type: ignore[arg-type]


@pytest.mark.parametrize("any_key", [False, True])
def test_a_blues_in_e_is_for_the_a_harp_in_second_position(any_key: bool) -> None:
    """Common practice, no source: cross harp, with its draw bends and its scoops."""
    song = melody(load_file(str(SONGS / "rope-and-lantern.harptab")).score.events)
    ranked = rank([song], RICHTER, any_key=any_key)
    assert (ranked[0].harp.key, ranked[0].semitones) == ("A", 0)


def test_in_any_key_every_harp_of_a_layout_does_as_well() -> None:
    """A position's pattern is the same on every harp (published fact, Harp-L)."""
    ranked = rank([tune(AIR)], [harp for harp in RICHTER if " " not in harp.key], any_key=True)
    assert len({(one.impossible, one.cost) for one in ranked}) == 1
    assert [ranked[0].harp.key, ranked[0].semitones] == ["C", 0]
    for one in ranked:
        assert (one.semitones - (one.harp.root - 60)) % 12 == 0


def test_several_tunes_are_one_programme() -> None:
    one, two = tune(AIR), tune(AIR.replace("harp: C", "harp: D"))
    together = {rated.harp: rated for rated in rank([one, two], RICHTER)}
    for harp in RICHTER:
        alone = [rate([song], harp, Player()) for song in (one, two)]
        assert together[harp].cost == sum(rated.cost for rated in alone)
        assert together[harp].impossible == sum(rated.impossible for rated in alone)


# --- smallest sets ---


def random_costs(chance: random.Random, rows: int, numbers: int) -> list[dict[int, int]]:
    return [
        {n: chance.randint(1, 20) for n in range(numbers) if chance.random() < 0.35}
        for _ in range(rows)
    ]


def set_cost(costs: list[dict[int, int]], chosen: tuple[int, ...], wanted: set[int]) -> int | None:
    """What a set costs; None if it does not hold all."""
    if not all(any(n in costs[at] for at in chosen) for n in wanted):
        return None
    return sum(min(costs[at][n] for at in chosen if n in costs[at]) for n in wanted)


def test_the_smallest_set_is_the_smallest_and_cheapest_of_all_sets() -> None:
    """Oracle: enumeration of every set, by size."""
    chance = random.Random(4)
    for _ in range(400):
        costs = random_costs(chance, chance.randint(1, 8), chance.randint(1, 7))
        wanted = set().union(*costs)
        chosen = cheapest_cover(costs)
        for size in range(len(costs) + 1):
            sets = [(set_cost(costs, s, wanted), s) for s in combinations(range(len(costs)), size)]
            covers = sorted((cost, s) for cost, s in sets if cost is not None)
            if covers:
                assert len(chosen) == size
                assert set_cost(costs, chosen, wanted) == covers[0][0]
                break


def test_the_smallest_set_of_a_real_case_is_the_solver_s() -> None:
    """Oracle: scipy's milp on 40 harps and 30 tunes."""
    optimize = pytest.importorskip("scipy.optimize")
    chance = random.Random(6)
    for _ in range(5):
        costs = random_costs(chance, 40, 30)
        wanted = sorted(set().union(*costs))
        matrix = [[int(n in row) for row in costs] for n in wanted]
        solved = optimize.milp(
            [1] * len(costs),
            constraints=optimize.LinearConstraint(matrix, lb=1),
            integrality=[1] * len(costs),
            bounds=optimize.Bounds(0, 1),
        )
        assert len(cheapest_cover(costs)) == round(solved.fun)


def test_harps_for_a_folder_play_every_tune_with_ease() -> None:
    songs = [melody(load_file(str(path)).score.events) for path in sorted(SONGS.glob("*.harptab"))]
    case = read_case("A, Bb, C, D, E, F, G, low F, low D")
    cover = smallest_set(songs, case, ease=20)
    assert set(cover.harps) <= set(case)
    able = {
        harp: {n for n, song in enumerate(songs) if _easy(rate([song], harp, Player()))}
        for harp in case
    }
    for number, one in enumerate(cover.choice):
        if one is None:
            assert not any(number in held for held in able.values())
        else:
            assert one.harp in cover.harps
            assert _easy(one)
    wanted = set().union(*able.values())
    for smaller in combinations(case, len(cover.harps) - 1):
        assert set().union(*(able[harp] for harp in smaller)) != wanted


def _easy(rated) -> bool:  # type: ignore[no-untyped-def]
    return rated.impossible == 0 and rated.ease <= 20


# --- the case ---


def test_a_case_is_keys_registers_and_tunings(tmp_path: Path) -> None:
    case = read_case("A, c, low F, Bb paddy richter, Dm, Gm natural minor\nC chromatic 12 # old")
    assert [str(harp) for harp in case] == [
        "A harp, Richter tuning",
        "C harp, Richter tuning",
        "low F harp, Richter tuning",
        "Bb harp, Paddy Richter tuning",
        "Dm harp, natural minor tuning",
        "Gm harp, natural minor tuning",
        "C harp, chromatic 12 tuning",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("A, H", "'H' is no harp"),
        ("A\nC Ricter", "line 2: no tuning is called 'Ricter'"),
        ("Am Richter", "not sold as Am"),
        ("# nothing", "no harp in it"),
    ],
)
def test_what_is_no_harp_is_told(text: str, told: str) -> None:
    with pytest.raises(TabError, match=told):
        read_case(text)


# --- the command ---


def run(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main([str(arg) for arg in args])
    out, err = capsys.readouterr()
    return status, out, err


@pytest.fixture
def air(tmp_path: Path) -> Path:
    path = tmp_path / "air.harptab"
    path.write_text(AIR)
    return path


def test_the_json_of_a_ranking(air: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "harps", air, "--own", "G, C, low F", "--json")
    assert status == 0
    rows = json.loads(out)
    assert rows[0]["key"] == "C"
    for row in rows:
        assert list(row) == ["key", "tuning", "position", "playable", "impossible", "cost"]
        assert row["playable"] is (row["impossible"] == 0)
    assert {row["key"]: row["position"] for row in rows} == {"C": 1, "G": 12, "low F": 2}


def test_the_position_counts_from_the_key_the_tune_then_has(
    air: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "harps", air, "--own", "G, C, D", "--any-key", "--json")
    assert [row["position"] for row in json.loads(out)] == [1, 1, 1]


def test_no_key_no_position(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "air.harptab"
    path.write_text(AIR.replace("key: C\n", ""))
    _, out, _ = run(capsys, "harps", path, "--own", "C", "--json")
    assert json.loads(out)[0]["position"] is None


def test_the_table_names_range_and_hardest_bars(
    air: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(capsys, "harps", air, "--own", "C, G")
    assert status == 0
    assert "C5 to C6, in C" in out
    row = next(line for line in out.splitlines() if line.startswith("C "))
    assert "4-7" in row
    assert "1st" in row


def test_no_harp_that_plays_it_ends_with_1(air: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, _, _ = run(capsys, "harps", air, "--own", "Ab", "--player", "bends 0, overbends no")
    assert status == 1


def test_a_set_names_harps_tunes_and_what_is_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for key in ("C", "D"):
        path = tmp_path / f"{key}.harptab"
        path.write_text(AIR.replace("harp: C\nkey: C", f"harp: {key}\nkey: {key}"))
    (tmp_path / "hard.harptab").write_text("harp: C\nkey: Ab\n| 4^^ 2v2 3v3 6^^ |\n")
    arguments = (tmp_path, "--set", "--own", "A, C, D", "--ease", "easy")
    status, out, _ = run(capsys, "harps", *arguments, "--json")
    assert status == 1
    found = json.loads(out)
    assert [harp["key"] for harp in found["harps"]] == ["C", "D"]
    assert found["missing"] == [str(tmp_path / "hard.harptab")]
    assert [row.get("key") for row in found["tunes"]] == ["C", "D", None]
    status, out, _ = run(capsys, "harps", *arguments)
    assert "2 harps for 2 tunes" in out
    assert "on none of them" in out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--top", "many"], "write a whole number"),
        (["--ease", "easy"], "belongs to --set"),
        (["--set", "--ease", "fast"], "write easy, moderate, hard"),
        (["--own", "C", "--tuning", "solo"], "leave --tuning out"),
        (["--own", "X"], "is no harp"),
    ],
)
def test_what_cannot_be_meant_is_told_in_one_line(
    air: Path, arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, "harps", air, *arguments)
    assert (status, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1
