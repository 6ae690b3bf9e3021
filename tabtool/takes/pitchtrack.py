"""What pitch sounds, frame by frame: several candidates each, true to a fraction of a cent.

Conventions: samples are mono floats at about 16 kHz (``recording.read`` sees to it); times are
seconds to the middle of a frame; pitches are MIDI numbers with fractions (A4 = 69 at 440 Hz; a
hundredth is a cent), NaN where there is none; strengths run from 0 (noise) to 1 (periodic).

Two steps.  The autocorrelation of each windowed frame, divided by that of its window, peaks at
the period and its multiples (P. Boersma, "Accurate short-term analysis of the fundamental
frequency and the harmonics-to-noise ratio of a sampled sound", 1993); the best few peaks are kept,
since one alone turns octave slips into wrong notes.  Then each is refined by the instantaneous
frequency of its first harmonics, taken from a second transform with the derivative of the window
(F. Auger & P. Flandrin, "Improving the readability of time-frequency and time-scale
representations by the reassignment method", 1995), each harmonic weighing as its variance allows.

Chosen by measurement on sampled reeds (``python tests/takebench.py trackers``; 32 notes of 400
ms, MIDI 50 to 95, cents off planted ones as median/95th percentile): this one 0.02/0.06 clean,
0.03/0.14 in noise at 10 dB, 0.05/0.18 in a room; praat's autocorrelation (GPL, a witness in the
tests only) 0.02/0.12, 0.29/1.09, 0.06/0.28, at two thirds of the speed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from tabtool.takes.recording import Recording

Floats = NDArray[np.float32]
Pitches: TypeAlias = tuple[float, ...]

HOP_S = 0.010
"""Seconds from frame to frame."""

FINE_S = 0.0025
"""Seconds from step to step of the envelope."""

SMOOTH_S = 0.008
"""The envelope's smoothing: twice a box of that length."""

WINDOW = 1024
"""Samples in a frame: some 64 ms, nine periods of the lowest note of a low D harp."""

CANDIDATES = 4
HARMONICS = 10
LOWEST_HZ, HIGHEST_HZ = 90.0, 3700.0
"""Hole 1 of the low D harp bent down is 138.6 Hz; hole 10 overblown of the high G, 3322 Hz."""

OCTAVE_COST = 0.03
"""Taken off the strength per octave of longer period, so that of equal peaks the shortest wins."""

SEVERAL = (0.95, 0.99)
"""Share of a candidate's power in every second harmonic from which it loses weight, and all."""

BLOCK = 512
"""Frames transformed at once: bounds the memory and keeps the working set in the cache."""


@dataclass(frozen=True, slots=True)
class PitchTrack:
    """Candidates per frame, the likeliest first.

    ``pitch`` and ``weight`` are frames × candidates: a weight is how much of the frame's power the
    candidate's harmonics hold, nought for the multiple of a period.  ``periodic`` is the height of
    the frame's best peak, 0 to 1.  ``level`` is its power in dB of full scale.  Frame i stands at
    ``start_s + i * hop_s``.  ``envelope`` is the power in dB in steps of ``FINE_S``, from time 0.
    ``sound`` is what was tracked; ``sets`` are the sets of pitches that ``chords`` has put in.
    """

    pitch: Floats
    weight: Floats
    periodic: Floats
    level: Floats
    envelope: Floats
    hop_s: float
    start_s: float
    sound: Recording | None = None
    sets: tuple[Pitches, ...] = ()

    @property
    def times(self) -> NDArray[np.float64]:
        """Seconds of the middle of each frame."""
        return self.start_s + self.hop_s * np.arange(len(self.level), dtype=np.float64)


def hz(midi: Any) -> Any:
    """Frequency of a MIDI pitch (ISO 16: A4 = 440 Hz)."""
    return 440.0 * 2.0 ** ((np.asarray(midi) - 69.0) / 12.0)


