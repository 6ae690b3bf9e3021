"""Practising: tempo, sections, loops, count-in, click and chords, heard in the MIDI file."""

from __future__ import annotations

import io
import json
from fractions import Fraction
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tabtool.cli import main
from tabtool.diagnostics import TabError
from tabtool.events import Score
from tabtool.load import load
from tabtool.practice import (
    COUNT_IN,
    Practice,
    arranged,
    clicks,
    comping,
    share,
    unknown,
)
from tabtool.symbols import QUALITIES, bass_note, parse_symbol, voiced
from tabtool.writers import mid

TUNE = """title: Kettle
harp: C
key: G
tempo: 90
meter: 4/4
feel: shuffle

[head]
| "G7"2v |
| 2v2,3v1 4v,(4^,4v) 3v2,-,2v 2v | "C"4^ 5^ 6^ - |
lyric: Oh my ket- tle on the boil
[tail]
tempo: 120
meter: 3/4
| "Am"4v - 5^ | "D7"6^ 7^ 8^1 |
"""


def score_of(text: str = TUNE) -> Score:
    loaded = load(text)
    assert loaded.readable, loaded.diagnostics
    return loaded.score


def read(data: bytes) -> list[tuple[float, mido.Message]]:
    """Every message of a MIDI file with its time in seconds, by mido's own tempo map."""
    now, heard = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(data)):
        now += message.time
        heard.append((now, message))
    return heard


def onsets(data: bytes, channel: int | None = None) -> list[float]:
    return [
        at
        for at, message in read(data)
        if message.type == "note_on"
        and message.velocity
        and (message.channel == channel if channel is not None else message.channel != 9)
    ]


def test_ladder_steps_up() -> None:
    half = Fraction(1, 2)
    assert Practice(loop=3, ladder=half).shares() == (half, Fraction(3, 4), 1)
    assert Practice(loop=6, ladder=half, steps=2).shares() == (
        half, half, Fraction(3, 4), Fraction(3, 4), 1, 1,
    )  # fmt: skip
    assert Practice(ladder=Fraction(3, 5), steps=4).shares() == tuple(
        Fraction(percent, 100) for percent in (60, 70, 80, 90, 100)
    )
    assert Practice(loop=2, slow=Fraction(4, 5)).shares() == (Fraction(4, 5),) * 2
    assert Practice(loop=2, slow=Fraction(4, 5), ladder=half).shares() == (
        Fraction(2, 5), Fraction(4, 5),
    )  # fmt: skip


@given(st.integers(1, 40), st.integers(0, 12), st.fractions(Fraction(1, 10), 1))
def test_a_ladder_never_steps_down_and_ends_at_the_whole(
    loop: int, steps: int, first: Fraction
) -> None:
    shares = Practice(loop=loop, ladder=first, steps=min(steps, max(1, loop - 1))).shares()
    assert shares[0] == first
    assert shares[-1] == 1
    assert list(shares) == sorted(shares)
    assert len(shares) == (loop if loop > 1 else len(shares))


def test_slower_is_slower_throughout() -> None:
    """Every onset is put off by the same factor; the file's tempo says so."""
    score = score_of()
    slow = arranged(score, Practice(slow=Fraction(3, 5)))
    assert slow.seconds == pytest.approx(score.seconds / 0.6)
    for one, two in zip(score.events, slow.events, strict=True):
        assert two.start_s == pytest.approx(one.start_s / 0.6)
        assert two.onset == one.onset
    tempi = [60e6 / m.tempo for _, m in read(mid.write(slow)) if m.type == "set_tempo"]
    assert tempi == pytest.approx([54, 72])


def test_tempo_keeps_the_proportion_of_sections() -> None:
    fast = arranged(score_of(), Practice(tempo=Fraction(180)))
    assert [stretch.setting.tempo for stretch in fast.stretches] == [180, 240]


def test_a_section_alone_begins_at_nothing() -> None:
    score = score_of()
    tail = arranged(score, Practice(section="TAIL"))
    assert [event.figure.token for event in tail.events] == ["4v", "5^", "6^", "7^", "8^1"]
    assert tail.events[0].start_s == 0
    assert tail.seconds == pytest.approx(6 * 0.5)
    assert [symbol.text for symbol in tail.symbols] == ["Am", "D7"]
    assert onsets(mid.write(tail)) == pytest.approx([0, 1, 1.5, 2, 2.5], abs=1e-3)


def test_a_note_held_out_of_a_section_ends_with_it() -> None:
    text = "harp: C\ntempo: 60\n[a]\n| 4^ 4v 4^ 4v |\n[b]\n| - 5^ - - |\n"
    head = arranged(score_of(text), Practice(section="a"))
    assert head.events[-1].end_s == pytest.approx(4)
    assert head.events[-1].duration == 1


