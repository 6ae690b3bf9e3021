"""Slips that the rhythm has to tell apart, on pitch tracks drawn by hand.

What is right follows from what was put in: there is no sound here, and no source.
"""

from __future__ import annotations

import pytest

np = pytest.importorskip("numpy")

from tabtool.takes.judge import Expected, Verdict, judge  # noqa: E402
from tabtool.takes.pitchtrack import CANDIDATES, FINE_S, HOP_S, PitchTrack  # noqa: E402

BEAT_S = 0.4
Part = tuple[float, float | None]  # seconds, and the MIDI pitch or None for silence


def drawn(parts: list[Part], dip_db: float = 30.0) -> PitchTrack:
    """A track of notes with a dip of the level at the end of each, 30 ms long."""
    pitch, level = [], []
    for seconds, midi in parts:
        steps = round(seconds / FINE_S)
        pitch += [np.nan if midi is None else midi] * steps
        level += [-90.0 if midi is None else -20.0] * steps
        if midi is not None and dip_db:
            level[-round(0.03 / FINE_S) :] = [-20.0 - dip_db] * round(0.03 / FINE_S)
    quiet = [-90.0] * round(0.3 / FINE_S)
    fine = np.array([*quiet, *level, *quiet], np.float32)
    line = np.array([*quiet, *pitch, *quiet], np.float32)
    line[: len(quiet)] = line[-len(quiet) :] = np.nan
    every = round(HOP_S / FINE_S)
    frames = np.full((len(line[::every]), CANDIDATES), np.nan, np.float32)
    frames[:, 0] = line[::every]
    heard = ~np.isnan(frames[:, 0])
    weight = np.zeros_like(frames)
    weight[:, 0] = 0.95 * heard
    periodic = np.where(heard, 0.99, 0.1).astype(np.float32)
    return PitchTrack(frames, weight, periodic, fine[::every], fine, HOP_S, 0.0)


def tab(*notes: tuple[float, float]) -> list[Expected]:
    """Notes of so many beats, one after the other."""
    found, now = [], 0.0
    for beats, pitch in notes:
        found.append(Expected(pitch, now, now + beats * BEAT_S))
        now += beats * BEAT_S
    return found


def told(verdict: Verdict) -> tuple[list[int], list[int], int]:
    """Notes missing, notes wrong, and how many extra ones."""
    kinds = {
        kind: [note.index for note in verdict.notes if note.status == kind]
        for kind in ("missing", "wrong")
    }
    return kinds["missing"], kinds["wrong"], len(verdict.extra)


TUNE = ((1, 60), (1, 64), (1, 67), (2, 65), (1, 65), (1, 62), (1, 60), (1, 64), (1, 62), (2, 60))


def played(*notes: tuple[float, float | None]) -> list[Part]:
    return [(beats * BEAT_S, pitch) for beats, pitch in notes]


@pytest.mark.parametrize("left_out", [3, 4])
def test_the_length_tells_which_of_two_equal_notes_was_left_out(left_out: int) -> None:
    notes = [note for number, note in enumerate(TUNE) if number != left_out]
    assert told(judge(drawn(played(*notes)), tab(*TUNE))) == ([left_out], [], 0)


def test_all_played_is_all_found() -> None:
    assert told(judge(drawn(played(*TUNE)), tab(*TUNE))) == ([], [], 0)


@pytest.mark.parametrize("wrong", [1, 3, 4, 6])
def test_a_wrong_note_is_one_slip(wrong: int) -> None:
    notes = [(beats, pitch + (number == wrong)) for number, (beats, pitch) in enumerate(TUNE)]
    assert told(judge(drawn(played(*notes)), tab(*TUNE))) == ([], [wrong], 0)


@pytest.mark.parametrize("place", [2, 4, 7])
def test_an_extra_note_is_one_slip(place: int) -> None:
    notes = [*TUNE[:place], (0.6, 69), *TUNE[place:]]
    assert told(judge(drawn(played(*notes)), tab(*TUNE))) == ([], [], 1)


def test_two_wrong_notes_are_not_an_extra_and_a_skipped_one() -> None:
    notes = [*TUNE[:5], (1, 70), (1, 71), *TUNE[7:]]
    assert told(judge(drawn(played(*notes)), tab(*TUNE))) == ([], [5, 6], 0)


def test_an_extra_note_and_a_skipped_one_are_not_two_wrong_ones() -> None:
    """67 was played: it sounds after the extra note."""
    notes = [*TUNE[:2], (0.5, 71), (1, 67), *TUNE[4:]]
    assert told(judge(drawn(played(*notes)), tab(*TUNE))) == ([3], [], 1)


def test_a_held_note_is_two_only_if_something_parts_it() -> None:
    """Nothing parts it: the second note was not played.  A reed that speaks again starts flat."""
    held = [*TUNE[:3], (3, 65), *TUNE[5:]]
    missing, wrong, extra = told(judge(drawn(played(*held), dip_db=3.0), tab(*TUNE)))
    assert missing in ([3], [4])
    assert not wrong
    assert not extra
    track = drawn(played(*held), dip_db=3.0)
    start = round((0.3 + 5 * BEAT_S) / HOP_S)
    speaks = -0.3 * np.exp(-np.arange(8) / 2)
    assert np.isclose(track.pitch[start, 0], 65)
    track.pitch[start : start + 8, 0] += speaks
    assert told(judge(track, tab(*TUNE))) == ([], [], 0)


def test_the_pace_tells_where_the_player_went_back() -> None:
    """60 64 65 | 64 65 67: by pitch alone either 64 65 may be the one played again."""
    tune = ((1, 60), (1, 64), (3, 65), (1, 67), (1, 69), (2, 67), (1, 62), (1, 60))
    again = [*tune[:3], *tune[1:]]
    verdict = judge(drawn(played(*again)), tab(*tune))
    assert told(verdict) == ([], [], 2)
    assert [extra.again for extra in verdict.extra] == [1, 2]


def test_a_take_may_begin_afresh_after_a_pause() -> None:
    """The false start goes as far as the note with which the tune begins."""
    tune = ((1, 60), (1, 64), (1, 62), (1, 60), (1, 64), (2, 67), (1, 65), (2, 60))
    notes = [*tune[:2], (2, None), *tune]
    verdict = judge(drawn(played(*notes)), tab(*tune))
    assert told(verdict) == ([], [], 2)
    assert [extra.again for extra in verdict.extra] == [0, 1]
    assert verdict.notes[0].start_s == pytest.approx(0.3 + 4 * BEAT_S, abs=0.03)


def test_a_fall_belongs_to_its_note() -> None:
    notes = [*TUNE[:3], (1.6, 65), *TUNE[4:]]
    fallen = played(*notes)
    fallen[3:4] = [(1.6 * BEAT_S, 65.0), (0.35 * BEAT_S, 63.4)]
    track = drawn(fallen, dip_db=0.0)
    plain, fall = tab(*TUNE), tab(*TUNE)
    fall[3] = Expected(65, fall[3].onset_s, fall[3].end_s, adorned=True)
    assert len(judge(track, plain).extra) == 1
    assert not judge(track, fall).extra


def test_without_rhythm_nothing_is_made_of_lengths() -> None:
    """In free meter a note three times as long is still that note."""
    free = [Expected(n.pitch, n.onset_s, n.end_s, free=True) for n in tab(*TUNE)]
    notes = [(beats * (3 if number == 2 else 1), pitch)
             for number, (beats, pitch) in enumerate(TUNE)]  # fmt: skip
    assert told(judge(drawn(played(*notes)), free)) == ([], [], 0)