def midi(frequency: Any) -> Any:
    """MIDI pitch of a frequency in Hz."""
    return 69.0 + 12.0 * np.log2(np.asarray(frequency) / 440.0)


def track(samples: Floats, rate: float) -> PitchTrack:
    """Pitch candidates of every frame; a recording shorter than one frame has none."""
    hop = max(1, round(HOP_S * rate))
    frames = (
        np.lib.stride_tricks.sliding_window_view(samples, WINDOW)[::hop]
        if len(samples) >= WINDOW
        else np.zeros((0, WINDOW), np.float32)
    )
    count = len(frames)
    pitch = np.full((count, CANDIDATES), np.nan, np.float32)
    weight = np.zeros((count, CANDIDATES), np.float32)
    periodic = np.zeros(count, np.float32)
    level = np.full(count, -120.0, np.float32)
    step = _Step(rate)
    for first in range(0, count, BLOCK):
        part = slice(first, first + BLOCK)
        pitch[part], weight[part], periodic[part], level[part] = step(frames[part])
    return PitchTrack(
        pitch,
        weight,
        periodic,
        level,
        envelope(samples, rate),
        hop / rate,
        WINDOW / 2 / rate,
        Recording(samples, rate),
    )


def envelope(samples: Floats, rate: float) -> Floats:
    """Power in dB of full scale every ``FINE_S``, smoothed over some 10 ms."""
    size = max(1, round(SMOOTH_S * rate))
    total = np.concatenate([np.zeros(size + 1), np.cumsum(np.square(samples, dtype=np.float64))])
    total = np.concatenate([total, np.full(size, total[-1])])
    box = (total[size:] - total[:-size]) / size
    total = np.concatenate([[0.0], np.cumsum(box)])
    twice = (total[size:] - total[:-size]) / size
    at = np.rint(np.arange(0, len(samples) / rate, FINE_S) * rate).astype(np.int64)
    at = np.minimum(at, len(twice) - 1)
    power = np.maximum(twice[at], 0) + 1e-12
    return np.asarray(10 * np.log10(power), np.float32)