def test_unknown_sections_are_named() -> None:
    with pytest.raises(TabError, match="did you mean 'head'"):
        arranged(score_of(), Practice(section="hed"))
    with pytest.raises(TabError, match="head, tail"):
        arranged(score_of(), Practice(section="zzz"))
    with pytest.raises(TabError, match="it has none"):
        arranged(score_of("harp: C\n| 4^ 4^ 4^ 4^ |\n"), Practice(section="a"))


def test_a_loop_plays_on_without_a_gap() -> None:
    score = score_of()
    loop = arranged(score, Practice(section="tail", loop=3))
    assert loop.seconds == pytest.approx(9)
    assert [event.start_s for event in loop.events][5::5] == pytest.approx([3, 6])
    assert loop.beats == 18


def test_too_long_a_loop_is_refused() -> None:
    with pytest.raises(TabError, match="loop less often"):
        arranged(score_of(), Practice(loop=999, slow=Fraction(1, 10)))


def test_count_in_gives_a_bar_and_the_rest_of_the_pick_up() -> None:
    """4/4 with a pick-up of one beat: four taps, three more, then the tune (common practice)."""
    counted = arranged(score_of(), Practice(count_in=1))
    taps = clicks(counted, throughout=False)
    assert [tap.start_s for tap in taps] == pytest.approx([n / 1.5 for n in range(7)])
    assert [tap.strong for tap in taps] == [True, False, False, False, True, False, False]
    assert counted.events[0].start_s == pytest.approx(7 / 1.5)
    through = clicks(counted, throughout=True)
    assert [tap.strong for tap in through[7:12]] == [False, True, False, False, False]
    assert len(through) == counted.beats


def test_each_rung_of_a_ladder_is_counted_in_at_its_tempo() -> None:
    ladder = arranged(
        score_of(), Practice(section="tail", loop=2, ladder=Fraction(1, 2), count_in=1)
    )
    names = [stretch.name for stretch in ladder.stretches]
    assert names == [COUNT_IN, "tail 50 %", COUNT_IN, "tail 100 %"]
    taps = [tap.start_s for tap in clicks(ladder, throughout=False)]
    assert taps == pytest.approx([0, 1, 2, 9, 9.5, 10])
    data = mid.write(ladder, clicks(ladder, throughout=False))
    assert onsets(data, channel=9) == pytest.approx(taps, abs=1e-3)
    markers = [message.text for _, message in read(data) if message.type == "marker"]
    assert markers == names


def test_clicks_in_compound_and_free_time() -> None:
    """A beat is what the foot taps: two in 6/8; without a meter every group is one."""
    jig = arranged(score_of("harp: C\nmeter: 6/8\n| 4^ 4^ |\n| 5^ 5^ |\n"), Practice())
    assert [tap.strong for tap in clicks(jig, throughout=True)] == [True, False, True, False]
    free = arranged(score_of("harp: C\nmeter: free\n4^ 5^ 6^\n"), Practice(count_in=1))
    assert len(clicks(free, throughout=False)) == 4


# Notes of chord symbols. Source: common practice of lead sheets; each also spelled in music21.
CHORDS = {
    "C": {0, 4, 7},
    "Am": {9, 0, 4},
    "G7": {7, 11, 2, 5},
    "F#m7b5": {6, 9, 0, 4},
    "Bbmaj7": {10, 2, 5, 9},
    "Edim7": {4, 7, 10, 1},
    "Dsus4": {2, 7, 9},
    "Caug": {0, 4, 8},
    "D6": {2, 6, 9, 11},
    "C/E": {0, 4, 7},
}


@pytest.mark.parametrize("text", CHORDS)
def test_symbols_mean_what_they_say(text: str) -> None:
    chord = parse_symbol(text)
    assert chord is not None
    assert set(chord.notes) == CHORDS[text]


@pytest.mark.parametrize(
    "text", ["C", "Am", "G7", "F#m7", "Dm7b5", "Emaj7", "Gsus4", "Cdim", "Caug", "A7/C#", "Dm6"]
)
def test_symbols_agree_with_music21(text: str) -> None:
    """Source: music21's reading of chord symbols."""
    harmony = pytest.importorskip("music21").harmony
    theirs = harmony.ChordSymbol(text)
    chord = parse_symbol(text)
    assert chord is not None
    assert set(chord.notes) == set(theirs.pitchClasses)
    assert chord.bass == theirs.bass().pitchClass


@pytest.mark.parametrize("text", ["H", "Zx", "c", "G77", "C/H", "", "Gm7b"])
def test_what_is_no_symbol_is_refused(text: str) -> None:
    assert parse_symbol(text) is None


