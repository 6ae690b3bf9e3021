"""Drill pages: playable, complete, in scale, slow to quick, the same from the same seed."""

from __future__ import annotations

import json
import random
import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tabtool.canonical import write
from tabtool.cli import main
from tabtool.diagnostics import Level, TabError
from tabtool.drills import (
    GROUPS,
    KINDS,
    STAGES,
    Drill,
    Page,
    Result,
    as_answers,
    as_questions,
    command,
    find_bends,
    graded,
    home_key,
    page,
    suggest,
    worksheet,
)
from tabtool.drills.bars import write_bars
from tabtool.drills.ground import SCALES, Ground, Step
from tabtool.drills.phrases import chords
from tabtool.harp import Breath, Harp, Technique, Tone, position
from tabtool.load import load
from tabtool.music import Key
from tabtool.notation import parse_figure
from tabtool.parse import parse
from tabtool.player import Player
from tabtool.tunings import STANDARD_KEYS, TUNINGS, find_tuning, make_harp, read_tuning

PLAYERS = (
    Player(),
    Player(bends=2, overbends=False),
    Player(bends=1, overbends=True, fastest_change=0.3),
    Player(fastest_change=0.6),
    Player(bends=3, overbends=True, tongue_blocking=False, fastest_change=0.15),
)


def harp_in(key: str, tuning: str = "Richter") -> Harp:
    layout = find_tuning(tuning)
    assert layout is not None
    harp = make_harp(key, layout)
    assert harp is not None
    return harp


def tone(token: str) -> Tone:
    return parse_figure(token).tones[0]


def tokens(found: tuple[Tone, ...]) -> list[str]:
    return [one.token for one in found]


def sounding(made: Page) -> list[Tone]:
    return [event.figure.tones[0] for event in made.loaded.score.events]


def draws() -> list[tuple[str, str, Player, int, int, str]]:
    """A sample of keys, tunings, players, positions and seeds; every tuning and kind of player."""
    rng = random.Random(20)
    names = [*TUNINGS, "half-valved Richter", "half-valved natural minor"]
    return [
        (
            rng.choice(("", "low ", "high ")) + rng.choice(STANDARD_KEYS),
            name,
            PLAYERS[number % len(PLAYERS)],
            rng.randrange(13),
            rng.randrange(10_000),
            ("", "draw", "all")[number % 3],
        )
        for number, name in enumerate(names * 2)
    ]


@pytest.mark.parametrize(("key", "tuning", "player", "place", "seed", "asked"), draws())
def test_pages_pass_check_and_cover_their_bends(
    key: str, tuning: str, player: Player, place: int, seed: int, asked: str
) -> None:
    harp = harp_in(key, tuning)
    try:
        bends = find_bends(harp, player, asked)
    except TabError:
        assert asked or not harp.ways_by_pitch  # only a group may be empty on some harp
        return
    drill = Drill(harp, bends, home_key(harp, place), player=player, seed=seed, times=10)
    made = page(drill)
    # Read again from nothing but the text: no trust in what made it.
    loaded = load(made.text, player=player)
    assert loaded.readable
    assert loaded.playable
    lines = made.text.splitlines()
    unexpected = []
    for found in loaded.diagnostics:
        span = found.span
        written = tone(lines[span.line - 1][span.column - 1 : span.end_column - 1])
        if found.rule.name == "easier-elsewhere":  # on the way down, or because asked for
            assert found.level is Level.HINT
            expected = asked or written not in bends or not _new_notes(harp, bends)
        else:  # an overbend is hard by itself
            expected = found.rule.name == "overbend" and player.overbends is None
        if not expected:
            unexpected.append(found)
    assert unexpected == []
    played = [event.figure.tones[0] for event in loaded.score.events]
    for bend in bends:
        assert played.count(bend) >= 10, bend.token
    assert dict(made.counts) == {bend: played.count(bend) for bend in bends}
    # Canonical already, and the tempo never falls.
    assert write(parse(made.text)[0]) == made.text
    tempos = [float(stretch.setting.tempo) for stretch in loaded.score.stretches]
    assert tempos == sorted(tempos)
    # No bend but those asked for, and the steps down to them.
    stairs = {(b.hole, b.breath, b.slide, depth) for b in bends for depth in range(int(b.depth))}
    for one in set(played) - set(bends):
        if one.technique is not Technique.NATURAL:
            assert (one.hole, one.breath, one.slide, one.depth) in stairs
    for one in set(played):
        assert harp.can_play(one)
        assert one.depth == int(one.depth)


