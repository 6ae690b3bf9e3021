"""The checks, against the published rules of the reeds, published tables that are wrong, and the
numbers they tell. The words of each rule are held by `test_rules.py`.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tabtool.checks.motion import BEND_CHANGE, OVERBEND_CHANGE, SECONDS_A_HOLE
from tabtool.checks.mouth import WIDEST_CHORD, WIDEST_SPLIT
from tabtool.cli import main
from tabtool.diagnostics import Diagnostic, Level
from tabtool.harp import Valves
from tabtool.load import load
from tabtool.player import Player, parse_player
from tabtool.tunings import TUNINGS

# OEIS A291810: semitones above the root, blow and draw alternating, holes 1 to 10.
A291810 = [0, 2, 4, 7, 7, 11, 12, 14, 16, 17, 19, 21, 24, 23, 28, 26, 31, 29, 36, 33]

OPEN = [layout for layout in TUNINGS.values() if layout.valves is Valves.NONE]


def findings(music: str, header: str = "", player: str = "") -> tuple[Diagnostic, ...]:
    """What is said of music without a meter, on a C harp unless the header names another."""
    harp = "" if "harp:" in header else "harp: C\n"
    loaded = load(f"{harp}meter: free\n{header}\n{music}\n", player=parse_player(player))
    assert loaded.readable, loaded.diagnostics
    return loaded.diagnostics


def rules(music: str, header: str = "", player: str = "") -> list[str]:
    return [found.rule.name for found in findings(music, header, player)]


def levels(music: str, player: str = "", header: str = "") -> dict[str, str]:
    return {found.rule.name: str(found.level) for found in findings(music, header, player)}


# Reeds: the published rule, read slowly.


def expected_of(blow: int, draw: int, token: str) -> str:
    """What the published sentences say of a note on an open hole; empty where it can be played.

    "The pitch of the higher reed can be bent down to one semitone above the pitch of the lower
    reed" (Harp-L 1994-09). Overbends: the opposite reed sounds a semitone above its own pitch,
    where it is the higher of the two (Harp-L 2005-03); raised two semitones at most (the "usual
    musical maximum", a builder quoted in FACTS 1.3).
    """
    found = re.fullmatch(r"\d+(\^+|v+)([\d.]*)", token)
    assert found
    arrow, depth = found[1], float(found[2] or 0)
    own, other = (blow, draw) if arrow[0] == "^" else (draw, blow)
    if len(arrow) == 2:
        return "" if other > own and depth <= 2 else "no-such-overbend"
    if not depth:
        return ""
    if own <= other:
        return "no-such-bend"
    if own - other == 1:
        return "only-a-sag"
    return "" if own - depth >= other + 1 else "bend-too-deep"


def reed_notes(holes: int) -> Iterator[str]:
    depths = ["", "0.5", "1", "1.5", "2", "2.5", "3", "3.5", "4", "5", "12"]
    for hole in range(1, holes + 1):
        for arrow in ("^", "v"):
            yield from (f"{hole}{arrow}{depth}" for depth in depths)
            yield from (f"{hole}{arrow}{arrow}{depth}" for depth in ("", "1", "2", "3"))


@pytest.mark.parametrize("layout", OPEN, ids=lambda layout: str(layout.name))
def test_every_note_of_every_open_hole(layout: object) -> None:
    """Each natural, bend and overbend of each tuning, judged as the published rule does."""
    assert layout in OPEN
    tuning = next(one for one in OPEN if one is layout)
    cover = "Gm" if tuning.minor else "G"
    tokens = list(reed_notes(tuning.holes))
    found = findings(" ".join(tokens), f"harp: {cover}\ntuning: {tuning.name}\ntempo: 10")
    told: dict[int, set[str]] = {}
    for one in found:
        if one.level is Level.ERROR:
            told.setdefault(one.span.column, set()).add(one.rule.name)
    column = 1
    for token in tokens:
        hole = int(re.match(r"\d+", token)[0])  # type: ignore[index]
        wanted = expected_of(tuning.blow[hole - 1], tuning.draw[hole - 1], token)
        assert told.get(column, set()) == ({wanted} if wanted else set()), token
        column += len(token) + 1


def test_richter_has_eight_draw_four_blow_bends_and_ten_overbends() -> None:
    """Counts: "Harp Notes" (twelve bends); Harp-L 2005-03 (an overbend a hole)."""
    tokens = [token for token in reed_notes(10) if re.fullmatch(r"\d+[v^]\d", token)]
    playable = [token for token in tokens if not rules(token)]
    draw = ["1v1", "2v1", "2v2", "3v1", "3v2", "3v3", "4v1", "6v1"]
    assert playable == [*draw, "8^1", "9^1", "10^1", "10^2"]
    over = [token for token in reed_notes(10) if re.fullmatch(r"\d+(\^\^|vv)", token)]
    assert [token for token in over if "no-such-overbend" not in rules(token)] == [
        "1^^", "2^^", "3^^", "4^^", "5^^", "6^^", "7vv", "8vv", "9vv", "10vv",
    ]  # fmt: skip


# Published tables that are wrong (FACTS 1.4) are refused.


@pytest.mark.parametrize(
    ("token", "note", "rule", "instead"),
    [
        ("5v1", "E5", "only-a-sag", "5 blow"),
        ("7^1", "B5", "only-a-sag", "7 draw"),
        ("8^2", "D6", "bend-too-deep", "8 draw"),
        ("9^2", "F6", "bend-too-deep", "9 draw"),
    ],
)
def test_bends_onto_the_other_reeds_note_are_refused(
    token: str, note: str, rule: str, instead: str
) -> None:
    """An old "Harmonica techniques" table (mirrors of a general encyclopaedia) lists 5 draw as
    E, 7 blow as B, 8 blow as D and 9 blow as F. The message names where that note does sound."""
    (found,) = findings(token, "key: C")
    assert (found.rule.name, found.level) == (rule, Level.ERROR)
    assert f"{note} itself is {instead}" in found.help


def test_the_rows_of_that_table_that_are_right_pass() -> None:
    """Its draw row C# | F# F | A# A G# | C# | – | G#, and D# F# B, A# of its blow rows."""
    right = {
        "1v1": 61, "2v1": 66, "2v2": 65, "3v1": 70, "3v2": 69, "3v3": 68, "4v1": 73, "6v1": 80,
        "8^1": 87, "9^1": 90, "10^1": 95, "10^2": 94,
    }  # fmt: skip
    loaded = load("harp: C\nmeter: free\n\n" + " ".join(right))
    assert loaded.diagnostics == ()
    assert [event.pitches[0] for event in loaded.score.events] == list(right.values())


def test_draw_one_to_six_and_blow_seven_to_ten_is_only_true_with_the_sags() -> None:
    """ "On holes 1 through 6 the draw notes can be bent, 7 through 10 the blow notes": true if a
    quarter tone counts. Ours tells the two apart: 5 draw and 7 blow sag, no other does."""
    bends = [f"{hole}v1" for hole in range(1, 7)] + [f"{hole}^1" for hole in range(7, 11)]
    assert [token for token in bends if rules(token) == ["only-a-sag"]] == ["5v1", "7^1"]
    assert [token for token in bends if not rules(token)] == [
        token for token in bends if token not in ("5v1", "7^1")
    ]
    assert rules("/5v 5v\\ /7^ 7^\\/") == []  # as expression they are welcome


@pytest.mark.parametrize(
    ("key", "token", "wrong", "right"),
    [("A", "6v", "F", "F#"), ("A", "10v", "F", "F#"), ("B", "3v", "G#", "A#")],
)
def test_misprints_of_a_layout_table(key: str, token: str, wrong: str, right: str) -> None:
    """Source: "Harmonica Layouts and Alternate Tunings" has two printing errors against OEIS
    A291810: key A, 6 and 10 draw F; key B, 3 draw G#."""
    loaded = load(f"harp: {key}\nkey: {key}\nmeter: free\n\n{token}")
    (event,) = loaded.score.events
    pitch = event.pitches[0]
    assert pitch is not None
    name = event.setting.name(pitch)
    assert name.rstrip("0123456789") == right != wrong


@pytest.mark.parametrize(
    ("harp", "key", "number"),
    [("C", "D", "3rd"), ("F", "C", "2nd"), ("C", "A", "4th"), ("F", "Bb", "12th")],
)
def test_positions_a_players_page_has_wrong(
    harp: str, key: str, number: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A players' page lists A as third position of a C harp, and Bb as second of an F harp."""
    tune = tmp_path / "tune.harptab"
    tune.write_text(f"harp: {harp}\nkey: {key}\n\n| 4v 4^ 4v 4^ |\n")
    assert main(["check", str(tune)]) == 0
    assert f"({number} position)" in capsys.readouterr().out


def test_the_overdraw_that_duplicates_a_natural_note() -> None:
    """Harp-L 2005-03: overdraw 8 of a C harp is F, which 9 draw has; 2 and 3 overblow give what
    3 draw bent 3 and 4 blow have (derived from A291810)."""
    for token, instead in (("8vv", "9v"), ("2^^", "3v3"), ("3^^", "4^")):
        (found,) = findings(token, player="overbends yes")
        assert (found.rule.name, found.level) == ("easier-elsewhere", Level.HINT)
        assert instead in found.help
    for token in ("1^^", "4^^", "5^^", "6^^", "7vv", "9vv", "10vv"):
        assert rules(token, player="overbends yes") == []


def test_half_valved_harps_follow_their_own_rule() -> None:
    """Valved draw 1-6 and blow 7-10 (Richter-tuned harmonica, valved section): the lower reed
    bends a semitone at least, most players a whole tone; the overbend is lost (FACTS 1.2)."""
    header = "tuning: half-valved Richter"
    lower = [f"{hole}^1" for hole in range(1, 7)] + [f"{hole}v1" for hole in range(7, 11)]
    for token in lower:
        assert not {"no-such-bend", "only-a-sag", "bend-too-deep"} & set(rules(token, header))
        assert "no-such-bend" in rules(token)
        assert "bend-too-deep" in rules(token[:-1] + "3", header)
    for token in ("6^^", "7vv"):
        assert rules(token, header) == ["no-such-overbend"]
    assert rules("3v3", header) == []
    assert "bend-too-deep" in rules("3v4", header)


def test_a_sag_is_told_in_its_own_words() -> None:
    """What a player reads of 5 draw: why there is no bend, and what to write instead."""
    (found,) = findings("5v1", "key: C")
    assert found.message == (
        "5 draw is F5; its partner 5 blow is E5, a semitone below, so there is no bend note between"
    )
    assert "expressive sag" in found.help
    assert "E5 itself is 5 blow" in found.help


# Expression.


@pytest.mark.parametrize("mark", ["scoop", "fall", "dip"])
def test_expressive_bends_go_as_far_as_the_reed(mark: str) -> None:
    """A scoop, fall or dip of n slashes needs n semitones of the reed; one slash takes what is
    there. From the layout: the higher reed gives its gap less one, a sag where the gap is one."""
    for hole in range(1, 11):
        blow, draw = A291810[2 * hole - 2], A291810[2 * hole - 1]
        for arrow, room in (("^", blow - draw), ("v", draw - blow)):
            for slashes in (1, 2, 3):
                stroke = "\\" * slashes
                token = {
                    "scoop": f"{'/' * slashes}{hole}{arrow}",
                    "fall": f"{hole}{arrow}{stroke}",
                    "dip": f"{hole}{arrow}{stroke}/",
                }[mark]
                found = [str(one.level) for one in findings(token)]
                if room <= 0:
                    assert found == ["caution"], token
                elif slashes == 1 or slashes <= room - 1:
                    assert found == [], token
                else:
                    assert found == ["error"], token


# The mouth.


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6])
def test_chords_by_every_choice_of_holes(count: int) -> None:
    """One mouth covers neighbours, or two groups with the tongue between them, within its width
    (common practice, no source)."""
    for holes in itertools.combinations(range(1, 11), count):
        gaps = sum(two - one > 1 for one, two in itertools.pairwise(holes))
        width = holes[-1] - holes[0] + 1
        token = "+".join(map(str, holes)) + "^"
        found = rules(token)
        if gaps > 1 or width > (WIDEST_SPLIT if gaps else WIDEST_CHORD):
            assert found == ["chord-reach"], token
        else:
            assert found == (["tongue-split"] if gaps else []), token


