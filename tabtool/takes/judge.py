"""What became of every note of a take: found, wrong or missing, and how far from its pitch.

Conventions: seconds of the recording; cents, sharp is positive; a note's ``cents`` is the
player's own error: the overall tuning of harp and recording is estimated first and taken off.

The grounds of the limits are in ``GOOD``, ``ACCEPTABLE`` and ``WRONG_FROM``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TypeVar

import numpy as np

from tabtool.takes.align import State, Stretch, align, tuning_guess
from tabtool.takes.borders import borders
from tabtool.takes.chords import CODED, code, decoded, distinct, number_of, with_chords
from tabtool.takes.heard import heard
from tabtool.takes.pitchtrack import Pitches, PitchTrack
from tabtool.takes.steady import curve_of, steady
from tabtool.takes.tones import Wanted

GOOD = 10.0
"""Cents within which a bend is good: the smallest difference heard in melodic thirds (Hill &
Summers, JASA 121, 2007), twice the five cents heard at best between tones one after another."""

ACCEPTABLE = 25.0
"""Cents within which it is acceptable: half a quarter tone, the tolerance that listeners showed
(Larrouy-Maestri, Music & Science 1, 2018)."""

WRONG_FROM = 60.0
"""Cents from which another note was played: a quarter tone, the limit of note transcription
scores (MIREX, as in mir_eval), and the error that the nearest wrong note may have itself."""

EXTRA_S = 0.07
"""An extra note heard for less is an accident of the analysis."""

TIMED_BY = 4
"""Notes before and after by which it is told how late one was."""


@dataclass(frozen=True, slots=True)
class Expected:
    """A note of the tab: its pitch on this harp (MIDI, temperament and all), and when it is
    written, in seconds at the tab's tempo.

    ``others`` are the further pitches of a chord, or of a shake where it is ``shaken``; either is
    not judged in cents.  ``natural`` notes (neither bent nor overblown) serve for the tuning;
    ``expressive`` ones (quarter-tone bends) are not judged in cents; ``free`` where the tab has no
    meter, so that no onset can be early.  A ``grace`` note may be left out and is not judged.  An
    ``adorned`` one has a scoop, dip or fall.
    """

    pitch: float
    onset_s: float
    end_s: float
    natural: bool = True
    expressive: bool = False
    free: bool = False
    others: tuple[float, ...] = ()
    grace: bool = False
    adorned: bool = False
    shaken: bool = False

    @property
    def pitches(self) -> Pitches:
        """All of them."""
        return (self.pitch, *self.others)


@dataclass(frozen=True, slots=True)
class Judged:
    """What became of one note of the tab; what could not be told is None.

    ``status`` is ok, wrong or missing.  ``cents`` is the median error over the steady part,
    ``spread`` the half-width in cents that holds the middle two thirds of it.  ``scoop`` and
    ``fall`` are how far the pitch came from and went to at the ends, ``drift`` how far it moved
    over the steady part, ``vibrato`` its extent from the middle.  ``late_ms`` is against the
    neighbours.  ``pitch`` is what was heard, ``others`` what besides of a chord in a note's stead.
    """

    index: int
    status: str
    start_s: float | None = None
    end_s: float | None = None
    cents: float | None = None
    spread: float | None = None
    scoop: float = 0.0
    fall: float = 0.0
    drift: float = 0.0
    vibrato: float = 0.0
    late_ms: float | None = None
    pitch: float | None = None
    others: Pitches = ()


@dataclass(frozen=True, slots=True)
class Extra:
    """A note played that the tab does not have there; ``again`` is the number of the tab's note
    if it was one played once more (a false start, a passage again); ``others`` are the further
    pitches of a chord."""

    start_s: float
    end_s: float
    pitch: float
    again: int | None = None
    others: Pitches = ()


Heard = TypeVar("Heard", Judged, Extra)


@dataclass(frozen=True, slots=True)
class Verdict:
    """A take, judged.  ``tuning_cents``: harp and recording as a whole against the tab's pitch."""

    tuning_cents: float
    notes: tuple[Judged, ...]
    extra: tuple[Extra, ...]


