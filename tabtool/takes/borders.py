"""When notes begin and end, read off the level.

Conventions: seconds of the recording; the envelope is in decibels, a step each ``FINE_S``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tabtool.takes.align import Stretch
from tabtool.takes.heard import SHORTEST_S
from tabtool.takes.pitchtrack import FINE_S, PitchTrack, hz
from tabtool.takes.tones import Visit

SPEAKS, SPEAKS_IN_NOISE = (8.5, 0.004), (3.2, 0.0076)
"""Periods, and seconds besides, in which a reed comes within 6 dB of its level: from silence, and
from where it stands out of a room or noise."""

FLOOR_SHAKES, FLOOR_STANDS, DEEP = 2.0, 4.0, 13.0
"""Decibels: by which the level of silence or of a room goes up and down by itself; within which
it stands still before an onset; and from which a rise is seen from its beginning."""

SHALLOW = 7.0
"""Decibels of a dip under which the old note hides the beginning of the new one wholly."""

FLAT, FLAT_LATE_S = 2.0, 0.025
"""Decibels under which no dip shows: then the pitch tells of a new note, and so many seconds
later, half a frame."""

SMOOTHED_S = 0.003
"""Seconds by which the envelope's smoothing puts off a rise; twice that out of a shallow dip."""


def borders(
    track: PitchTrack,
    visits: Sequence[Visit],
    odd: Sequence[Stretch],
    pitches: Sequence[float],
) -> list[tuple[float, float]]:
    """Start and end of each visit in seconds, the starts refined on the envelope."""
    rough = [track.start_s + track.hop_s * (visit.first - 0.5) for visit in visits]
    rough_end = [track.start_s + track.hop_s * (visit.last - 0.5) for visit in visits]
    starts = [
        onset(track.envelope, at, end, pitches[visit.place])
        for visit, at, end in zip(visits, rough, rough_end, strict=True)
    ]
    following = sorted(starts + [track.start_s + track.hop_s * (s.first - 0.5) for s in odd])
    result = []
    for start, at_end in zip(starts, rough_end, strict=True):
        after = [t for t in following if t > start + SHORTEST_S]
        latest = min(after[0], at_end + 0.03) if after else at_end + 0.03
        result.append((start, _end(track.envelope, start, latest)))
    return result


def onset(
    envelope: NDArray[np.float32], rough: float, end: float, pitch: float | None = None
) -> float:
    """When the rise of the level near ``rough`` began, in seconds.

    A reed takes 10–60 ms to speak, low ones longest, and its amplitude rises about evenly: so the
    beginning is reached from two crossings of the rise by going back.  Where ``pitch`` is known
    the way back is no longer than the reed takes to speak.
    """
    rise = _rise(envelope, rough, end)
    if rise is None:
        return rough
    if rise.depth < FLAT:
        return max(0.0, rough - FLAT_LATE_S)
    at, hidden = _began(rise)
    if pitch is not None:
        at = max(at, rise.crossing(min(6.0, 0.6 * rise.depth)) - _speaks_s(pitch, rise.depth))
    earliest = max(0.0, rough - 0.08)
    return float(min(max(at - SMOOTHED_S * (1 + hidden), earliest), rough + 0.06))


class _Rise(NamedTuple):
    """The level from its low point on, and whether it stood still before that."""

    low_s: float
    level: NDArray[np.float32]
    from_floor: bool

    @property
    def depth(self) -> float:
        return float(self.level.max()) - float(self.level[0])

    def crossing(self, below: float) -> float:
        """When the level comes within so many decibels of its top, in seconds."""
        wanted = float(self.level.max()) - below
        over = int(np.argmax(self.level >= wanted))
        if over == 0:
            return self.low_s
        low, high = float(self.level[over - 1]), float(self.level[over])
        return self.low_s + (over - 1 + (wanted - low) / max(high - low, 1e-6)) * FINE_S

    def back(self, lower: float, upper: float, factor: float) -> float:
        """Back from the lower crossing by so many times the time between the two."""
        at = self.crossing(lower)
        return at - factor * (self.crossing(upper) - at)


def _rise(envelope: NDArray[np.float32], rough: float, end: float) -> _Rise | None:
    """The rise near ``rough``; None where the recording is too short for one."""
    a = max(0, round((rough - 0.06) / FINE_S))
    b = min(len(envelope), round((rough + 0.055) / FINE_S))
    if b - a < 4:
        return None
    reach = round(0.12 / FINE_S)
    bottom = a + int(np.argmin(envelope[a:b]))
    least = float(envelope[bottom])
    top = float(envelope[bottom : bottom + reach].max())
    before = float(envelope[max(0, bottom - reach // 2) : bottom + 1].max())
    from_floor = before - least < min(FLOOR_STANDS, 0.5 * (top - least))
    if from_floor or top - least >= DEEP:
        # noise and rooms leave a floor that shakes: its last low point counts
        near = envelope[bottom : min(b, bottom + reach // 2)]
        rises = int(np.argmax(near > 0.5 * (least + top)))
        bottom += int(np.flatnonzero(near[: rises or len(near)] < least + FLOOR_SHAKES)[-1])
    stop = min(len(envelope), bottom + reach, max(bottom + 8, round(end / FINE_S)))
    level = envelope[bottom:stop]
    return _Rise(bottom * FINE_S, level, from_floor) if len(level) >= 3 else None


def _began(rise: _Rise) -> tuple[float, float]:
    """When a rise began, and how much of that the old note hid, 0 to 1.

    The factors are those of the sampled reeds of two sound fonts.
    """
    if rise.depth >= DEEP:  # out of near silence
        earliest = rise.low_s if rise.depth < 30 else rise.crossing(25) - 0.002
        return max(rise.back(10, 6, 3.0), earliest), 0.0
    if rise.from_floor and rise.depth >= SHALLOW:  # out of noise or a room
        return max(rise.back(6, 3, 2.8), rise.low_s - 0.005), 0.0
    # out of a dip: the deeper it is, the less of the beginning the old note can have hidden
    hidden = min(1.0, max(0.0, (DEEP - rise.depth) / (DEEP - SHALLOW)))
    risen = rise.crossing(min(3.0, rise.depth / 2))
    return rise.low_s - hidden * (risen - rise.low_s), hidden


def _speaks_s(pitch: float, depth: float) -> float:
    """Seconds that a reed takes at most to come near its level."""
    periods, besides = SPEAKS if depth >= DEEP or depth < SHALLOW else SPEAKS_IN_NOISE
    return (1.3 if depth >= SHALLOW else 2.2) * (periods / float(hz(pitch)) + besides)


def _end(envelope: NDArray[np.float32], start: float, latest: float) -> float:
    """When the level last stood within 10 dB of the note's middle level."""
    a, b = max(0, round(start / FINE_S)), min(len(envelope), round(latest / FINE_S))
    if b - a < 4:
        return latest
    part = envelope[a:b]
    loud = np.flatnonzero(part > np.median(part) - 10)
    return float((a + loud[-1] + 1) * FINE_S) if len(loud) else latest