def test_a_chord_with_a_bent_reed_and_with_an_overbend() -> None:
    assert levels("2v+3v1") == {"chord-bend": "caution"}
    assert levels("2v1+3v+4v") == {"chord-bend": "caution"}
    assert levels("2+3v") == {}
    assert levels("4^+5^^", "overbends yes") == {"chord-bend": "error"}
    (found,) = findings("2v1+3v+4v")
    assert "while 3 draw and 4 draw stay where they are" in found.message
    (found,) = findings("2v+3v1")
    assert "while 2 draw stays where it is" in found.message


def test_shakes() -> None:
    for hole in range(1, 10):
        assert rules(f"{hole}~{hole + 1}v") == []
        assert rules(f"{hole + 1}~{hole}^") == []
    for one, two in ((1, 3), (8, 10), (10, 8), (3, 1)):
        (found,) = findings(f"{one}~{two}^")
        assert (found.rule.name, found.level) == ("shake", Level.CAUTION)
        named = re.search(r"such as (\d+)~(\d+)\^", found.help)
        assert named
        assert rules(f"{named[1]}~{named[2]}^") == []  # what is proposed can be played
    assert "hole-not-on-harp" in rules("10~11^")


def test_every_tone_of_a_figure_is_judged() -> None:
    """Grace notes, the second tone of a shake, every tone of a chord."""
    assert rules("{5v1}4v") == ["only-a-sag"]
    assert rules("4~5v1") == ["only-a-sag"]
    assert "only-a-sag" in rules("4v+5v1")
    assert "hole-not-on-harp" in rules("9+10+11^")