def test_voicings_stay_close_and_below_the_tune() -> None:
    before: tuple[int, ...] = ()
    for quality in QUALITIES:
        for root in ("C", "F#", "Bb"):
            chord = parse_symbol(root + quality)
            assert chord is not None
            notes = voiced(chord, before)
            assert {note % 12 for note in notes} == set(chord.notes)
            assert min(notes) >= 44
            assert max(notes) <= 71
            assert max(notes) - min(notes) < 12
            assert 40 <= bass_note(chord) < 52
            if before:
                moved = sum(notes) / len(notes) - sum(before) / len(before)
                assert abs(moved) <= 6
            before = notes


def test_chords_are_plain_and_off_by_default(tmp_path: Path) -> None:
    """The bass where a bar or chord begins, the chord on each beat, to the next symbol."""
    score = score_of()
    strums = comping(score)
    bass = [strum.pitches[0] % 12 for strum in strums if strum.bass]
    assert bass == [7, 7, 0, 9, 2]
    chords = [round(strum.start_s * 1.5, 6) for strum in strums if not strum.bass][:9]
    assert chords == list(range(9))
    source, out = tmp_path / "a.harptab", tmp_path / "a.mid"
    source.write_text(TUNE)
    assert main(["midi", str(source), "-o", str(out)]) == 0
    assert not [m for m in mido.MidiFile(out) if m.type == "note_on" and m.channel == mid.CHORDS]
    assert (
        main(["midi", str(source), "-o", str(out), "--chords", "--click", "--count-in", "1"]) == 0
    )
    file = mido.MidiFile(out)
    assert [track.name for track in file.tracks] == ["Kettle", "harmonica", "chords", "click"]


def test_no_chord_is_silence_and_odd_ones_are_told() -> None:
    text = 'harp: C\n| "C"4^ 4^ "N.C."4^ 4^ | "Q"4^ 4^ "G"4^ 4^ |\n'
    score = score_of(text)
    assert [strum.start_s for strum in comping(score) if not strum.bass] == [0, 0.5, 3, 3.5]
    assert [symbol.text for symbol in unknown(score)] == ["Q"]


def test_without_symbols_there_are_no_chords() -> None:
    assert comping(score_of("harp: C\n| 4^ 4^ 4^ 4^ |\n")) == ()


def test_a_chord_holds_into_a_section_played_alone() -> None:
    text = 'harp: C\n[a]\n| "F"4^ - - - |\n[b]\n| 4^ - "G"4^ - |\n'
    part = arranged(score_of(text), Practice(section="b"))
    assert [(symbol.text, symbol.start_s) for symbol in part.symbols] == [("F", 0), ("G", 1)]


def test_midi_says_where_it_is() -> None:
    """Track names, section markers, lyrics, meter, key and tempo, as mido reads them."""
    data = mid.write(score_of())
    heard = read(data)
    assert [m.text for _, m in heard if m.type == "marker"] == ["head", "tail"]
    lyrics = [(round(at, 3), m.text) for at, m in heard if m.type == "lyrics"]
    assert [text for _, text in lyrics][:4] == ["Oh", "my", "ket-", "tle"]
    assert lyrics[0][0] == pytest.approx(1 / 1.5, abs=1e-3)
    meters = [(m.numerator, m.denominator) for _, m in heard if m.type == "time_signature"]
    assert meters == [(4, 4), (3, 4)]
    assert [m.key for _, m in heard if m.type == "key_signature"] == ["G"]


@pytest.mark.parametrize("text", ["60%", "0.6", " 60 % "])
def test_shares_are_read(text: str) -> None:
    assert share(text) == Fraction(3, 5)


@pytest.mark.parametrize("text", ["60 percent", "0", "5%", "400%", "", "-50%", "fast"])
def test_odd_shares_are_refused(text: str) -> None:
    with pytest.raises(TabError, match="such as 60%"):
        share(text)


@pytest.mark.parametrize(
    "options",
    [
        ["--slow", "never"],
        ["--loop", "0"],
        ["--loop", "x"],
        ["--steps", "3"],
        ["--tempo", "allegro"],
        ["--tempo", "1"],
        ["--count-in", "99"],
        ["--section", "nowhere"],
        ["--ladder", "2"],
    ],
)
def test_bad_options_end_in_one_line(
    options: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source, out = tmp_path / "a.harptab", tmp_path / "a.mid"
    source.write_text(TUNE)
    status = main(["midi", str(source), "-o", str(out), *options])
    errors = capsys.readouterr().err.strip()
    if options == ["--ladder", "2"]:  # twice the tempo, stepping down to it, is odd but sound
        assert status == 0
    else:
        assert status == 2
        assert len(errors.splitlines()) == 1
        assert not out.exists()


def test_json_tells_what_was_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / "a.harptab"
    source.write_text(TUNE)
    command = ["midi", str(source), "-o", str(tmp_path / "a.mid"), "--json", "--section", "tail"]
    assert main([*command, "--loop", "2"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["notes"] == 10
    assert told["seconds"] == 6.0