def hear_chords(
    track: PitchTrack, expected: Sequence[Expected], rivals: Sequence[Pitches]
) -> PitchTrack:
    """The track with the chords of the tab and their rivals told apart."""
    wanted = [note.pitches for note in expected]
    return with_chords(track, distinct([*wanted, *rivals]), tuning_guess(track, wanted))


def judge(track: PitchTrack, expected: Sequence[Expected]) -> Verdict:
    """Align the take, tell the tuning from the player, and judge each note; of chords only those
    that `hear_chords` has told apart are known."""
    targets = [_target(note, track.sets) for note in expected]
    tuning = tuning_guess(track, targets)
    wanted = Wanted(
        targets,
        [(note.onset_s, note.end_s) for note in expected],
        optional={index for index, note in enumerate(expected) if note.grace},
        free={index for index, note in enumerate(expected) if note.free},
        adorned={index for index, note in enumerate(expected) if note.adorned},
    )
    stretches = align(track, targets, tuning, wanted.optional)
    take = heard(track, stretches, wanted, tuning)
    notes: list[Judged] = []
    extras: list[Extra] = []
    pitches = [note.pitch + tuning for note in expected]
    spans = borders(track, (*take.notes, *take.again), take.other, pitches)
    for number, visit in enumerate((*take.notes, *take.again)):
        note = expected[visit.place]
        start, end = spans[number]
        near = targets[visit.place][0] + tuning if visit.state is State.NOTE else None
        times, curve = curve_of(track, start, end, None if note.others else near)
        if number < len(take.notes) and note.others:
            if visit.state is State.NOTE:
                notes.append(Judged(visit.place, "ok", start, end))
            elif len(curve):  # else nothing that has a name sounded in its stead
                pitch = float(np.median(curve))
                notes.append(Judged(visit.place, "wrong", start, end, pitch=pitch))
        elif number < len(take.notes):
            told = steady(note.pitch, start, end, times, curve)
            notes.append(Judged(visit.place, "ok", start, end, **told._asdict()))
        elif len(curve):
            extras.append(Extra(start, end, float(np.median(curve)), visit.place))
    for stretch in take.other:
        extras.extend(_extras(track, stretch))
    exact = _tuning(notes, expected, tuning)
    states = {visit.place: visit.state for visit in take.notes}
    done = {n.index: _status(n, expected[n.index], exact, states[n.index]) for n in notes}
    every = [done.get(i, Judged(i, "missing")) for i in range(len(expected))]
    every = [_named(note, track, tuning) for note in _timing(every, expected)]
    extras.sort(key=lambda extra: extra.start_s)
    extras = _played_again(extras, every, [target[0] + exact for target in targets])
    return Verdict(
        100 * exact, tuple(every), tuple(_named(extra, track, tuning) for extra in extras)
    )


def _target(note: Expected, sets: Sequence[Pitches]) -> Pitches:
    """The pitches in the track that bear out a note: those of a shake by turns, one for a chord
    that is told apart."""
    together = number_of(note.pitches, sets) if note.others else None
    if together is None:
        return note.pitches
    return (*note.pitches, code(together)) if note.shaken else (code(together),)


def _named(one: Heard, track: PitchTrack, tuning: float) -> Heard:
    """A note with the pitches of the chord that was heard, if it was one."""
    if one.pitch is None or one.pitch < CODED - 1:
        return one
    lowest, *others = (pitch + tuning for pitch in decoded(one.pitch - tuning, track.sets))
    found = replace(one, pitch=lowest, others=tuple(others))
    return replace(found, cents=None, spread=None) if isinstance(found, Judged) else found