# Motion: the numbers told are those used, and the tempo proposed is enough.


def told_tempo(found: Diagnostic) -> int:
    named = re.search(r"tempo (\d+) or slower", found.help)
    assert named, found.help
    return int(named[1])


@given(st.integers(1, 10), st.integers(1, 10), st.integers(30, 400), st.sampled_from([1, 2, 4, 8]))
def test_leaps_by_their_time(one: int, two: int, tempo: int, parts: int) -> None:
    music = ",".join([f"{one}^", f"{two}^"] * (parts // 2)) if parts > 1 else f"{one}^ {two}^"
    found = [f for f in findings(music, f"tempo: {tempo}") if f.rule.name == "leap-too-quick"]
    seconds, distance = 60 / tempo / parts, abs(one - two)
    needed = (distance - 1) * SECONDS_A_HOLE
    if distance < 2 or seconds >= needed - 1e-9:
        assert found == []
        return
    assert found[0].level is Level.CAUTION
    assert f"from {one} blow to {two} blow in {seconds:.2f} s" in found[0].message
    assert f"{distance} holes need about {needed:.2f} s" in found[0].message
    slow = told_tempo(found[0])
    assert slow < tempo
    if slow >= 10:
        assert "leap-too-quick" not in rules(music, f"tempo: {slow}")
        assert "leap-too-quick" in rules(music, f"tempo: {slow + 1}")


CHANGES = {  # notes, and what has to be set anew between two that differ in it
    "2v": "", "2v1": "1", "2v2": "2", "3v1": "1", "3v": "", "4^": "", "6^^": "over", "7vv": "under"
}  # fmt: skip


@given(
    st.sampled_from(list(CHANGES)),
    st.sampled_from(list(CHANGES)),
    st.integers(30, 400),
    st.sampled_from([2, 4, 8]),
    st.sampled_from(["", "fastest change 0.05", "fastest change 0.3", "fastest change 1"]),
)
def test_changes_by_their_time(one: str, two: str, tempo: int, parts: int, player: str) -> None:
    music = ",".join([one, two] * (parts // 2))
    found = [
        f for f in findings(music, f"tempo: {tempo}", player) if f.rule.name == "change-too-quick"
    ]
    over = "^^" in one + two or "vv" in one + two
    needed = float(player.split()[-1]) if player else OVERBEND_CHANGE if over else BEND_CHANGE
    seconds = 60 / tempo / parts
    if CHANGES[one] == CHANGES[two] or seconds >= needed - 1e-9:
        assert found == []
        return
    assert found[0].level is (Level.ERROR if player else Level.CAUTION)
    assert f"in {seconds:.2f} s" in found[0].message
    assert f"{needed:.2f} s" in found[0].message
    slow = told_tempo(found[0])
    if slow >= 10:
        assert "change-too-quick" not in rules(music, f"tempo: {slow}", player)
        assert "change-too-quick" in rules(music, f"tempo: {slow + 1}", player)


@given(st.integers(1, 40), st.integers(20, 240), st.sampled_from(["2v", "4^"]))
def test_long_breaths_in_beats_and_seconds(beats: int, tempo: int, note: str) -> None:
    """Counted in beats and seconds; nothing is said of litres (FACTS 10: no figures found)."""
    other = "4^" if note == "2v" else "2v"
    music = " ".join([other, *[note, "-"] * (beats // 2), *[note] * (beats % 2), other])
    found = [f for f in findings(music, f"tempo: {tempo}") if f.rule.name == "long-breath"]
    seconds = beats * 60 / tempo
    if seconds <= 15 + 1e-9:
        assert found == []
        return
    (one,) = found
    assert one.level is Level.CAUTION
    assert one.message.startswith(f"{beats} beats ({seconds:.1f} s) of ")
    assert ("breathing in" if note == "2v" else "breathing out") in one.message
    assert "light-headed" in one.help
    assert "litre" not in one.message + one.help


def test_what_breaks_a_breath() -> None:
    draws = " ".join(["2v", "3v"] * 6)
    assert rules(f"{draws} {draws}", "tempo: 60") == ["long-breath"]
    assert rules(f"{draws} . {draws}", "tempo: 60") == []  # a second's rest
    assert rules(f"{draws} 4^ {draws}", "tempo: 60") == []  # a note of the other breath
    quick = " ".join(["2v,3v"] * 24)  # 24 beats: 12 s at tempo 120
    assert rules(f"{quick} 2v,. {quick}", "tempo: 120") == ["long-breath"]  # a quarter second
    assert rules(f"{quick} . {quick}", "tempo: 120") == []  # half a second


def test_a_repeat_is_played_out_for_the_breath_and_told_once() -> None:
    four = "| 2v 3v 4v 3v | 2v 3v 4v 3v "
    music = f"|: {four.lstrip('| ')} :|"
    once = load(f"harp: C\ntempo: 60\n\n{four}|")
    twice = load(f"harp: C\ntempo: 60\n\n{music}")
    assert once.diagnostics == ()
    assert [found.rule.name for found in twice.diagnostics] == ["long-breath"]
    wrong = load("harp: C\n\n|: 5v1 4v 4^ 4v :|")
    assert [found.rule.name for found in wrong.diagnostics] == ["only-a-sag"]


def test_checks_follow_the_harp_of_the_section() -> None:
    text = "harp: C\n\n| 5v1 4v 4^ 4v |\n\n[other]\ntuning: country\n| 5v1 4v 4^ 4v |"
    found = load(text).diagnostics
    assert [(one.rule.name, one.span.line) for one in found] == [("only-a-sag", 3)]


# The player.


@pytest.mark.parametrize(
    ("music", "rule", "by_player"),
    [
        ("6^^", "overbend", {"": "caution", "overbends no": "error", "overbends yes": None}),
        ("3v3", "bend-beyond-player", {"": None, "bends 2": "error", "bends 3": None}),
        ("3v0.5", "bend-beyond-player", {"bends no": "error", "bends 1": None, "bends yes": None}),
        ("1+4^", "tongue-split", {
            "": "hint", "tongue blocking no": "error", "tongue blocking yes": None}),
        ("(2v,2v2),(2v,2v2)", "change-too-quick", {
            "": None, "fastest change 0.2": "error", "fastest change 0.1": None}),
        ("(2v,(2v2,2v)),2v", "change-too-quick", {
            "": "caution", "fastest change 0.2": "error", "fastest change 0.05": None}),
    ],
)  # fmt: skip
def test_the_player_raises_and_lowers_levels(
    music: str, rule: str, by_player: dict[str, str | None]
) -> None:
    for player, level in by_player.items():
        assert levels(music, player, "tempo: 120").get(rule) == level, player


def test_an_unknown_player_is_refused_nothing_that_the_reeds_allow() -> None:
    """With nothing known of the player no playable note is an error."""
    tokens = [token for token in reed_notes(10) if not (load(_one(token)).diagnostics)]
    assert len(tokens) > 40
    for token in tokens:
        assert load(_one(token), player=Player()).playable
        assert load(_one(token), player=Player(bends=12, overbends=True)).playable


def _one(token: str) -> str:
    return f"harp: C\nmeter: free\n\n{token}"


def test_the_beyond_is_told_with_a_way_out() -> None:
    (found,) = findings("2v2", player="bends 1")
    assert found.message == "2 draw bent 2: this player bends 1 at most"
    assert "its octave is 5 draw (5v)" in found.help
    (found,) = [f for f in findings("3^^", player="overbends no") if f.level is Level.ERROR]
    assert found.message == "3 overblow (C5): this player does not overbend"
    assert found.help == "elsewhere: 4 blow (4^)"


def test_a_slide_and_a_hole_too_many() -> None:
    chromatic = "tuning: chromatic 12"
    assert rules("3v* 12^* 5^", chromatic) == []
    assert rules("13^", chromatic) == ["hole-not-on-harp"]
    assert rules("3v*") == ["hole-not-on-harp"]
    assert rules("0v 11^ 99v") == ["hole-not-on-harp"] * 3
    (found,) = findings("11v", "tuning: solo")
    assert "a solo harp has holes 1 to 10" in found.message
