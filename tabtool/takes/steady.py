"""The pitch inside a note: its steady part, and how it came there and left.

Conventions: seconds of the recording; cents, sharp is positive.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tabtool.takes.pitchtrack import PitchTrack

EDGE_S = 0.022
"""A frame whose middle lies nearer to a note's border hears the neighbour too."""

UNSETTLED_S, UNSETTLED = 0.3, 4.0
"""A note shorter than that (seconds) whose pitch still moves by more than that (cents, as
``spread``; twice that as ``drift``) has no steady part: reeds take 60–300 ms to settle, and no
figure would mean much."""


class Steady(NamedTuple):
    """What a note's pitch did, as `judge.Judged` tells it; ``cents`` and ``spread`` are None where
    it was never steady."""

    pitch: float | None = None
    cents: float | None = None
    spread: float | None = None
    scoop: float = 0.0
    fall: float = 0.0
    drift: float = 0.0
    vibrato: float = 0.0


def curve_of(
    track: PitchTrack, start: float, end: float, near: float | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and pitches inside a note; of each frame's candidates the nearest to ``near``."""
    times = track.times
    edge = min(EDGE_S, 0.3 * (end - start))
    first, last = np.searchsorted(times, [start + edge, end - edge])
    pitch = track.pitch[first:last].astype(np.float64)
    weight = track.weight[first:last]
    if near is None:
        usable = pitch[:, 0][weight[:, 0] > 0.3]
        if not len(usable):
            return np.zeros(0), np.zeros(0)
        near = float(np.median(usable))
    away = np.where((weight > 0.15) & np.isfinite(pitch), np.abs(pitch - near), 99.0)
    best = away.argmin(axis=1)[:, None]
    kept = np.take_along_axis(away, best, 1)[:, 0] < 1.5
    chosen = np.take_along_axis(pitch, best, 1)[:, 0]
    return times[first:last][kept], chosen[kept]


def steady(wanted: float, start: float, end: float, times: Any, curve: Any) -> Steady:
    """The steady part: what is left after the attack, and its middle, spread, ends and drift.

    ``cents`` is against the pitch ``wanted``; no tuning is taken off.
    """
    if len(curve) < 3:
        return Steady()
    error = 100 * (curve - wanted)
    later = times >= start + 0.4 * (end - start)
    if later.sum() < 3:
        later[-3:] = True
    part, at = error[later], times[later]
    middle = float(np.median(part))
    vibrato, center = _vibrato(at, part)
    if vibrato:
        middle = center
    spread = float(np.percentile(np.abs(part - middle), 67))
    slope = np.polyfit(at - at.mean(), part, 1)[0] if len(part) > 4 else 0.0
    drift = float(slope * (at[-1] - at[0]))
    moving = spread > UNSETTLED or abs(drift) > 2 * UNSETTLED
    if end - start < UNSETTLED_S and moving and not vibrato:
        return Steady(wanted + middle / 100)
    head, tail = error[: max(1, len(error) // 5)], error[-2:]
    scoop = (
        float(np.min(head) - middle)
        if abs(np.min(head) - middle) > abs(np.max(head) - middle)
        else float(np.max(head) - middle)
    )
    fall = float(np.mean(tail) - middle)
    return Steady(
        wanted + middle / 100,
        cents=middle,
        spread=spread,
        scoop=scoop if abs(scoop) > 15 + vibrato else 0.0,
        fall=fall if abs(fall) > 15 + vibrato else 0.0,
        drift=drift if not vibrato else 0.0,
        vibrato=vibrato,
    )


def _vibrato(times: Any, error: Any) -> tuple[float, float]:
    """Extent (cents from the middle) and middle of a regular vibrato of 3.5–8 Hz, 0 if none.

    The vibrato's period is long beside a note, so a median over part of a period would be off;
    a constant and a sine fitted together are not.
    """
    if len(error) < 16 or np.std(error) < 2.0:
        return 0.0, 0.0
    t = times - times.mean()
    total = float(np.sum((error - error.mean()) ** 2))
    best = (total, 0.0, 0.0)
    for rate in np.arange(3.5, 8.1, 0.25):
        if rate * (times[-1] - times[0]) < 0.9:
            continue
        phase = 2 * np.pi * rate * t
        basis = np.stack([np.ones_like(t), np.cos(phase), np.sin(phase)], axis=1)
        fit, *_ = np.linalg.lstsq(basis, error, rcond=None)
        left = float(np.sum((error - basis @ fit) ** 2))
        if left < best[0]:
            best = (left, float(np.hypot(fit[1], fit[2])), float(fit[0]))
    left, extent, center = best
    return (extent, center) if left < 0.35 * total and extent > 4 else (0.0, 0.0)
