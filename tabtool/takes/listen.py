"""What was played, without a tab: notes and chords of a recording, and a first transcription.

Conventions: seconds of the recording; pitches are MIDI numbers; ``tuning_cents`` is what the
recording as a whole stands above equal temperament at A4 = 440 Hz, and is taken off a note's
``cents``, its distance from the semitone it was taken for.

Frame by frame one semitone, one chord of the harp or silence sounds; the likeliest path is
Viterbi's, each change costing, and a dip of the level parts two equal notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tabtool.harp import Harp
from tabtool.header import Setting
from tabtool.music import Meter, parse_meter
from tabtool.scores.measures import Change, Measure, Melody, Sounded
from tabtool.takes.align import Floats, dips, likelihood, presence, tuning_guess
from tabtool.takes.chords import code, distinct, of_harp, with_chords
from tabtool.takes.gate import admit
from tabtool.takes.pitchtrack import HIGHEST_HZ, LOWEST_HZ, Pitches, PitchTrack, midi

CHANGE, BEGIN, END = 9.0, 3.0, 2.0
"""Costs in nats of going from pitch to pitch, of beginning after silence, of falling silent."""

PARTED_DB = 5.0
"""A dip that parts two notes of one pitch; inside notes 95 of 100 dips are under 2 dB, but hands
that open and close make deeper ones."""

SHORTEST_S = 0.06
UNSURE_CENTS, UNSURE_SPREAD, UNSURE_S = 30.0, 30.0, 0.09
"""A note further from any semitone, less steady or shorter is marked as unsure."""

BAR_BEATS = 4
FREE_NOTES = 8
GRIDS = (4, 3)
"""Parts of a beat to which onsets are rounded where a tempo is given: those that fit better."""

THIRDS_FIT = 0.7
"""Thirds are taken where they miss by less than that share of what quarters miss by."""

FASTEST = 160
"""Beats a minute above which free meter takes two steps for a beat."""


class HeardNote(NamedTuple):
    """One note or chord heard: ``pitch`` is the semitone, the lowest of a chord, and ``others``
    the rest of it; ``cents`` is how far a note lay from its semitone, None of a chord; ``doubt``
    says in a few words why it is not sure, and is empty where it is."""

    start_s: float
    end_s: float
    pitch: int
    cents: float | None
    doubt: str
    others: tuple[int, ...] = ()

    @property
    def pitches(self) -> tuple[int, ...]:
        """All of them, the lowest first."""
        return (self.pitch, *self.others)


class Heard(NamedTuple):
    """All notes of a recording, in order."""

    tuning_cents: float
    notes: tuple[HeardNote, ...]


def listen(track: PitchTrack, harp: Harp | None = None) -> Heard:
    """The notes of a recording, and the chords of neighbouring holes of the harp.

    `Unjudged` where there is nothing that can be told.
    """
    low, high = int(midi(LOWEST_HZ)), int(midi(HIGHEST_HZ)) + 1
    known: list[Pitches] = [(float(pitch),) for pitch in range(low, high + 1)]
    tuning = tuning_guess(track, known)
    track = with_chords(track, distinct(of_harp(Setting(harp=harp))), tuning)
    admit(track)
    path = _path(track, [*known, *((code(k),) for k in range(len(track.sets)))], tuning)
    known += track.sets
    depth = dips(track)
    found: list[tuple[int, int, Pitches]] = []
    first = 0
    for t in range(1, len(path) + 1):
        goes_on = t < len(path) and path[t] == path[first] and depth[t] < PARTED_DB
        if goes_on:
            continue
        if path[first] >= 0:
            found.append((first, t, known[path[first]]))
        first = t
    shortest = round(SHORTEST_S / track.hop_s)
    found = [each for each in found if each[1] - each[0] >= shortest]
    notes = [_note(track, *each, tuning) for each in found]
    exact = tuning * 100
    settled = [note.cents for note in notes if note.cents is not None and not note.doubt]
    if settled:
        # what all notes share is the tuning, not their own
        shift = float(np.median(settled))
        exact += shift
        notes = [
            note if note.cents is None else note._replace(cents=note.cents - shift)
            for note in notes
        ]
    return Heard(exact, tuple(notes))


def _path(track: PitchTrack, known: Sequence[Pitches], tuning: float) -> NDArray[np.int16]:
    """For each frame the number of the pitch that sounds, −1 for silence."""
    sounding = presence(track)
    seen = likelihood(track, [(pitch + tuning,) for (pitch,) in known], sounding)
    silent = np.log(1 - sounding + sounding * 0.006)
    frames, states = seen.shape
    back = np.zeros((frames, states + 1), np.int16)
    score = np.full(states, -1e9, np.float32)
    quiet = 0.0
    own = np.arange(states)
    for t in range(frames):
        best = int(score.argmax())
        other, source = float(score[best]) - CHANGE, best
        if quiet - BEGIN > other:
            other, source = quiet - BEGIN, states
        leaves = score < other
        back[t, :-1] = np.where(leaves, source, own)
        falls = float(score[best]) - END > quiet
        back[t, -1] = best if falls else states
        quiet = max(quiet, float(score[best]) - END) + float(silent[t])
        score = np.maximum(score, other) + seen[t]
    state = states if quiet > score.max() else int(score.argmax())
    path = np.empty(frames, np.int16)
    for t in range(frames - 1, -1, -1):
        path[t] = -1 if state == states else state
        state = int(back[t, state])
    return path


def _note(track: PitchTrack, first: int, last: int, pitches: Pitches, tuning: float) -> HeardNote:
    semitone, *others = (round(pitch) for pitch in pitches)
    start, end = (track.start_s + track.hop_s * (t - 0.5) for t in (first, last))
    doubt = ""
    if (last - first) * track.hop_s < UNSURE_S:
        doubt = "very short"
    elif np.median(presence(track)[first:last]) < 0.5:
        doubt = "hardly heard"
    if others:
        return HeardNote(start, end, semitone, None, doubt, tuple(others))
    part = slice(first + min(2, (last - first) // 3), last)
    pitch = track.pitch[part]
    nearest = np.abs(np.nan_to_num(pitch, nan=-99) - semitone - tuning).argmin(axis=1)[:, None]
    curve = 100 * (np.take_along_axis(pitch, nearest, 1)[:, 0] - semitone - tuning)
    later = curve[len(curve) * 2 // 5 :]
    cents = float(np.nanmedian(later)) if np.isfinite(later).any() else 0.0
    spread = float(np.nanpercentile(np.abs(later - cents), 67)) if np.isfinite(later).any() else 99
    if abs(cents) > UNSURE_CENTS:
        doubt = f"{cents:+.0f} cents from the nearest note"
    elif spread > UNSURE_SPREAD:
        doubt = "its pitch does not hold"
    return HeardNote(start, end, semitone, cents, doubt)


def melody_of(heard: Heard, tempo: float = 0.0, title: str = "") -> Melody:
    """The notes as bars: in 4/4 at ``tempo`` beats a minute, or in free meter where it is 0.

    In free meter a beat is the commonest step from note to note, and each note lasts whole or
    half beats; at a tempo the first note falls on a beat and onsets go to the nearest quarter
    or third of one.
    """
    notes = heard.notes
    starts = np.array([note.start_s for note in notes])
    if tempo:
        timed = _in_time(notes, starts, 60 / tempo)
        beat = Fraction(tempo).limit_denominator(1000)
        measures = _barred(timed, _meter("4/4"), Fraction(BAR_BEATS))
    else:
        steps = np.diff(starts)
        unit = float(np.median(steps)) if len(steps) else 0.5
        while 60 / unit > FASTEST:
            unit *= 2
        beat = Fraction(max(10, round(60 / unit)))
        measures = _free(notes, unit, _meter("free"))
    if measures:
        measures[0] = measures[0]._replace(change=Change(tempo=beat, meter=measures[0].meter))
    return Melody(tuple(measures), title)


def _meter(text: str) -> Meter:
    meter = parse_meter(text)
    assert meter is not None
    return meter


Timed = tuple[Fraction, Fraction, tuple[int, ...]]


def _in_time(notes: Sequence[HeardNote], starts: Floats, beat_s: float) -> list[Timed]:
    """Onset and duration in beats, and pitches; two notes never share an onset."""
    beats = (starts - starts[0]) / beat_s
    quarters, thirds = (float(np.abs(beats * k - np.rint(beats * k)).mean() / k) for k in GRIDS)
    parts = GRIDS[1] if thirds < THIRDS_FIT * quarters else GRIDS[0]
    grid: list[int] = []
    for beat in beats:
        at = round(float(beat) * parts)
        grid.append(max(at, grid[-1] + 1) if grid else at)
    timed: list[Timed] = []
    for k, note in enumerate(notes):
        length = max(1, round((note.end_s - note.start_s) / beat_s * parts))
        if k + 1 < len(notes):
            until = grid[k + 1] - grid[k]
            # a short silence is how the note is parted from the next, not a rest
            length = until if until - length <= 1 else min(length, until)
        timed.append((Fraction(grid[k], parts), Fraction(length, parts), note.pitches))
    return timed


def _barred(timed: Sequence[Timed], meter: Meter, length: Fraction) -> list[Measure]:
    measures: list[Measure] = []
    last = max((onset + lasts for onset, lasts, _ in timed), default=Fraction(0))
    start = Fraction(0)
    while start < last:
        inside = []
        for onset, lasts, pitches in timed:
            a, b = max(onset, start), min(onset + lasts, start + length)
            if a < b:
                inside.append(Sounded(a - start, b - a, pitches, tied=onset < start))
        measures.append(Measure(length, meter, tuple(inside)))
        start += length
    return measures


def _free(notes: Sequence[HeardNote], unit: float, meter: Meter) -> list[Measure]:
    measures: list[Measure] = []
    inside: list[Sounded] = []
    now = Fraction(0)
    for k, note in enumerate(notes):
        following = notes[k + 1].start_s if k + 1 < len(notes) else note.end_s
        whole = following - note.start_s
        silence = following - note.end_s
        rest = Fraction(round(2 * silence / unit), 2) if silence > 0.6 * unit else Fraction(0)
        lasts = max(Fraction(1, 2), Fraction(round(2 * whole / unit), 2) - rest)
        inside.append(Sounded(now, lasts, note.pitches))
        now += lasts + rest
        if len(inside) >= FREE_NOTES or rest >= 2 or k + 1 == len(notes):
            length = Fraction(-(-now.numerator // now.denominator))  # whole beats
            measures.append(Measure(length, meter, tuple(inside)))
            inside, now = [], Fraction(0)
    return measures
