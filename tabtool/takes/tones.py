"""The tones of a take, and what bears out that they are the notes of the tab.

Conventions: frames of the track; pitches in semitones; levels in decibels.

A tone is a stretch at one pitch.  What parts two of one pitch is a dip of the level or a sudden
step of the pitch, beyond what the inside of this take's notes shows anyway: hands, a room and
noise make the level shake, and vibrato moves the pitch.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from tabtool.takes.align import SAME, Floats, State, Stretch, dips
from tabtool.takes.chords import decoded
from tabtool.takes.pitchtrack import Pitches, PitchTrack

KINK, STEP, LEAP = 5.0, 3, 80.0
"""Cents of a sudden step of the pitch that count as a decibel of dip: a reed that speaks again
starts flat, and few lips are as quick; frames that it takes; cents from which it is another
pitch."""

RESTLESS, USUAL = 0.1, 6.0
"""Decibels: the least unrest inside notes; the usual dip between equal notes, where few tell."""

LEAST_THIRD, FEW = 6, 4
"""Frames in the middle third of a note whose unrest is measured; notes that are enough."""

ECHO_DB, SPOKEN_DB = 12.0, 6.0
"""A tone of the pitch of the one before that is so much softer, and does not rise by that much,
is its echo in the room, no note."""

LITTLE, CUT = 2.0, 5.0
"""Decibels of dip over which a pitch always goes on as one tone, and at which a tone is cut in
two, as ``listen`` does; more where the dips between notes are usually deeper."""

OWN = 0.6
"""Semitones within which a frame bears out a note's pitch."""

LIKE, UNLIKE = 0.6, 0.2
"""Shares of a tone's later frames that make it surely that note, and surely another."""