class _Step:
    """The tables for one sample rate, applied to blocks of frames."""

    def __init__(self, rate: float) -> None:
        self.rate = rate
        n = WINDOW
        self.size = n + n // 4  # room for the longest lag
        t = (np.arange(n) + 0.5) / n
        self.window = (0.5 - 0.5 * np.cos(2 * np.pi * t)).astype(np.float32)
        self.slope = (np.pi / n * np.sin(2 * np.pi * t)).astype(np.float32)
        self.power = float(np.sum(self.window**2))
        # high harmonics would make the peaks too sharp for the steps of the lags
        self.tilt = (1 / (1 + (np.fft.rfftfreq(self.size, 1 / rate) / 3000) ** 4)).astype(
            np.float32
        )
        own = np.fft.irfft(np.abs(np.fft.rfft(self.window, self.size)) ** 2, 2 * self.size)
        self.first = int(2 * rate / HIGHEST_HZ)
        self.last = int(2 * rate / LOWEST_HZ) + 2
        self.own = (own[self.first : self.last] / own[0]).astype(np.float32)
        lags = np.arange(self.first, self.last)
        self.cost = (OCTAVE_COST * np.log2(lags / self.first)).astype(np.float32)

    def __call__(self, frames: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        frames = frames - frames.mean(axis=1, keepdims=True)
        spectrum = np.fft.rfft(frames * self.window, self.size).astype(np.complex64)
        sloped = np.fft.rfft(frames * self.slope, self.size).astype(np.complex64)
        power = spectrum.real**2 + spectrum.imag**2
        # twice the spectrum's length back: the lags come at half-sample steps
        correlation = np.fft.irfft(power * self.tilt, 2 * self.size)
        zero = correlation[:, :1] + 1e-12
        r = correlation[:, self.first : self.last] / (zero * self.own)
        lag, strength = self._peaks(r)
        pitch, weight = self._refine(2 * self.rate / lag, spectrum, sloped, power)
        order = np.argsort(-weight, axis=1)
        pitch = np.take_along_axis(pitch, order, 1)
        weight = np.take_along_axis(weight, order, 1)
        energy = power.sum(axis=1) / self.size * 2 / self.power
        level = 10 * np.log10(energy + 1e-12)
        return pitch, weight, strength.max(axis=1), level.astype(np.float32)

    def _peaks(self, r: Floats) -> tuple[Floats, Floats]:
        """Lags (half samples) and heights of the best local maxima of each row.

        Heights are those of parabolas: a short lag falls between two samples of a sharp peak.
        """
        left, middle, right = r[:, :-2], r[:, 1:-1], r[:, 2:]
        peak = (middle >= left) & (middle > right) & (middle > 0.1)
        bow = np.minimum(left - 2 * middle + right, -1e-9)
        shift = 0.5 * (left - right) / bow
        score = np.where(peak, middle - 0.25 * (left - right) * shift - self.cost[1:-1], -1.0)
        best = np.argpartition(-score, CANDIDATES, axis=1)[:, :CANDIDATES]
        score = np.take_along_axis(score, best, 1)
        found = score > -1.0
        lag = best + 1 + self.first + np.take_along_axis(shift, best, 1)
        height = np.clip(score + self.cost[1:-1][best], 0, 1)
        return (
            np.where(found, lag, np.nan).astype(np.float32),
            np.where(found, height, 0).astype(np.float32),
        )

    def _refine(
        self,
        coarse: Floats,
        spectrum: NDArray[np.complex64],
        sloped: NDArray[np.complex64],
        power: Floats,
    ) -> tuple[Floats, Floats]:
        """Pitches from the harmonics' instantaneous frequencies, and their weights."""
        rows = np.arange(len(coarse))[:, None, None]
        number = np.arange(1, HARMONICS + 1, dtype=np.float32)
        width = self.rate / self.size
        refined = np.where(np.isnan(coarse), LOWEST_HZ, coarse)
        for upto in (3, HARMONICS):
            # from low harmonics first: a coarse error grows with the number of the harmonic
            n = number[:upto]
            bins = np.rint(refined[:, :, None] * n / width).astype(np.int32)
            inside = bins < power.shape[1] - 1
            bins = np.where(inside, bins, 0)
            x = spectrum[rows, bins]
            p = np.where(inside, x.real**2 + x.imag**2, 0) + 1e-20
            d = sloped[rows, bins]
            offset = (d.imag * x.real - d.real * x.imag) / p  # Im(d / x)
            each = (bins * width - offset * self.rate / (2 * np.pi)) / n
            near = inside & (np.abs(each / refined[:, :, None] - 1) < 0.03)
            weight = np.where(near, n * n * p, 0)
            total = weight.sum(axis=2)
            mean = (weight * each).sum(axis=2) / np.where(total > 0, total, 1)
            refined = np.where(total > 0, mean, refined)
        pitch = np.where(np.isnan(coarse), np.nan, midi(refined))
        # a Hann window spreads a partial over 1.5 bins' worth of power
        own = p.sum(axis=2)
        share = np.minimum(
            1.0, own * (1.5 * self.size / WINDOW) / (power.sum(axis=1)[:, None] + 1e-12)
        )
        several = np.zeros_like(own)
        for m in (2, 3, 5):
            several = np.maximum(several, p[:, :, m - 1 :: m].sum(axis=2) / own)
        # all power in every second (third, fifth) harmonic: the period is a multiple of the true
        single = np.clip((SEVERAL[1] - several) / (SEVERAL[1] - SEVERAL[0]), 0, 1)
        weight = np.where(np.isnan(coarse), 0, share * single)
        return pitch.astype(np.float32), weight.astype(np.float32)
