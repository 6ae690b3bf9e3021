"""Where else each note sounds.

Oracle for the pitches: the natural notes of OEIS A291810 and the published rules of bends
and overbends (Harp-L 1994-09, 2005-03), through `find`, which is tested against them.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tabtool.cli import main
from tabtool.harp import find, position
from tabtool.holes.costs import COSTS
from tabtool.holes.whereabouts import Whereabouts, whereabouts
from tabtool.load import load
from tabtool.music import Key
from tabtool.player import Player
from tabtool.tunings import TUNINGS, make_harp

ALL = " ".join(f"{hole}^ {hole}v" for hole in range(1, 11))


def places(text: str, player: Player = Player(), problems: bool = False) -> list[Whereabouts]:  # noqa: B008
    return whereabouts(load(text, player=player), player, problems)


@pytest.mark.parametrize("tuning", sorted(TUNINGS))
def test_every_other_way_is_there_and_no_wrong_one(tuning: str) -> None:
    harp = make_harp("C", TUNINGS[tuning]) or make_harp("Cm", TUNINGS[tuning])
    assert harp is not None
    tones = [way.tone for way in harp.ways]
    text = f"harp: {harp.key}\ntuning: {tuning}\nmeter: free\n{' '.join(t.token for t in tones)}\n"
    found = places(text)
    assert len(found) == len(tones)
    for tone, place in zip(tones, found, strict=True):
        pitch = harp.intended(tone)
        assert pitch is not None
        same = [way.tone.token for way, away in find(harp, int(pitch) % 12, int(pitch)) if not away]
        assert sorted(way.token for way in place.ways) == sorted(set(same) - {tone.token})
        assert place.possible
        assert all(way.cents == 0 for way in place.ways)
        assert [way.cost for way in place.ways] == sorted(way.cost for way in place.ways)


def test_two_draw_and_three_blow() -> None:
    """Among draw notes 3 blow costs more than the written 2 draw, among blow notes less."""
    for line, dearer in (("1v 2v 3v 4v", True), ("2^ 2v 2^ 4^", False)):
        place = places(f"harp: C\n| {line} |\n")[1]
        (way,) = place.ways
        assert (place.pitch, way.token) == ("G4", "3^")
        assert (way.cost > 0) is dearer


def test_the_difference_is_that_of_the_whole_tune() -> None:
    """Oracle: the tune written the other way, counted as a whole."""
    from tabtool.holes.tally import tally

    text = "harp: C\ntempo: 150\n| 2v,3v 2v2 /2v 2^,2v | 4^ 2v 4v 2v,1v |\n"
    before = tally(load(text).score).cost
    for place in places(text):
        for way in place.ways:
            span = place.note.span
            lines = text.split("\n")
            line = lines[span.line - 1]
            token = "/" * place.note.figure.marks.scoop + way.token
            lines[span.line - 1] = line[: span.column - 1] + token + line[span.end_column - 1 :]
            assert tally(load("\n".join(lines)).score).cost - before == way.cost


def test_an_impossible_note_gets_the_nearest_below_and_above_with_the_cents_between() -> None:
    (_, place, *_) = places("harp: C\n| 4v 3v4 4v 4v |\n")
    assert (place.pitch, place.possible) == ("G4", False)
    assert [way.token for way in place.ways if not way.cents] == ["2v", "3^"]
    nearest = {way.cents: way.token for way in place.ways if way.cents}
    assert nearest == {100: "3v3", -100: "2v1"}


def test_a_pitch_that_is_nowhere() -> None:
    (place, *_) = places("harp: C\n| 1^2 4v 4v 4v |\n")
    assert place.pitch == "A#3" or place.pitch == "Bb3"
    assert [(way.token, way.cents) for way in place.ways] == [("1^", 200)]
    (beyond, *_) = places("harp: C\n| 11v 4v 4v 4v |\n")
    assert (beyond.pitch, beyond.ways) == ("", ())


def test_ways_beyond_the_player_are_not_offered() -> None:
    text = "harp: C\n| 4^ 3v3 4v 4v |\n"
    assert [way.token for way in places(text)[0].ways] == ["3^^"]
    assert not places(text, Player(overbends=False))[0].ways
    bender = places(text, Player(bends=1, overbends=False))[1]
    assert not bender.possible
    assert {way.token: way.cents for way in bender.ways} == {"2v": -100, "3v1": 200}


def test_chords_and_shakes() -> None:
    first, second, *_ = places("harp: C\ntuning: solo\n| 1+4^ 3~4^ 4^ 4v |\n")
    assert (first.pitch, [way.token for way in first.ways]) == ("C4+C5", ["1+5^"])
    assert (second.pitch, [way.token for way in second.ways]) == ("G4+C5", ["3~5^"])


def test_only_the_problems() -> None:
    text = "harp: C\n| 4v 5v1 4^^ 3^ | 2v 2v 2v 2v |\n"
    assert [place.note.figure.token for place in places(text, problems=True)] == ["5v1", "4^^"]


# --- the command ---


def run(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main([str(arg) for arg in args])
    out, err = capsys.readouterr()
    return status, out, err


def test_the_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.harptab"
    path.write_text("harp: C\n| 2v 5v1 11v 4v |\n")
    status, out, _ = run(capsys, "where", path, "--json")
    assert status == 1
    rows = json.loads(out)
    assert [row["written"] for row in rows] == ["2v", "5v1", "11v", "4v"]
    for row in rows:
        assert list(row) == ["line", "column", "written", "pitch", "choices"]
        for choice in row["choices"]:
            assert list(choice) == ["token", "technique", "cents", "cost"]
    assert (rows[0]["line"], rows[0]["column"], rows[0]["pitch"]) == (2, 3, "G4")
    assert rows[2]["pitch"] is None
    assert rows[1]["choices"][0] == {
        "token": "5^", "technique": "natural", "cents": 0, "cost": rows[1]["choices"][0]["cost"],
    }  # fmt: skip


def test_the_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.harptab"
    path.write_text("harp: C\n| 1v 2v 3v 4v |\n")
    status, out, _ = run(capsys, "where", path)
    assert status == 0
    assert "3^ (+" in out
    assert "nowhere else" in out
    _, out, _ = run(capsys, "where", path, "--problems")
    assert "nothing impossible or hard" in out


def test_the_costs_are_listed_with_their_words(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "where", "--costs")
    assert status == 0
    for weight in COSTS:
        assert weight.words in out
    _, out, _ = run(capsys, "where", "--costs", "--json", "--player", "overbends yes")
    rows = {row["name"]: row["points"] for row in json.loads(out)}
    assert rows["overblow"] < COSTS.overblow.points
    status, _, err = run(capsys, "where")
    assert status == 2
    assert "name a tune" in err


def test_positions() -> None:
    """Wikibooks, positions: first position has its tonic on blow 1, 4, 7, 10, second on 2 draw,
    3, 6 and 9 blow."""
    harp = make_harp("C")
    assert harp is not None
    for tonic, number, tokens in (
        ("C", 1, {"1^", "4^", "7^", "10^"}),
        ("G", 2, {"2v", "3^", "6^", "9^"}),
    ):
        key = Key(tonic)
        assert position(harp, key) == number
        found = {place.note.figure.token for place in places(f"harp: C\nmeter: free\n{ALL}\n")
                 if place.pitch.rstrip("0123456789") == tonic}  # fmt: skip
        assert found == tokens