def _new_notes(harp: Harp, bends: tuple[Tone, ...]) -> bool:
    naturals = {way.pitch for way in harp.ways if way.tone.technique is Technique.NATURAL}
    return not any(harp.intended(bend) in naturals for bend in bends)


def test_the_melodic_bends_of_a_richter_harp() -> None:
    """Eight draw and four blow bends (Harp-L 1994-09 rule; "twelve notes", "Harp Notes"), then
    the overbends that give a note not had otherwise: 1 4 5 6, 7 9 10 (Harp-L 2005-03)."""
    draw = ["1v1", "2v1", "2v2", "3v1", "3v2", "3v3", "4v1", "6v1"]
    blow = ["8^1", "9^1", "10^1", "10^2"]
    over = ["1^^", "4^^", "5^^", "6^^", "7vv", "9vv", "10vv"]
    harp = harp_in("C")
    assert tokens(find_bends(harp, Player())) == draw + blow + over
    assert tokens(find_bends(harp, Player(overbends=False))) == draw + blow
    assert tokens(find_bends(harp, Player(bends=1, overbends=False), "draw")) == [
        token for token in draw if token.endswith("1")
    ]
    assert tokens(find_bends(harp, Player(), "blow 2v2")) == [*blow, "2v2"]
    assert tokens(find_bends(harp, Player(), "overbends")) == [
        "1^^", "2^^", "3^^", "4^^", "5^^", "6^^", "7vv", "8vv", "9vv", "10vv",
    ]  # fmt: skip


def test_holes_that_only_sag_are_never_asked_for() -> None:
    """5 draw and 7 blow of a Richter harp have their partner a semitone below (OEIS A291810)."""
    for seed in range(3):
        made = page(Drill(harp_in("C"), find_bends(harp_in("C"), Player(), "all"), seed=seed))
        assert not re.search(r"(?<!\d)(5v|7\^)[\d/\\]", made.text)


@pytest.mark.parametrize(
    ("asked", "player", "words"),
    [
        ("5v1", Player(), "so there is no bend note between"),
        ("3v4", Player(), "at most 3"),
        ("4^1", Player(), "only the higher reed of a hole bends"),
        ("3v3", Player(bends=1), "bends 1 at most"),
        ("6^^", Player(overbends=False), "does not overbend"),
        ("4v", Player(), "a natural note"),
        ("3v0.5", Player(), "between two semitones"),
        ("2+3v1", Player(), "more than one plain note"),
        ("2v1~", Player(), "more than one plain note"),
        ("bend", Player(), "'bend' is no note"),
        ("11v1", Player(), "no hole 11"),
        ("", Player(bends=0, overbends=False), "nothing to bend"),
        ("blow", Player(bends=0), "no blow bends"),
    ],
)
def test_what_is_no_bend_is_refused_with_the_reason(asked: str, player: Player, words: str) -> None:
    with pytest.raises(TabError) as caught:
        find_bends(harp_in("C"), player, asked)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_page_is_the_same_from_the_same_seed_and_another_from_another() -> None:
    drill = Drill(harp_in("Bb"), (tone("2v2"), tone("3v1")))
    assert page(drill).text == page(drill).text
    other = page(drill._replace(seed=2)).text
    body = re.compile(r"^\|.*$", re.M)
    assert body.findall(page(drill).text) != body.findall(other)


