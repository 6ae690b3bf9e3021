"""The built-in reed voice: notes with curves of pitch and loudness, to sound.

Additive: every partial follows the pitch curve with one continuous phase, at the level measured
on real reeds of that register (reeds.py), rises as that reed rises and falls as it falls, with
the measured breath between the partials. Conventions: times in seconds, those inside a curve
from the start of its note; pitch as a MIDI number, fractional in a bend; level as a factor of
amplitude; samples from -1 to 1, one channel.

How: partials that rise alike are summed beforehand in a table of one period, and the tables are
read at the integrated phase. Linear reading between 4096 points keeps errors under -75 dB.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tabtool.sound.reeds import NOISE_BANDS, REEDS, RELEASE

Samples = NDArray[np.float32]
Times = NDArray[np.float64]
Curve = float | Sequence[tuple[float, float]] | Callable[[Times], Times]
"""A constant; breakpoints (seconds, value), joined by straight lines; or a function of times."""

LOUDNESS = 0.09  # root mean square of one note at level 1, about -21 dB of full scale
CEILING = 0.97  # highest peak of a take; a louder mix is turned down as a whole
TAIL = 7 * RELEASE  # the fall after a note's end is over, at -61 dB, and faded to nothing
SILENCE = 0.05  # after the last tail

_POINTS = 4096
_GROUPS = ((1, 1), (2, 4), (5, 10**6))  # the partials of the three measured attacks
_QUIETEST = -72.0  # partials below this, in dB of the strongest, are left out
_HIGHEST = 0.45  # no partial above this part of the sample rate
_SOFTENING = 6.0  # dB between closed and open hands for the middle group, twice that above
_BREATH_LENGTH = 1 << 15


@dataclass(frozen=True, slots=True)
class Sound:
    """One sounding note.

    `pitch`: all of it: bends, scoops, falls, throat vibrato, temperament. `level`: accents,
    hand vibrato, swells. `tone`: 1 with open hands, 0 with closed ones (higher partials softer).
    `reed`: the MIDI number whose register gives timbre and attack; None for the starting pitch.
    """

    start: float
    end: float
    pitch: Curve
    level: Curve = 1.0
    tone: Curve = 1.0
    reed: float | None = None


def render(sounds: Iterable[Sound], rate: int = 44100, a4: float = 440.0) -> Samples:
    """The sound of all notes together, from time 0, at `rate` samples a second.

    It begins at zero and ends in silence; a note after another may overlap its fall. A mix that
    would pass CEILING is turned down as a whole, so that nothing clips or changes balance.
    """
    return turned_down(mixed(sounds, rate, a4))


def mixed(
    sounds: Iterable[Sound], rate: int = 44100, a4: float = 440.0, least_s: float = 0.0
) -> Samples:
    """All notes added together and not yet turned down; `least_s` lengthens a short take."""
    notes = sorted(sounds, key=lambda sound: sound.start)
    last = max((note.end for note in notes), default=0.0)
    last = max(last, least_s)
    out = np.zeros(int(np.ceil((last + TAIL + SILENCE) * rate)), np.float32)
    player = _Player(rate, a4)
    for note in notes:
        first = round(note.start * rate)
        length = round(note.end * rate) - first
        if length > 0:
            played = player.play(note, length)
            out[first : first + len(played)] += played
    return out


def turned_down(mix: Samples) -> Samples:
    """The mix, made quieter as a whole if its peak passes CEILING."""
    peak = float(np.abs(mix).max(initial=0.0))
    return mix if peak <= CEILING else mix * np.float32(CEILING / peak)


def along(curve: Curve, times: Times) -> Times:
    """The value of a curve at `times`; an array without dimensions where it is constant."""
    if isinstance(curve, (int, float)):
        return np.asarray(curve, np.float64)
    if callable(curve):
        return np.asarray(curve(times), np.float64)
    if len({value for _, value in curve}) == 1:
        return np.asarray(curve[0][1], np.float64)
    return np.interp(times, [at for at, _ in curve], [value for _, value in curve])


def partials(key: float) -> Times:
    """Amplitudes of the partials of a reed at MIDI number `key`, of one note's whole power.

    Between two measured reeds the levels are interpolated in dB, partial by partial; beyond the
    lowest and highest they stay as measured.
    """
    low, high, part = _neighbours(key)
    count = max(len(REEDS[low].partials), len(REEDS[high].partials))
    levels = np.full((2, count), _QUIETEST - 8.0)
    for row, reed in enumerate((REEDS[low], REEDS[high])):
        levels[row, : len(reed.partials)] = reed.partials
    mixed = levels[0] + part * (levels[1] - levels[0])
    amplitudes = np.where(mixed < _QUIETEST, 0.0, 10 ** (mixed / 20))
    level = REEDS[low].level + part * (REEDS[high].level - REEDS[low].level)
    power = np.sqrt(np.sum(amplitudes**2) / 2)
    return np.asarray(amplitudes / power * 10 ** (level / 20))


def _neighbours(key: float) -> tuple[int, int, float]:
    """Indices of the measured reeds below and above, and how far between them `key` lies."""
    keys = [reed.key for reed in REEDS]
    at = float(np.interp(key, keys, np.arange(len(keys))))
    low = min(int(at), len(keys) - 2)
    return low, low + 1, at - low


class _Wave(NamedTuple):
    """One period of a sum of partials, and the rise from each of its points to the next."""

    points: Samples
    slopes: Samples

    def read(self, index: NDArray[np.int64], fraction: Samples) -> Samples:
        """The wave between its points."""
        return np.take(self.points, index) + fraction * np.take(self.slopes, index)


class _Player:
    """Plays the notes of one take; what they share is worked out once and kept."""

    def __init__(self, rate: int, a4: float) -> None:
        self.rate, self.a4 = rate, a4
        self.played = 0
        self.waves: dict[tuple[float, int], list[_Wave]] = {}
        self.attacks: dict[tuple[float, float], list[Samples]] = {}
        self.noises: dict[int, Samples] = {}
        tail = np.arange(round(TAIL * rate)) / rate
        fading = np.exp(-tail / RELEASE) * np.cos(np.pi / 2 * tail / TAIL) ** 2
        self.fall = fading.astype(np.float32)
        # Breath comes before the reed has risen: within 6 ms.
        self.breathing = np.linspace(0, 1, round(0.006 * rate), dtype=np.float32) ** 2

    def play(self, note: Sound, length: int) -> Samples:
        """The samples of one note: `length` of them sounding, then its fall."""
        total = length + len(self.fall)
        # Curves keep their last value in the fall.
        held = np.minimum(np.arange(total), length - 1) / self.rate
        pitch = along(note.pitch, held)
        hertz = self.a4 * np.exp2((pitch - 69.0) / 12.0)
        reed = float(pitch.flat[0]) if note.reed is None else note.reed
        waves = self.waves_of(reed, float(hertz.max()))
        rises = self.rises_of(reed, length / self.rate)
        cycles = _cycles(hertz / self.rate, total)
        out = _reed(waves, cycles, rises, along(note.tone, held))
        out += self.breath_of(reed, total)
        out *= np.asarray(LOUDNESS * along(note.level, held), np.float32)
        out[length:] *= self.fall
        return out

    def waves_of(self, reed: float, highest_hz: float) -> list[_Wave]:
        """The waves of each group of partials, then of all together."""
        orders = int(_HIGHEST * self.rate / highest_hz)
        if (reed, orders) not in self.waves:
            groups = _periods(reed, orders)
            self.waves[reed, orders] = [
                _Wave(points, np.roll(points, -1) - points)
                for points in (*groups, sum(groups[1:], groups[0]))
            ]
        return self.waves[reed, orders]

    def rises_of(self, reed: float, duration: float) -> list[Samples]:
        """The growing part of each group's attack; a short note gets a quicker one."""
        shapes = _attack(reed)
        quicker = min(1.0, 0.4 * duration / max(whole for whole, _ in shapes))
        if (reed, quicker) not in self.attacks:
            rises = []
            for whole, power in shapes:
                count = math.ceil(whole * quicker * self.rate)
                share = np.arange(count) / (whole * quicker * self.rate)
                rises.append((np.sin(np.pi / 2 * share**power) ** 2).astype(np.float32))
            self.attacks[reed, quicker] = rises
        return self.attacks[reed, quicker]

    def breath_of(self, reed: float, total: int) -> Samples:
        """Breath noise, each note from another place in the loop."""
        low, high, part = _neighbours(reed)
        nearest = low if part < 0.5 else high
        if nearest not in self.noises:
            self.noises[nearest] = _breath(nearest, self.rate)
        loop = self.noises[nearest]
        at = 7919 * self.played % len(loop)
        self.played += 1
        turns = -(-(at + total) // len(loop))
        noise = np.tile(loop, turns)[at : at + total] if turns > 1 else loop[at : at + total].copy()
        begin = min(total, len(self.breathing))
        noise[:begin] *= self.breathing[:begin]
        return noise


def _cycles(steps: Times, count: int) -> Times:
    """The phase in cycles, from 0: `steps` (cycles a sample) summed, each joined to the next."""
    if steps.ndim == 0:
        return np.arange(count) * steps
    cycles = np.zeros(count)
    np.cumsum((steps[1:] + steps[:-1]) / 2, out=cycles[1:])
    return cycles


def _reed(waves: list[_Wave], cycles: Times, rises: list[Samples], tone: Times) -> Samples:
    """The partials of all groups at the phase `cycles`, risen and softened."""
    points = cycles * _POINTS
    index = points.astype(np.int64)
    fraction = (points - index).astype(np.float32)
    index &= _POINTS - 1
    changing = len(cycles)
    out = np.zeros(changing, np.float32)
    if tone.ndim == 0 and tone == 1.0:  # once risen, one wave sounds for all
        changing = min(changing, max(len(rise) for rise in rises))
        out[changing:] = waves[-1].read(index[changing:], fraction[changing:])
    for group, rise in enumerate(rises):
        sound = waves[group].read(index[:changing], fraction[:changing])
        sound[: len(rise)] *= rise[:changing]
        sound *= _opened(group, tone)
        out[:changing] += sound
    return out


def _opened(group: int, tone: Times) -> Samples:
    """The level of a group of partials with hands from closed (0) to open (1)."""
    closed = 10.0 ** (-group * _SOFTENING / 20)
    return np.asarray(tone * (1.0 - closed) + closed, np.float32)


def _periods(key: float, orders: int) -> list[Samples]:
    """One period of each group of partials, up to the number `orders`."""
    amplitudes = partials(key)
    order = np.arange(1, len(amplitudes) + 1)
    amplitudes = np.where(order > orders, 0.0, amplitudes)
    # Phases growing with the square of the order spread the energy over the period: a lower peak
    # for the same sound.
    lines = amplitudes * np.exp(1j * np.pi * order**2 / len(order)) * (_POINTS / 2)
    periods = []
    for low, high in _GROUPS:
        spectrum = np.zeros(_POINTS // 2 + 1, np.complex128)
        spectrum[1 : len(lines) + 1] = np.where((order >= low) & (order <= high), lines, 0)
        periods.append(np.fft.irfft(spectrum, _POINTS).astype(np.float32))
    return periods


def _attack(key: float) -> list[tuple[float, float]]:
    """The length in seconds and the power of each group's rise, sin²(π/2 · (t/length)^power)."""
    low, high, part = _neighbours(key)
    shapes = []
    for one, two in zip(REEDS[low].attack, REEDS[high].attack, strict=True):
        ten, ninety = (a + part * (b - a) for a, b in zip(one, two, strict=True))
        # It passes 10 % at 0.205 and 90 % at 0.795 of its argument's way.
        power = math.log(0.795 / 0.205) / math.log(ninety / ten)
        shapes.append((ninety / 0.795 ** (1 / power), power))
    return shapes


def _breath(reed: int, rate: int) -> Samples:
    """A loop of breath noise with the measured level in each octave, for one note at level 1."""
    frequency = np.fft.rfftfreq(_BREATH_LENGTH, 1 / rate)
    lines = np.zeros(len(frequency), np.complex128)
    chance = np.random.default_rng(reed)
    phases = np.exp(2j * np.pi * chance.random(len(frequency)))
    for low, level in zip(NOISE_BANDS, REEDS[reed].noise, strict=False):
        band = (frequency >= low) & (frequency < 2 * low) & (frequency < _HIGHEST * rate)
        if band.any():
            power = 10 ** ((level + REEDS[reed].level) / 10)
            lines[band] = np.sqrt(power / (2 * band.sum())) * _BREATH_LENGTH * phases[band]
    return np.fft.irfft(lines, _BREATH_LENGTH).astype(np.float32)