PARTED = 0.35
"""Share of the dip usual between two notes in this take that parts them for sure."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One playing of one note of the tab: frames first to last (exclusive)."""

    place: int
    state: State
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the tab asks for, note by note.

    ``targets``: the pitches that sound together or in turn, one for an ordinary note;
    ``written``: onset and end in seconds as written, which say nothing of notes that are
    ``free``; ``optional`` ones (grace notes) may be left out; ``adorned`` ones have a scoop, dip
    or fall, so that other pitches below belong to them.
    """

    targets: Sequence[Pitches]
    written: Sequence[tuple[float, float]]
    optional: Collection[int] = ()
    free: Collection[int] = ()
    adorned: Collection[int] = ()

    def same(self, one: int, two: int) -> bool:
        """Whether two notes have the same pitch; what lies outside the tab has none."""
        inside = min(one, two) >= 0 and max(one, two) < len(self.targets)
        return inside and abs(self.targets[one][0] - self.targets[two][0]) < SAME

    def apart_s(self, one: int, two: int) -> float:
        """Seconds from the onset of one note to that of another, as written."""
        return self.written[two][0] - self.written[one][0]


class Tone(NamedTuple):
    """A stretch at one pitch, in frames."""

    first: int
    last: int


@dataclass(slots=True)
class Sound:
    """One take against the tab: ``tuning`` in semitones is added to what is wanted.

    ``depth`` is the dip around each frame in dB; ``parting`` the evidence that a note ends there,
    in dB beyond the ``unrest`` inside notes; ``usual`` the dip usual between equal notes.
    """

    track: PitchTrack
    wanted: Wanted
    tuning: float
    depth: Floats = field(init=False)
    parting: Floats = field(init=False)
    seen: dict[tuple[Tone, int, float], float] = field(default_factory=dict)
    lengths: dict[Tone, float] = field(default_factory=dict)
    unrest: float = RESTLESS
    usual: float = USUAL

    def __post_init__(self) -> None:
        self.depth = dips(self.track, least=0.0)
        self.parting = self.depth

    def weigh(self, visits: Sequence[Visit]) -> None:
        """What parts notes in this take: dips and kinks beyond those inside notes, and how deep
        they usually are between equal ones."""
        steps = kinks(self.track) / KINK
        inside, between = [], []
        for one, two in pairwise(visits):
            third = (one.last - one.first) // 3
            if one.state is State.NOTE and third >= LEAST_THIRD:
                middle = slice(one.first + third, one.last - third)
                inside.append((self.depth[middle].max(), steps[middle].max()))
            if two.place == one.place + 1 and self.wanted.same(one.place, two.place):
                between.append(slice(max(0, two.first - 4), two.first + 5))
        unrest = np.full(2, RESTLESS)
        if len(inside) >= FEW:
            unrest = np.maximum(unrest, np.percentile(inside, 90, axis=0))
        self.unrest = float(unrest[0])
        self.parting = np.maximum(np.maximum(self.depth - unrest[0], steps - unrest[1]), 0)
        if len(between) >= FEW:
            usual = float(np.median([self.parting[border].max() for border in between]))
            self.usual = max(2 * self.unrest, usual)

    def tones(self, pieces: Sequence[Visit | Stretch]) -> list[Tone]:
        """Pieces cut where the pitch leaps, and joined where one tone goes on."""
        found: list[tuple[Tone, float]] = []
        for piece in sorted(pieces, key=lambda piece: piece.first):
            for tone in self._cut(piece):
                pitch = self._pitch(tone, piece)
                if not np.isfinite(pitch):
                    continue
                if found and self._goes_on(*found[-1], tone, pitch):
                    found[-1] = (Tone(found[-1][0].first, tone.last), found[-1][1])
                else:
                    found.append((tone, pitch))
        # chords and shakes beat: no dip within one parts it
        whole = [
            piece
            for piece in pieces
            if piece.state is State.NOTE and len(self.wanted.targets[piece.place]) > 1
        ]
        tones: list[Tone] = []
        for tone, _ in found:
            beats = any(p.first < tone.last and p.last > tone.first for p in whole)
            tones += [tone] if beats else self._parts(tone)
        return [t for k, t in enumerate(tones) if not (k and self._echoes(tones[k - 1], t))]

    def _goes_on(self, before: Tone, other: float, tone: Tone, pitch: float) -> bool:
        """Whether one tone goes on from a stretch at one pitch to the next."""
        between = self.parting[max(0, before.last - 2) : tone.first + 3].max(initial=0)
        near = tone.first - before.last <= 4 and abs(other - pitch) < 0.5
        return bool(near and between < min(CUT, max(LITTLE, PARTED * self.usual)))

    def _echoes(self, before: Tone, tone: Tone) -> bool:
        """Whether a tone is but the room's answer to the one before."""
        if tone.first - before.last >= 5:
            return False
        one, two = (self.track.level[t.first : t.last] for t in (before, tone))
        was, rings = self._middle(before), self._middle(tone)
        if abs(was - rings) < OWN:
            loud = two.max()
        elif self._heard(rings) < self._heard(was) and not self._begins(tone):
            loud = np.median(two)  # the reeds of a chord do not all fall silent at once
        else:
            return False
        return bool(loud < one.max() - ECHO_DB and two.max() < two[0] + SPOKEN_DB)

    def _begins(self, tone: Tone) -> bool:
        """Whether the level dips where a tone begins."""
        return bool(self.parting[max(0, tone.first - 4) : tone.first + 5].max() >= LITTLE)

    def _heard(self, pitch: float) -> set[float]:
        """The pitches that one in the track stands for, those of a chord."""
        return {round(p, 1) for p in decoded(pitch - self.tuning, self.track.sets)}

    def _middle(self, tone: Tone) -> float:
        return _median(self.track.pitch[tone.first : tone.last, 0])

    def _parts(self, tone: Tone) -> list[Tone]:
        """A tone cut where the level dips as it does between notes."""
        deep = max(CUT, PARTED * self.usual)
        inside = self.depth[tone.first + 3 : tone.last - 3]
        at = [tone.first, *(np.flatnonzero(inside >= deep) + tone.first + 3).tolist(), tone.last]
        return [Tone(a, b) for a, b in pairwise(at)]

    def _cut(self, piece: Visit | Stretch) -> list[Tone]:
        if piece.state is State.NOTE:
            return [Tone(piece.first, piece.last)]
        pitch = self.track.pitch[piece.first : piece.last, 0]
        good = self.track.weight[piece.first : piece.last, 0] > 0.25
        leaps = np.abs(np.diff(pitch)) > 0.7
        leaps |= ~good[1:] | ~good[:-1]
        cuts = [0, *(np.flatnonzero(leaps) + 1).tolist(), len(pitch)]
        tones = [Tone(piece.first + a, piece.first + b) for a, b in pairwise(cuts)]
        return [tone for tone in tones if tone.last - tone.first >= 3]

    def _pitch(self, tone: Tone, piece: Visit | Stretch) -> float:
        """Median over its later part."""
        first = tone.first + (tone.last - tone.first) * 2 // 5
        pitch = self.track.pitch[first : tone.last]
        if piece.state is State.NOTE:
            target = self.wanted.targets[piece.place][0] + self.tuning
            near = np.abs(np.nan_to_num(pitch, nan=-99) - target).argmin(axis=1)[:, None]
            return _median(np.take_along_axis(pitch, near, 1))
        return _median(pitch[:, 0][self.track.weight[first : tone.last, 0] > 0.25])

    def unlikeness(self, tone: Tone, place: int, below: float = OWN) -> float:
        """0 where most of the later frames of a tone bear out a note, 1 where few do; frames so
        many semitones ``below`` it do."""
        key = (tone, place, below)
        if key not in self.seen:
            first = tone.first + (tone.last - tone.first) * 2 // 5
            each = np.nan_to_num(self.track.pitch[first : tone.last], nan=-99) - self.tuning
            pitches = np.array(self.wanted.targets[place])
            above = pitches[:, None, None] - each
            near = ((above > -OWN) & (above < below)).any(axis=0)
            near &= self.track.weight[first : tone.last] > 0.15
            share = float(near.any(axis=1).mean())
            self.seen[key] = float(np.clip((LIKE - share) / (LIKE - UNLIKE), 0, 1))
        return self.seen[key]

    def lasts(self, tone: Tone) -> float:
        """Seconds to the last frame that is not much softer than the loudest: a room rings on."""
        if tone not in self.lengths:
            level = self.track.level[tone.first : tone.last]
            loud = np.flatnonzero(level >= level.max() - ECHO_DB)
            self.lengths[tone] = (int(loud[-1]) + 1) * self.track.hop_s
        return self.lengths[tone]


def _median(pitches: Floats) -> float:
    """Of those that were heard, NaN where none was."""
    heard = pitches[np.isfinite(pitches)]
    return float(np.median(heard)) if len(heard) else float("nan")


def kinks(track: PitchTrack) -> Floats:
    """Cents by which the pitch steps within ``STEP`` frames, beyond how it moves before and
    after."""
    pitch = np.nan_to_num(track.pitch[:, 0])
    found = np.zeros(len(pitch), np.float32)
    if len(pitch) <= 3 * STEP:
        return found
    step = 100 * (pitch[STEP:] - pitch[:-STEP])
    sudden = np.abs(step[STEP:-STEP] - 0.5 * (step[: -2 * STEP] + step[2 * STEP :]))
    sounds = np.convolve(track.weight[:, 0] > 0.3, np.ones(3 * STEP + 1), "valid") > 3 * STEP
    leaps = np.abs(step) > LEAP
    leaps = leaps[: -2 * STEP] | leaps[STEP:-STEP] | leaps[2 * STEP :]
    middle = STEP + STEP // 2
    found[middle : middle + len(sudden)] = np.where(sounds & ~leaps, sudden, 0)
    return found