def test_ten_kinds_and_more_each_a_section_in_its_order() -> None:
    assert len(KINDS) >= 10
    made = page(Drill(harp_in("G"), (tone("3v2"),)))
    assert [section.kind for section in made.sections] == list(KINDS)
    assert {kind.stage for kind in KINDS.values()} == set(STAGES)
    for kind in KINDS:
        only = page(Drill(harp_in("G"), (tone("3v2"), tone("4v1")), kinds=(kind,), times=3))
        assert {section.kind for section in only.sections} == {kind}
        assert min(times for _, times in only.counts) >= 3


@pytest.mark.parametrize("tuning", [*TUNINGS, "half-valved Richter"])
def test_the_reference_comes_before_its_bend(tuning: str) -> None:
    """The note before the first sounding of a bend is natural, and of its name if the harp has
    such a note: seen from the pitches alone."""
    harp = harp_in("D", tuning)
    naturals = {way.pitch % 12 for way in harp.ways if way.tone.technique is Technique.NATURAL}
    bends = find_bends(harp, Player(), "all")[:12]
    made = page(Drill(harp, bends, kinds=("reference",), times=1))
    played = sounding(made)
    for bend in bends:
        before = played[played.index(bend) - 1]
        assert before.technique is Technique.NATURAL
        pitch, heard = harp.intended(bend), harp.intended(before)
        assert pitch is not None
        assert heard is not None
        assert ((pitch - heard) % 12 == 0) == (pitch % 12 in naturals)


def test_approaches_come_from_where_they_say() -> None:
    harp = harp_in("C")
    for kind, side in (("above", 1), ("below", -1)):
        bends = find_bends(harp, Player())
        made = page(Drill(harp, bends, kinds=(kind,), times=1))
        events = made.loaded.score.events
        for bend in bends:
            first = next(i for i, event in enumerate(events) if event.figure.tones[0] == bend)
            before, pitch = events[first - 1].pitches[0], events[first].pitches[0]
            assert before is not None
            assert pitch is not None
            nothing_above = bend == tone("10vv")  # a semitone over the highest reed
            assert (before - pitch) * side > 0 or (side > 0 and nothing_above)


def test_a_leap_is_a_third_or_more() -> None:
    harp = harp_in("F")
    for seed in range(4):
        made = page(Drill(harp, (tone("2v2"), tone("3v1")), kinds=("leap",), seed=seed))
        events = made.loaded.score.events
        for one, two in pairwise(events):
            if two.figure.tones[0].technique is Technique.BEND and one.figure != two.figure:
                assert one.pitches[0] is not None
                assert two.pitches[0] is not None
                assert abs(one.pitches[0] - two.pitches[0]) >= 3


def test_cold_and_echo() -> None:
    """A cold start follows silence; an echo is first heard an octave up in natural notes."""
    harp = harp_in("C")
    cold = page(Drill(harp, (tone("2v2"),), kinds=("cold",), times=1))
    assert cold.loaded.score.events[0].onset == 2
    echo = page(Drill(harp, (tone("2v2"),), kinds=("echo",), times=1))
    pitches = [event.pitches[0] for event in echo.loaded.score.events]
    assert all(one.technique is Technique.NATURAL for one in sounding(echo)[:3])
    for up, here in zip(pitches[:3], pitches[3:6], strict=True):
        assert up is not None
        assert here is not None
        assert up - here == 12


def test_modes_are_the_textbook_ones() -> None:
    """Witness: music21's scales; the pentatonics are five of their degrees (common theory)."""
    scale = pytest.importorskip("music21").scale
    witnesses = {
        "major": scale.MajorScale, "minor": scale.MinorScale, "dorian": scale.DorianScale,
        "phrygian": scale.PhrygianScale, "lydian": scale.LydianScale,
        "mixolydian": scale.MixolydianScale, "locrian": scale.LocrianScale,
        "harmonic minor": scale.HarmonicMinorScale,
    }  # fmt: skip
    for name, witness in witnesses.items():
        pitches = [pitch.midi - 60 for pitch in witness("C4").getPitches("C4", "B4")]
        assert tuple(pitches) == SCALES[name], name
    major, minor = SCALES["major"], SCALES["minor"]
    assert SCALES["major pentatonic"] == tuple(major[i] for i in (0, 1, 2, 4, 5))
    assert SCALES["minor pentatonic"] == tuple(minor[i] for i in (0, 2, 3, 4, 6))
    assert set(SCALES["blues scale"]) == {*SCALES["minor pentatonic"], 6}


