"""How marks sound: the written pitch never changes, the sound moves around it."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest
from random_tunes import random_tune, text_of

from tabtool.expression import (
    GRACE_S,
    SHAKE_HZ,
    STACCATO,
    VIBRATO_HZ,
    VIBRATO_SEMITONES,
    Sound,
    perform,
)
from tabtool.load import load


def sounds(text: str, head: str = "harp: C\ntempo: 60\nmeter: free\n") -> list[Sound]:
    loaded = load(head + text)
    assert loaded.readable, loaded.diagnostics
    return list(perform(loaded.score))


def curve(sound: Sound, steps: int = 200) -> list[float]:
    """Semitones away from the written pitch, evenly over the sound."""
    length = sound.end_s - sound.start_s
    return [sound.offset(length * step / steps) for step in range(steps)]


def end_of(sound: Sound) -> float:
    return sound.offset(sound.end_s - sound.start_s)


def test_a_melodic_bend_is_the_note_and_an_expressive_one_a_mark() -> None:
    """Both sound bent; only the first is another pitch."""
    melodic, expressive = sounds("4v1 4v\\")
    assert (melodic.pitch, melodic.steady) == (73, True)
    assert (expressive.pitch, expressive.steady) == (74, False)
    assert end_of(expressive) == pytest.approx(-1)


@pytest.mark.parametrize(
    ("token", "deep"),
    [("/3v", 1), ("//3v", 2), ("///3v", 3), ("/3v2", 1), ("/5v", 0.5), ("/4v", 1)],
)
def test_a_scoop_starts_below_and_comes_home(token: str, deep: float) -> None:
    """A slash a semitone; one alone as far as the reed gives (5 draw: a quarter tone)."""
    (scooped,) = sounds(token)
    away = curve(scooped)
    assert away[0] == pytest.approx(-deep)
    assert away == sorted(away)
    assert away[100] == away[-1] == 0


@pytest.mark.parametrize(("token", "deep"), [("3v\\", 1), ("3v\\\\", 2), ("5v\\", 0.5)])
def test_a_fall_leaves_at_the_end(token: str, deep: float) -> None:
    (falling,) = sounds(token)
    away = curve(falling)
    assert away[0] == away[100] == 0
    assert away == sorted(away, reverse=True)
    assert end_of(falling) == pytest.approx(-deep)


@pytest.mark.parametrize(("token", "deep"), [("3v\\/", 1), ("3v\\\\/", 2)])
def test_a_dip_goes_down_and_back_in_the_middle(token: str, deep: float) -> None:
    (dipped,) = sounds(token)
    away = curve(dipped)
    assert away[0] == away[-1] == 0
    assert min(away) == pytest.approx(-deep)
    assert away.index(min(away)) == 100


def test_vibrato_swings_evenly_around_the_note() -> None:
    """5.5 times a second, which lies in the range measured for voices and strings (Timmers &
    Desain 2000: 5.5 to 8 Hz); as far up as down."""
    (note,) = sounds("4v~ - - -")
    away = [note.offset(1 + step / 1000) for step in range(2000)]
    rises = sum(one < 0 <= two for one, two in pairwise(away))
    assert rises == pytest.approx(2 * VIBRATO_HZ, abs=1)
    assert 5.5 <= VIBRATO_HZ <= 8
    assert max(away) == pytest.approx(VIBRATO_SEMITONES, rel=0.01)
    assert min(away) == pytest.approx(-VIBRATO_SEMITONES, rel=0.01)
    assert abs(sum(away) / len(away)) < 0.01


def test_marks_that_move_no_pitch() -> None:
    plain, accent, wah, staccato = sounds("4v 4v! 4v@ 4v;")
    assert all(sound.steady for sound in (plain, accent, wah, staccato))
    assert (accent.accent, wah.wah, plain.accent, plain.wah) == (True, True, False, False)
    assert staccato.end_s - staccato.start_s == pytest.approx(STACCATO)


def test_grace_notes_come_before_the_beat_and_shorten_what_precedes() -> None:
    before, one, two, main = sounds("4v {5v,5^}4^")
    assert (before.end_s, one.start_s) == pytest.approx((1 - 2 * GRACE_S, 1 - 2 * GRACE_S))
    assert (one.end_s, two.end_s, main.start_s) == pytest.approx((1 - GRACE_S, 1, 1))
    assert [sound.pitch for sound in (one, two, main)] == [77, 76, 72]


def test_grace_notes_fall_into_a_silence() -> None:
    before, grace, main = sounds("4v . {5v}4^")
    assert before.end_s == 1
    assert (grace.start_s, main.start_s) == pytest.approx((2 - GRACE_S, 2))


def test_grace_notes_before_the_first_note_are_on_the_beat() -> None:
    grace, main = sounds("{5v}4^")
    assert (grace.start_s, grace.end_s) == pytest.approx((0, GRACE_S))
    assert (main.start_s, main.end_s) == pytest.approx((GRACE_S, 1))


def test_a_shake_alternates_beginning_on_the_first() -> None:
    shaken = sounds("4~5v - -")
    assert [sound.tone.hole for sound in shaken] == [4, 5] * (len(shaken) // 2) + [4] * (
        len(shaken) % 2
    )
    assert len(shaken) == pytest.approx(3 * 2 * SHAKE_HZ, abs=1)
    assert all(one.end_s == pytest.approx(two.start_s) for one, two in pairwise(shaken))
    assert (shaken[0].start_s, shaken[-1].end_s) == pytest.approx((0, 3))


def test_marks_on_a_shake_are_those_of_the_whole() -> None:
    """It scoops once, at its beginning, and falls once, at its end."""
    shaken = sounds("/4~5v!\\ - -")
    assert shaken[0].offset(0) == pytest.approx(-1)
    assert end_of(shaken[-1]) < -0.3
    middle = shaken[len(shaken) // 3 : len(shaken) // 2]
    assert all(abs(away) < 1e-9 for sound in middle for away in curve(sound))
    assert [sound.accent for sound in shaken] == [True] + [False] * (len(shaken) - 1)


def test_every_tone_of_a_chord_gives_what_its_own_reed_gives() -> None:
    """3 draw bends three semitones, 5 draw a quarter tone, 4 draw one."""
    three, four, five = sounds("3+4+5v\\")
    assert [end_of(sound) for sound in (three, four, five)] == pytest.approx([-1, -1, -0.5])


@pytest.mark.parametrize("seed", range(30))
def test_random_tunes_sound_in_order_and_start_where_they_should(seed: int) -> None:
    """No sound ends before it begins; those of one event do not run into the next; every note
    without grace notes begins at its time."""
    loaded = load(text_of(random_tune(Random(seed))))
    heard = perform(loaded.score)
    assert heard
    assert all(sound.end_s > sound.start_s >= 0 for sound in heard)
    for one, two in pairwise(heard):
        if one.event is not two.event:
            assert one.end_s <= two.start_s + 1e-9
    events = {id(event): event for event in loaded.score.events}
    for key, event in events.items():
        own = [sound for sound in heard if id(sound.event) == key]
        if not event.figure.grace:
            assert min(sound.start_s for sound in own) == pytest.approx(event.start_s)
        assert max(sound.end_s for sound in own) <= event.end_s + 1e-9