def _played_again(
    extras: Sequence[Extra], notes: Sequence[Judged], pitches: Sequence[float]
) -> list[Extra]:
    """Extra notes that are those right before or after once more, marked as such."""
    onsets = np.array([note.start_s for note in notes if note.start_s is not None])
    following = [note.index for note in notes if note.start_s is not None]
    result: list[Extra] = []
    for number, group in groupby(extras, key=lambda e: int(np.searchsorted(onsets, e.start_s))):
        run = list(group)
        ahead = following[number] if number < len(following) else len(pitches)
        for first in (ahead - len(run), ahead):
            wanted = pitches[max(first, 0) : first + len(run)]
            like = len(wanted) == len(run) and all(
                abs(one.pitch - pitch) < WRONG_FROM / 100
                for one, pitch in zip(run, wanted, strict=True)
            )
            if like and all(one.again is None for one in run):
                run = [replace(one, again=first + k) for k, one in enumerate(run)]
        result += run
    return result


def _extras(track: PitchTrack, stretch: Stretch) -> list[Extra]:
    """Notes within a stretch of others: split where the pitch leaps or fades, kept if the later
    part of each holds its pitch."""
    pitch = track.pitch[stretch.first : stretch.last, 0]
    good = track.weight[stretch.first : stretch.last, 0] > 0.25
    found: list[Extra] = []
    first = 0
    for i in range(1, len(pitch) + 1):
        if i < len(pitch) and good[i] and good[i - 1] and abs(pitch[i] - pitch[i - 1]) < 0.7:
            continue
        seconds = (i - first) * track.hop_s
        later = pitch[first + (i - first) * 2 // 5 : i]
        middle = float(np.median(later))
        if seconds >= EXTRA_S and (np.abs(later - middle) < 0.3).mean() > 0.6:
            start = track.start_s + track.hop_s * (stretch.first + first - 0.5)
            found.append(Extra(start, start + seconds, middle))
        first = i
    return found


def _tuning(notes: Sequence[Judged], expected: Sequence[Expected], guess: float) -> float:
    """Semitones: the median error of the natural notes, of all where they are few."""

    def errors(natural: bool) -> list[float]:
        return [
            n.cents
            for n in notes
            if n.cents is not None
            and abs(n.cents - 100 * guess) < WRONG_FROM
            and not expected[n.index].expressive
            and not expected[n.index].grace
            and (expected[n.index].natural or not natural)
        ]

    found = errors(True)
    if len(found) < 3:
        found = errors(False)
    if not found:
        return guess
    return float(np.median(found)) / 100


def _status(note: Judged, expected: Expected, tuning: float, state: State) -> Judged:
    """Take the tuning off, and call wrong what is another note."""
    if note.cents is None:
        if note.pitch is None or expected.expressive or expected.others:
            return note
        limit = WRONG_FROM if state is State.WRONG else 100.0  # still on its way to the note
        away = abs(100 * (note.pitch - expected.pitch - tuning))
        return replace(note, status="wrong" if away > limit else "ok")
    if expected.expressive:
        return replace(note, cents=None)
    cents = note.cents - 100 * tuning
    wrong = abs(cents) > WRONG_FROM
    return replace(note, cents=cents, status="wrong" if wrong else "ok")


def _timing(notes: list[Judged], expected: Sequence[Expected]) -> list[Judged]:
    """How early or late each note was against its neighbours.

    Those before and those after foretell it at the pace around; where they disagree, since an
    extra note or a pause lies between, the nearer foretelling counts.
    """
    there = [n for n in notes if n.start_s is not None and not expected[n.index].free]
    written = np.array([expected[n.index].onset_s for n in there])
    heard = np.array([n.start_s for n in there], np.float64)
    result = list(notes)
    for k, note in enumerate(there):
        low, high = max(0, k - TIMED_BY), min(len(there), k + TIMED_BY + 1)
        steps = np.diff(written[low:high])
        forward = steps > 0
        if forward.sum() < 3:
            continue
        pace = float(np.median(np.diff(heard[low:high])[forward] / steps[forward]))
        if not 0.1 < pace < 10:
            continue
        late = [
            float(np.median(heard[k] - heard[side] - pace * (written[k] - written[side])))
            for side in (slice(low, k), slice(k + 1, high))
            if side.start < side.stop
        ]
        result[note.index] = replace(note, late_ms=1000 * min(late, key=abs))
    return result