def test_scales_and_thirds_keep_to_the_scale_they_name() -> None:
    for key, place in (("C", 2), ("A", 1), ("Bb", 3), ("G", 4), ("D", 12)):
        harp = harp_in(key)
        home = home_key(harp, place)
        bends = find_bends(harp, Player(overbends=False))
        made = page(Drill(harp, bends, home, kinds=("scale", "thirds"), times=1))
        lines = made.text.splitlines()
        seen = 0
        for number, line in enumerate(lines):
            named = re.search(rf": (?:the|thirds in the) {home.tonic} ([a-z ]+?)(?:,|\.)", line)
            if not named or not line.startswith("#"):
                continue
            steps = SCALES[named[1].removesuffix(" scale") if "blues" not in named[1] else named[1]]
            bars = []
            for below in lines[number + 1 :]:
                if not below.startswith("|"):
                    break
                bars.append(below)
            score = load(f"harp: {key}\n\n" + "\n".join(bars)).score
            for event in score.events:
                assert event.pitches[0] is not None
                assert int(event.pitches[0] - home.pitch_class) % 12 in steps, line
            seen += 1
        assert seen >= 20


def test_phrases_end_at_home_and_breathe() -> None:
    """An answer ends on the tonic; after every two bars of a phrase stands a rest."""
    harp = harp_in("C")
    for seed in range(6):
        made = page(Drill(harp, (tone("2v2"),), kinds=("phrase",), times=1, seed=seed))
        events = made.loaded.score.events
        pitch = events[-1].pitches[0]
        assert pitch is not None
        assert pitch % 12 == home_key(harp).pitch_class
        for end in (8, 16):
            last = max(e.onset + e.duration for e in events if e.onset < end)
            assert last <= end - 1


def test_songs_have_chords_and_a_form() -> None:
    made = page(Drill(harp_in("C"), (tone("2v2"), tone("3v1"), tone("4v1")), kinds=("song",)))
    symbols = [symbol.text for symbol in made.loaded.score.symbols]
    assert symbols[:7] == ["G7", "C7", "G7", "D7", "C7", "G7", "D7"]  # a twelve-bar blues in G
    bars = [bar for bar in made.loaded.score.bars if bar.stretch.name == "song"]
    assert len(bars) == 12
    assert made.loaded.score.stretches[0].setting.feel == "shuffle"


@pytest.mark.parametrize("place", range(1, 13))
def test_home_keys_are_the_published_positions(place: int) -> None:
    """Source: FACTS 5, the circle of fifths (Harp-L 1994-07): song keys on a C harp; modes of
    the natural notes: 1 Ionian, 2 Mixolydian, 3 Dorian, 4 Aeolian, 5 Phrygian, 6 Locrian,
    12 Lydian (a positions chart)."""
    song = ("C", "G", "D", "A", "E", "B", "F#", "Db", "Ab", "Eb", "Bb", "F")[place - 1]
    modes = {1: "major", 2: "mixolydian", 3: "dorian", 4: "minor", 5: "phrygian", 6: "locrian",
             12: "lydian"}  # fmt: skip
    key = home_key(harp_in("C"), place)
    assert key.tonic == song
    assert position(harp_in("C"), key) == place
    if place in modes:
        assert key.mode == modes[place]


def test_home_key_of_other_tunings() -> None:
    """Melody and natural minor harps are sold by their second-position key (FACTS 3)."""
    assert str(home_key(harp_in("Gm", "natural minor"))) == "G minor"
    assert home_key(harp_in("G", "melody")).tonic == "G"
    assert home_key(harp_in("C", "chromatic 12")) == Key("C")
    assert position(harp_in("Cm", "harmonic minor"), home_key(harp_in("Cm", "harmonic minor"))) == 1


