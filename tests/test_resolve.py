"""What sounds, and when: repeats, holds, swing, sections, lyrics, and a slow reference."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_tunes import random_tune, reference, text_of

from tabtool.diagnostics import Diagnostic
from tabtool.events import NoteEvent, Score
from tabtool.load import Loaded, load

HEAD = "harp: C\ntempo: 60\n"


def read(text: str, head: str = HEAD) -> Loaded:
    return load(head + text)


def score(text: str, head: str = HEAD) -> Score:
    loaded = read(text, head)
    assert loaded.readable, loaded.diagnostics
    return loaded.score


def faults(text: str, head: str = HEAD) -> list[Diagnostic]:
    return [d for d in read(text, head).diagnostics if d.rule.reads]


def told(text: str, head: str = HEAD) -> list[tuple[str, int, int]]:
    """Rule, line (from the first after the head) and column of each fault of reading."""
    skip = head.count("\n")
    return [(d.rule.name, d.span.line - skip, d.span.column) for d in faults(text, head)]


def tokens(played: Score) -> list[str]:
    return [event.figure.token for event in played.events]


def times(played: Score) -> list[tuple[float, float]]:
    """Start and end of each note in seconds, to the microsecond."""
    return [(round(e.start_s, 6), round(e.end_s, 6)) for e in played.events]


def onsets(played: Score) -> list[tuple[Fraction, Fraction]]:
    return [(event.onset, event.duration) for event in played.events]


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32))
def test_random_tunes_on_random_harps_agree_with_the_reference(seed: int) -> None:
    """Tune, harp, repeats, endings, splits, holds, swing and lyrics at random: every note, bar,
    pass, onset, duration, time, pitch and syllable is what the slow reference says."""
    tune = random_tune(Random(seed))
    loaded = load(text_of(tune))
    assert {d.rule.name for d in loaded.diagnostics if d.rule.reads} <= {"nothing-to-hold"}
    wanted = reference(tune)
    found = loaded.score.events
    assert [e.figure.token for e in found] == [w.token for w in wanted]
    for event, want in zip(found, wanted, strict=True):
        assert (event.bar, event.play) == (want.bar, want.play)
        assert (event.onset, event.duration) == (want.onset, want.duration)
        assert (event.start_s, event.end_s) == pytest.approx((want.start_s, want.end_s), abs=1e-6)
        assert event.pitches == want.pitches
        assert event.lyric == want.lyric


def test_a_beat_is_what_the_foot_taps() -> None:
    """A quarter in 4/4, a dotted quarter in 6/8, a half in 2/2: onsets count beats, and
    `quarters` says how many quarter notes that is."""
    taps = {"4/4": 1, "2/2": 2, "6/8": Fraction(3, 2), "5/8": Fraction(1, 2)}
    for meter, quarters in taps.items():
        first = score(f"meter: {meter}\n4v |\n").events[0]
        assert (first.end_s, first.duration) == (1.0, 1)
        assert first.setting.meter.beat_quarters == quarters
    assert score("meter: 6/8\n| 4v 4^ | 5v 5^ |").events[3].quarters == Fraction(9, 2)


def test_holds_go_on_also_over_a_bar_line_and_into_the_next_line() -> None:
    played = score("meter: 2/4\n| 4v - | -,4^ - |\n| - 5v |")
    assert onsets(played) == [
        (Fraction(0), Fraction(5, 2)),
        (Fraction(5, 2), Fraction(5, 2)),
        (Fraction(5), Fraction(1)),
    ]
    assert times(played) == [(0, 2.5), (2.5, 5), (5, 6)]


def test_a_hold_into_a_new_tempo_lasts_as_long_as_the_tempo_says() -> None:
    played = score("[a]\nmeter: 2/4\n| 4v 5v |\n[b]\ntempo: 120\n| - 4^ |")
    assert times(played) == [(0, 1), (1, 2.5), (2.5, 3)]
    assert onsets(played)[1] == (1, 2)


def test_silence_ends_a_note_and_may_itself_be_held() -> None:
    played = score("| 4v . - 4^ |")
    assert onsets(played) == [(0, 1), (3, 1)]


@pytest.mark.parametrize(
    ("text", "place"),
    [("| - 4v 4v 4v |", (1, 3)), ("[a]\n| 4v . . 4v |\n[b]\nharp: G\n| - 4v . . |", (5, 3))],
)
def test_a_hold_needs_something_to_hold(text: str, place: tuple[int, int]) -> None:
    """At the beginning, and after a change of harps, over which no note can be held."""
    assert told(text) == [("nothing-to-hold", *place)]


def test_silence_may_be_held_over_a_change_of_harps() -> None:
    assert not faults("[a]\n| 4v . . . |\n[b]\nharp: G\n| - 4v . . |")


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("|: 1v | 2v :| 3v |", "1 2 1 2 3"),
        ("| 1v | 2v :| 3v |", "1 2 1 2 3"),
        ("| 1v :| 2v :| 3v |", "1 1 2 2 3"),
        ("|: 1v :|: 2v :|", "1 1 2 2"),
        ("|: 1v :| |: 2v :|", "1 1 2 2"),
        ("|: 1v |\n| 2v :|\n| 3v |", "1 2 1 2 3"),
        ("|: 1v |1 2v :|2 3v |", "1 2 1 3"),
        ("|: 1v |1 2v | 3v :|2 4v | 5v |]", "1 2 3 1 4 5"),
        ("|: 1v |1 2v :|2 3v :|3 4v |", "1 2 1 3 1 4"),
        ("|: 1v |1 2v :|\n|2 3v |", "1 2 1 3"),
        ("|: 1v |1\n| 2v :|2\n| 3v |", "1 2 1 3"),
        ("|: 1v |1 2v :|2 3v || 4v |: 5v :|", "1 2 1 3 4 5 5"),
        ("|: 1v |1 2v :|2 3v |: 5v |1 6v :|2 7v |", "1 2 1 3 5 6 5 7"),
        ("| 1v || 2v :| 3v |", "1 2 2 3"),
        ("[a]\n| 1v |\n[b]\n| 2v :|\n| 3v |", "1 2 2 3"),
        ("[a]\n|: 1v ||\n[b]\n| 2v :|\n| 3v |", "1 2 1 2 3"),
        ("|: 1v || 2v |1 3v :|2 4v || 5v :|", "1 2 3 1 2 4 5 5"),
        ("[a]\n|: 1v |1 2v :|2 3v |\n[b]\n| 4v :|", "1 2 1 3 4 4"),
    ],
)
def test_repeats_and_endings(text: str, order: str) -> None:
    """Back to ``|:``; without one to the last repeat, double bar or section, or the beginning.
    Common practice; endings as many times as there are."""
    played = score(text, "harp: C\nmeter: 1/4\n")
    assert " ".join(token.removesuffix("v") for token in tokens(played)) == order


@pytest.mark.parametrize(
    ("text", "column", "says"),
    [
        ("|: 1v | 2v |", 4, "never goes back"),
        ("|: 1v |: 2v :|", 4, "never goes back"),
        ("| 1v |1 2v | 3v |", 9, "outside a repeat"),
        ("|: 1v :|2 2v |", 11, "no ending 1 before it"),
        ("|: 1v |1 2v :| 3v |", 10, "no ending 2"),
        ("|: 1v |1 2v :|3 3v |", 17, "ending 3 where ending 2"),
        ("|: 1v |1 2v :|2 3v | 4v :|", 22, "to where is not clear"),
    ],
)
def test_repeat_signs_that_do_not_match_are_told(text: str, column: int, says: str) -> None:
    (fault,) = faults(text, "harp: C\nmeter: 1/4\n")
    assert fault.rule.name == "repeat"
    assert fault.span.column == column
    assert says in fault.message
    assert fault.help


def test_a_repeated_bar_keeps_its_number_and_counts_its_passes() -> None:
    played = score("|: 1v |1 2v :|2 3v || 4v |", "harp: C\nmeter: 1/4\n")
    assert [(e.bar, e.play) for e in played.events] == [(1, 1), (2, 1), (1, 2), (3, 2), (4, 1)]
    assert [bar.number for bar in played.bars] == [1, 2, 1, 3, 4]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("| 4v 4v 4v 4v | 4v 4v 4v |", "bar 2 has 3 beats, one beat too few for 4/4"),
        ("| 4v 4v 4v 4v | 4v 4v |", "bar 2 has 2 beats, 2 beats too few for 4/4"),
        ("| 4v 4v 4v 4v | 4v |", "bar 2 has one beat, 3 beats too few for 4/4"),
        ("| 4v 4v 4v 4v 4v |", "bar 1 has 5 beats, one beat too many for 4/4"),
        ("4v | 4v 4v 4v 4v | 4v 4v 4v |", "bar 2 has 3 beats, one beat too few for 4/4"),
        ("| 4v 4v 4v 4v | | 4v 4v 4v 4v |", "bar 2 is empty"),
        ("meter: 6/8\n| 4v 4v | 4v 4v 4v |", "bar 2 has 3 beats, one beat too many for 6/8"),
    ],
)
def test_a_bar_that_does_not_add_up_is_told_by_how_much(text: str, message: str) -> None:
    (fault,) = faults(text)
    assert fault.rule.name == "bar-length"
    assert fault.message == message


@pytest.mark.parametrize(
    "text",
    [
        "4v | 4v 4v 4v 4v |",  # a pick-up
        "| 4v | 4v 4v 4v 4v |",
        "|: 4v | 4v 4v 4v 4v | 4v 4v 4v :|",  # a repeat sign within a bar
        "|: 4v | 4v 4v 4v 4v |1 4v 4v 4v :|2 4v 4v 4v || 4v | 4v 4v 4v 4v |",
        "| 4v 4v 4v 4v | 4v 4v 4v || 4v | 4v 4v 4v 4v |",  # a double bar within a bar
        "[a]\n| 4v 4v 4v 4v | 4v 4v 4v |\n[b]\n| 4v | 4v 4v 4v 4v |",  # a section within a bar
        "meter: free\n4v 4v 4v 4v 4v | 4v |",
        "meter: free\n4v\n4v 4v 4v",
    ],
)
def test_bars_that_may_be_short(text: str) -> None:
    """The first; and where a repeat sign or a section divides a bar, its two parts together."""
    assert not faults(text)


def test_two_parts_of_a_bar_that_do_not_add_up_are_both_told() -> None:
    assert told("|: 4v | 4v 4v 4v 4v | 4v 4v :|") == [("bar-length", 1, 23)]


def test_a_pick_up_is_bar_nought() -> None:
    assert [e.bar for e in score("4v | 4v - - - | 4^ - - - |").events] == [0, 1, 2]
    assert [e.bar for e in score("| 4v - - - | 4^ - - - |").events] == [1, 2]


@pytest.mark.parametrize(
    ("feel", "beat", "starts"),
    [
        ("straight", "4v,4^", [0, 0.5]),
        ("shuffle", "4v,4^", [0, 2 / 3]),
        ("swing 3:2", "4v,4^", [0, 0.6]),
        ("swing 1:1", "4v,4^", [0, 0.5]),
        ("shuffle", "4v,4^,4v,4^", [0, 1 / 3, 2 / 3, 5 / 6]),
        ("shuffle", "4v,(4^,4v)", [0, 2 / 3, 5 / 6]),
        ("shuffle", "(4v,4^),5v", [0, 1 / 3, 2 / 3]),
        ("shuffle", "4v,-,4^", [0, 2 / 3]),
        ("shuffle", "4v,4^,5v", [0, 1 / 3, 2 / 3]),
        ("shuffle", "4v,4^,5v,5^,6v", [0, 0.2, 0.4, 0.6, 0.8]),
    ],
)
def test_swing_lengthens_the_first_half_of_a_beat(
    feel: str, beat: str, starts: list[float]
) -> None:
    """As many to one as the ratio says (a convention: what is played varies with tempo, Friberg &
    Sundstroem 2002); beats written in thirds or fifths are played as written. What is written
    stays: onsets are halves."""
    played = score(f"meter: 1/4\nfeel: {feel}\n| {beat} |")
    assert [e.start_s for e in played.events] == pytest.approx(starts)
    straight = score(f"meter: 1/4\n| {beat} |")
    assert onsets(played) == onsets(straight)


def test_sections_change_what_their_headers_say_and_keep_the_rest() -> None:
    played = score(
        "key: C\n[a]\n| 4v . . . |\n[b]\nharp: G\ntempo: 120\nmeter: 3/4\n| 4v - . |\n"
        "[c]\nkey: G\n| 4v . . |\n"
    )
    assert [(s.name, s.onset, s.quarters, s.start_s) for s in played.stretches] == [
        ("a", 0, 0, 0.0), ("b", 4, 4, 4.0), ("c", 7, 7, 5.5),
    ]  # fmt: skip
    assert [e.pitches for e in played.events] == [(74.0,), (69.0,), (69.0,)]
    assert [str(e.setting.key) for e in played.events] == ["C", "C", "G"]
    assert played.beats == 10
    assert played.seconds == 7.0


def words(played: Score) -> list[str]:
    return [event.lyric for event in played.events]


@pytest.mark.parametrize(
    ("text", "sung"),
    [
        ("| 4v 4^ 5v 5^ |\nlyric: Ket- tle on boil", ["Ket-", "tle", "on", "boil"]),
        ("| 4v - 5v 5^ |\nlyric: one two three", ["one", "two", "three"]),
        ("| 4v 4^ 5v 5^ |\nlyric: one _ two", ["one", "", "two", ""]),
        ("| 4v 4^ 5v 5^ |\nlyric: * one * two", ["", "one", "", "two"]),
        ("| 4v,4v - - . | 5^ - - . |\nlyric: one | two", ["one", "", "two"]),
        ("| 4v - - . | . . . . | 5^ - - . |\nlyric: one | | two", ["one", "two"]),
        ("| 4v - - . |\nlyric: one\n| 5^ - - . |\nlyric: two", ["one", "two"]),
        ("| 4v,(4^,5v) 5^ . . |\nlyric: a b c d", ["a", "b", "c", "d"]),
        ("|: 4v - 4^ - :|\nlyric: one two\nlyric: three", ["one", "two", "three", ""]),
        ("|: 4v - 4^ - :|\nlyric: one two", ["one", "two", "one", "two"]),
        ("|: 4v - 4^ - |1 5v - - - :|2 5^ - - - |\nlyric: a b | c\nlyric: d e | * | f",
         ["a", "b", "c", "d", "e", "f"]),
    ],
)  # fmt: skip
def test_lyrics_lie_under_the_notes(text: str, sung: list[str]) -> None:
    """A syllable a note; - joins, _ holds on, * leaves out, | goes to the next bar; each line is
    a verse, sung in the pass of its number."""
    assert words(score(text)) == sung


def test_a_syllable_too_many_is_told_and_none_under_what_is_not_understood() -> None:
    assert told("| 4v - - - |\nlyric: one two three") == [("lyric", 2, 12)]
    assert told("| 4v5v - - - |\nlyric: one two") == [("unreadable", 1, 3)]
    assert told("| 4 - - - |\nlyric: one two") == [("unreadable", 1, 3), ("lyric", 2, 12)]


def test_chord_symbols_begin_with_their_share() -> None:
    played = score('| "C"4v,"G"4^ - "F"(5v,5^),- "G7". |')
    assert [(s.text, s.onset) for s in played.symbols] == [
        ("C", 0), ("G", Fraction(1, 2)), ("F", 2), ("G7", 3),
    ]  # fmt: skip
    repeated = score('|: "C"4v - - - :|', HEAD)
    assert [s.onset for s in repeated.symbols] == [0, 4]


def test_a_tune_without_a_harp_is_told_once_and_a_harp_may_be_given() -> None:
    text = "| 4v 4^ 4v 4^ |\n[b]\n| 4v 4^ 4v 4^ |\n"
    assert told(text, "") == [("harp-missing", 1, 3)]
    given_harp = load(text, harp="A")
    assert not given_harp.diagnostics
    assert given_harp.score.events[0].pitches == (71.0,)


def test_a_harp_named_only_later_is_missing_before() -> None:
    assert told("[a]\n| 4v 4^ 4v 4^ |\n[b]\nharp: C\n| 4v 4^ 4v 4^ |\n", "") == [
        ("harp-missing", 2, 3)
    ]


def test_a_harp_that_cannot_be_read_is_told_once() -> None:
    """And judged by no other harp: neither the notes nor a missing one are told of."""
    for head in ("harp: H\n", "harp: C\ntuning: Ritcher\n", "tuning: Ritcher\nharp: C\n"):
        (fault,) = read("| 5v1 4v 4v 4v |", head).diagnostics
        assert fault.rule.name == "header-value"
    two = "[a]\n| 4v 4^ 4v 4^ |\n[b]\nharp: H\n| 5v1 4^ 4v 4^ |\n"
    assert told(two) == [("header-value", 4, 7)]
    assert [e.pitches for e in read(two).score.events][4] == (None,)


def test_a_meter_that_cannot_be_read_counts_no_beats() -> None:
    assert told("| 4v 4v 4v |", "harp: C\nmeter: three\n") == [("header-value", 0, 8)]


@pytest.mark.parametrize(
    ("head", "says"),
    [("harp: Am\n", "not sold as Am"), ("tuning: country\nharp: Am\n", "not sold as Am")],
)
def test_a_minor_key_is_for_minor_tunings(head: str, says: str) -> None:
    (fault,) = faults("| 4v . . . |", head)
    assert fault.rule.name == "unknown-harp-key"
    assert says in fault.message
    assert not faults("| 4v . . . |", head + "[b]\ntuning: natural minor\n")


def test_a_note_that_cannot_be_played_keeps_its_event() -> None:
    """With the pitch it asks for; only where there is no reed at all it has none."""
    events: tuple[NoteEvent, ...] = score("| 5v1 11v 4v 3^1 |").events
    assert [(e.pitches, e.possible) for e in events] == [
        ((76.0,), False), ((None,), False), ((74.0,), True), ((66.0,), False),
    ]  # fmt: skip


def test_an_empty_tune_is_no_fault() -> None:
    for text in ("", "\n", "# nothing\n", "harp: C\n", "[a]\n"):
        loaded = load(text)
        assert not loaded.diagnostics
        assert loaded.score.events == ()
        assert loaded.score.seconds == 0