@pytest.mark.parametrize("change", [0.1, 0.25, 0.5, 1.0])
def test_a_slow_player_gets_a_slower_page(change: float) -> None:
    """Seen from the seconds between notes, not from the check."""
    made = page(
        Drill(
            harp_in("C"), (tone("2v2"), tone("6^^")), player=Player(fastest_change=change), top=180
        )
    )
    events = made.loaded.score.events
    gaps = [
        two.start_s - one.start_s
        for one, two in pairwise(events)
        if (one.figure.tones[0].depth, one.figure.tones[0].technique)
        != (two.figure.tones[0].depth, two.figure.tones[0].technique)
    ]
    assert min(gaps) >= change - 1e-9
    assert max(section.tempo for section in made.sections) <= 180


def test_a_player_too_slow_for_any_tempo_is_told() -> None:
    with pytest.raises(TabError, match="too slow for these drills"):
        page(Drill(harp_in("C"), (tone("2v2"),), player=Player(fastest_change=10)))


def test_the_graded_set() -> None:
    harp = harp_in("C")
    drill = Drill(harp, find_bends(harp, Player(overbends=True)), player=Player(overbends=True))
    pages = graded(drill)
    assert [name for name, _ in pages] == [
        f"{4 * group + stage + 1:02}-{GROUPS[group]}-{STAGES[stage]}.harptab"
        for group in range(3)
        for stage in range(4)
    ]
    for name, made in pages:
        group = name.split("-")[1]
        assert made.loaded.playable
        assert min(times for _, times in made.counts) >= drill.times
        for bend, _ in made.counts:
            assert (group == "overbends") == bend.overbent
            assert bend.overbent or str(bend.breath) == group
    assert sum(len(made.counts) for _, made in pages) == 4 * len(drill.bends)


def test_pages_carry_cautions() -> None:
    made = page(Drill(harp_in("C"), (tone("2v2"),)))
    assert "light-headed" in made.text
    assert "not with force" in made.text
    assert "Long breaths" in made.text


LENGTHS = st.sampled_from(
    [Fraction(1, 2), Fraction(1, 3), Fraction(1), Fraction(3, 2), Fraction(4)]
)


@given(st.lists(st.tuples(st.sampled_from(["4v", "2v2", "6^^", "."]), LENGTHS), min_size=1))
def test_bars_keep_every_length(notes: list[tuple[str, Fraction]]) -> None:
    """Steps written as bars and read back have the onsets and lengths they were given."""
    steps = [Step(None if token == "." else tone(token), length) for token, length in notes]
    text = "harp: C\n\n" + "\n".join(write_bars(steps, 4))
    loaded = load(text)
    assert loaded.readable
    time, wanted = Fraction(0), []
    for token, length in notes:
        if token != ".":
            wanted.append((token, time, length))
        time += length
    found = [(e.figure.token, e.onset, e.duration) for e in loaded.score.events]
    assert found == wanted
    assert loaded.score.beats == -(-time // 4) * 4


@pytest.mark.parametrize("tuning", [*TUNINGS, "half-valved Richter"])
def test_worksheet_answers_are_right(tuning: str) -> None:
    """Against an obvious search of every reed, bend and overbend of the harp."""
    harp = harp_in("Eb", tuning)
    player = Player(bends=2, overbends=True)
    sheet = worksheet(harp, player, 500, seed=5)
    within = [
        way for way in harp.ways
        if way.tone.technique is not Technique.BEND or way.tone.depth <= 2
    ]  # fmt: skip
    assert sorted(q.way for q in sheet.questions) == sorted(within)
    for question in sheet.questions:
        expected = {
            (way.tone, (way.pitch - question.way.pitch) / 12)
            for way in within
            if way.tone != question.way.tone and (way.pitch - question.way.pitch) % 12 == 0
        }
        assert set(question.elsewhere) == expected
    answers = as_answers(sheet)
    for question in sheet.questions:
        row = next(
            line.split()
            for line in answers.splitlines()
            if len(line.split()) > 2
            and line.split()[1 if not question.named else 2] == question.way.tone.token
            and line.split()[2 if not question.named else 1] == harp.named(question.way.pitch)
        )
        assert row


def test_worksheets_have_blanks_and_a_separate_answer_sheet() -> None:
    harp = harp_in("C")
    sheet = worksheet(harp, count=12, seed=3)
    asked, answered = as_questions(sheet), as_answers(sheet)
    rows = [line for line in asked.splitlines() if re.match(r"\d+\.", line)]
    assert len(rows) == 12
    for row in rows:
        assert row.count("__________") == 4
    assert "__" not in answered
    by_tab = [q for q in sheet.questions if not q.named]
    for question, row in zip(by_tab, rows, strict=False):
        assert question.way.tone.token in row
        assert harp.named(question.way.pitch) not in row
    assert asked == as_questions(worksheet(harp, count=12, seed=3))
    assert asked != as_questions(worksheet(harp, count=12, seed=4))
    assert all(not q.way.tone.overbent for q in worksheet(harp, count=500).questions)
    # Read off the published layout: F4 of a C harp is 2 draw bent 2, heard again in 5 and 9 draw.
    (f4,) = [q for q in worksheet(harp, count=500).questions if q.way.tone == tone("2v2")]
    assert f4.elsewhere == ((tone("5v"), 1), (tone("9v"), 2))


def test_advice_from_a_take() -> None:
    """Sharp is not bent far enough; an overbend is the other way about (common practice)."""
    sharp, flat = tone("3v2"), tone("2v2")
    advice = suggest(
        [
            Result(sharp, 30.0),
            Result(sharp, 40.0),
            Result(sharp, 36.0, before=tone("6v")),
            Result(flat, -28.0),
            Result(flat, -30.0, spread=20),
            Result(tone("6^^"), -35.0),
            Result(tone("4v"), -40.0),
            Result(tone("4v1")),
        ]
    )
    by_tone = {one.tone: one for one in advice}
    assert list(by_tone)[:2] == [sharp, flat]  # most often out comes first
    assert tone("4v") not in by_tone
    assert by_tone[sharp].why == "36 cents sharp: not bent far enough; after a leap"
    assert by_tone[sharp].kinds[:3] == ("reference", "above", "hold")
    assert "leap" in by_tone[sharp].kinds
    assert by_tone[flat].kinds[:3] == ("hold", "pulse", "below")
    assert "bent too far" in by_tone[flat].why
    assert "not brought up to its pitch" in by_tone[tone("6^^")].why
    assert "not found" in by_tone[tone("4v1")].why
    for one in advice:
        assert set(one.kinds) <= set(KINDS)
    assert suggest([]) == ()
    assert command([], harp_in("C")) == ""


def test_the_command_advised_runs(capsys: pytest.CaptureFixture[str]) -> None:
    import shlex

    harp = harp_in("low F", "country")
    advised = command(suggest([Result(tone("3v2"), 30.0), Result(tone("2v2"), -30.0)]), harp)
    name, *args = shlex.split(advised)
    assert name == "tabtool"
    assert main(args) == 0
    loaded = load(capsys.readouterr().out)
    assert loaded.playable
    assert loaded.score.stretches[0].setting.harp == harp


def test_the_command_writes_what_the_library_makes(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = tmp_path / "page.harptab"
    arguments = ["drill", "--harp", "low F", "--bends", "2v2,3v1", "--position", "3", "--seed", "9"]
    assert main([*arguments, "-o", str(out)]) == 0
    assert main(arguments) == 0
    printed = capsys.readouterr().out
    assert out.read_text() == printed
    harp = harp_in("low F")
    assert page(Drill(harp, (tone("2v2"), tone("3v1")), home_key(harp, 3), seed=9)).text == printed
    assert main([*arguments, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["text"] == printed
    assert (found["position"], found["key"], found["errors"]) == (3, "G dorian", 0)
    assert [bend["token"] for bend in found["bends"]] == ["2v2", "3v1"]
    assert main(["check", str(out)]) == 0
    assert main(["format", "--check", str(out)]) == 0


def test_the_command_writes_a_set(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = tmp_path / "practice" / "C"
    own = tmp_path / "mine.harptuning"
    own.write_text("name: mine\nkey: C\nblow: C4 E4 G4 C5\ndraw: D4 G4 B4 D5\n")
    arguments = ["drill", "--harp", "C", "--tuning", str(own), "--pages", str(folder)]
    assert main([*arguments, "--player", "bends 2, overbends no", "--kinds", "reference,mix"]) == 0
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["01-draw-find.harptab", "02-draw-phrase.harptab"]
    capsys.readouterr()
    assert main(["check", str(folder), "--player", "bends 2, overbends no"]) == 0
    assert capsys.readouterr().out.count("nothing to object to") == 2
    assert main([*arguments[:-1], str(tmp_path / "new"), "--kinds", "jazz"]) == 2
    assert not (tmp_path / "new").exists()  # nothing half done
    assert main([*arguments[:-2], "-o", str(tmp_path / "no" / "page.harptab")]) == 2
    assert capsys.readouterr().err.count("\n") == 2


def test_a_page_is_tuned_as_the_harp_is(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """FACTS 6.2: on a 7-limit harp 5 draw is 29 cents flat, and so is the bend it is heard by."""
    out = tmp_path / "page.harptab"
    arguments = ["drill", "--harp", "C", "--bends", "2v2", "--kinds", "reference"]
    assert main([*arguments, "--temperament", "7-limit", "--pitch", "443", "-o", str(out)]) == 0
    assert main(["notes", str(out), "--json"]) == 0
    notes = json.loads(capsys.readouterr().out)["notes"]
    five, bent = notes[0], notes[1]
    assert (five["written"], bent["written"]) == ("5v", "2v2")
    assert five["hz"][0] == pytest.approx(2 * bent["hz"][0], abs=0.02)
    # C4 is the harp's own tonic at A4 = 443, 263.41 Hz; F is 21/16 of it, two octaves and all.
    assert five["hz"][0] == pytest.approx(263.4093 * 21 / 16 * 2, abs=0.02)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "name the harp"),
        (["--harp", "H"], "no Richter harp in 'H'"),
        (["--harp", "C", "--key", "H"], "'H' is no key"),
        (["--harp", "C", "--kinds", "jazz"], "no kind of drill 'jazz'"),
        (["--harp", "C", "--tempo", "120", "--top", "90"], "from slow to quick"),
        (["--harp", "C", "--pages", "x", "-o", "y"], "leave out -o"),
        (["--harp", "C", "--tuning", "none.harptuning"], "cannot be read"),
        (["--harp", "C", "--bends", "2v2", "-o", "/nowhere/page.harptab"], "cannot be written"),
    ],
)
def test_bad_options_are_told_in_one_line(
    capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    assert main(["drill", *arguments]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1


def test_worksheets_and_list_by_command(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["drill", "--harp", "G", "--count", "9", "--seed", "4"]
    for option, writer in (("--worksheet", as_questions), ("--answers", as_answers)):
        assert main([*asked, option]) == 0
        assert capsys.readouterr().out == writer(worksheet(harp_in("G"), count=9, seed=4))
    assert main([*asked, "--worksheet", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["questions"]
    assert len(rows) == 9
    assert set(rows[0]) == {"token", "pitch", "asks", "elsewhere"}
    assert main(["drill", "--list"]) == 0
    listed = capsys.readouterr().out
    assert all(f"\n{kind} " in listed for kind in KINDS)


def test_slide_instruments_get_a_page_too() -> None:
    harp = harp_in("C", "chromatic 12")
    bends = find_bends(harp, Player())
    assert all(not bend.slide for bend in bends)
    made = page(Drill(harp, bends, times=2))
    assert made.loaded.playable
    assert any(one.breath is Breath.BLOW for one in sounding(made))
    assert not any(found.level is Level.ERROR for found in made.loaded.diagnostics)


@pytest.mark.parametrize(
    ("name", "symbols"),
    [
        ("major scale", ["E", "A", "B"]),
        ("major pentatonic", ["E", "A", "B"]),
        ("minor scale", ["Em", "Am", "Bm"]),
        ("harmonic minor scale", ["Em", "Am", "B"]),
        ("dorian scale", ["Em", "A", "Bm"]),
        ("phrygian scale", ["Em", "Am", "Dm"]),
        ("lydian scale", ["E", "F#", "B"]),
        ("locrian scale", ["Edim", "Am", "Dm"]),
        ("blues scale", ["E7", "A7", "B7"]),
    ],
)
def test_chords_are_those_of_the_scale(name: str, symbols: list[str]) -> None:
    """Triads as any harmony book builds them on the degrees of the scale (common theory)."""
    harp = harp_in("D")
    ground = Ground(harp, Key("E"), Player(), ())
    found = chords(
        ground, ground.named_scale(name if "blues" in name else name.removesuffix(" scale"))
    )
    assert [one.symbol for one in found] == symbols


def test_a_players_own_small_tuning_gets_every_kind(tmp_path: Path) -> None:
    """Harps of one hole to seven, their reeds at random: a page is made, and can be played."""
    rng = random.Random(4)
    names = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    own = tmp_path / "own.harptuning"
    made = 0
    for seed in range(40):
        blow = [rng.randint(55, 90) for _ in range(rng.randint(1, 7))]
        rows = {"blow": blow, "draw": [note + rng.randint(-4, 4) for note in blow]}
        lines = [
            f"{row}: " + " ".join(f"{names[note % 12]}{note // 12 - 1}" for note in notes)
            for row, notes in rows.items()
        ]
        text = "\n".join(["name: own", "key: C", *lines, ""])
        own.write_text(text)
        layout, faults = read_tuning(text, str(own))
        assert layout is not None, faults
        harp = make_harp("C", layout)
        assert harp is not None
        try:
            bends = find_bends(harp, Player(), "all")[:2]
        except TabError:
            continue
        drill = Drill(harp, bends, times=2, seed=seed, tuning=str(own))
        assert page(drill).loaded.playable
        made += 1
    assert made > 20


def test_a_take_is_told_what_to_drill(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a judged take: the bends that were off, how, and a command that runs."""
    pytest.importorskip("numpy")
    import shlex

    from tabtool.takes.judge import Judged, Verdict
    from tabtool.takes.pitchtrack import PitchTrack
    from tabtool.takes.report import as_text
    from tabtool.takes.take import Take, TakeNote, advice

    score = load("harp: A\n\n| 2v 2v2 2v 3v2 | 6v 3v2 4v1 4v |").score
    cents = (0.0, -31.0, 2.0, 28.0, 0.0, 34.0, None, 0.0)
    notes = tuple(
        TakeNote(event, Judged(at, "ok" if off is not None else "missing", cents=off, spread=3.0))
        for at, (event, off) in enumerate(zip(score.events, cents, strict=True))
    )
    judged = tuple(note.judged for note in notes)
    take = Take(score, notes, Verdict(0.0, judged, ()), cast(PitchTrack, None), 8.0)
    found = {one.tone.token: one for one in advice(take)}
    assert set(found) == {"2v2", "3v2"}  # 4v1 was not heard, so nothing is known of its pitch
    assert found["3v2"].why == "31 cents sharp: not bent far enough; after a leap"
    assert found["2v2"].why == "31 cents flat: bent too far"
    told = as_text(take)
    line = next(line for line in told.splitlines() if line.startswith("practise next: "))
    name, *args = shlex.split(line.removeprefix("practise next: "))
    assert name == "tabtool"
    assert main(args) == 0
    made = load(capsys.readouterr().out)
    assert made.playable
    assert made.score.stretches[0].setting.harp == harp_in("A")
