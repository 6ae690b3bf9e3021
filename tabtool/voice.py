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

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tabtool.reeds import NOISE_BANDS, REEDS, RELEASE

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
    breath: dict[int, Samples] = {}
    for number, note in enumerate(notes):
        first = round(note.start * rate)
        length = round(note.end * rate) - first
        if length <= 0:
            continue
        played = _note(note, length, rate, a4, breath, number)
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


def _note(
    note: Sound, length: int, rate: int, a4: float, breath: dict[int, Samples], number: int
) -> Samples:
    """The samples of one note: `length` of them sounding, then its fall."""
    times = np.arange(length + round(TAIL * rate)) / rate
    held = np.minimum(times, (length - 1) / rate)  # curves keep their last value in the fall
    pitch = along(note.pitch, held)
    hertz = a4 * np.exp2((pitch - 69.0) / 12.0)
    reed = float(pitch.flat[0]) if note.reed is None else note.reed
    tables = _tables(reed, _HIGHEST * rate / float(hertz.max()))
    tone = along(note.tone, held)
    out = _reed(tables, _cycles(hertz / rate, len(times)), _rises(reed, length / rate, times), tone)

    low, high, part = _neighbours(reed)
    nearest = low if part < 0.5 else high
    if nearest not in breath:
        breath[nearest] = _breath(nearest, rate)
    noise = np.take(breath[nearest], np.arange(len(out)) + 7919 * number, mode="wrap")
    begin = min(length, round(0.006 * rate))  # breath comes before the reed has risen
    noise[:begin] *= np.linspace(0, 1, begin, dtype=np.float32) ** 2
    out += noise

    out *= np.asarray(LOUDNESS * along(note.level, held), np.float32)
    fall = times[: len(times) - length]
    fading = np.exp(-fall / RELEASE) * np.cos(np.pi / 2 * fall / TAIL) ** 2
    out[length:] *= fading.astype(np.float32)
    return out


def _cycles(steps: Times, count: int) -> Times:
    """The phase in cycles, from 0: `steps` (cycles a sample) summed, each joined to the next."""
    if steps.ndim == 0:
        return np.arange(count) * steps
    cycles = np.zeros(count)
    np.cumsum((steps[1:] + steps[:-1]) / 2, out=cycles[1:])
    return cycles


def _reed(tables: list[Samples], cycles: Times, rises: list[Samples], tone: Times) -> Samples:
    """The partials of all groups at the phase `cycles`, risen and softened."""
    points = cycles * _POINTS
    index = points.astype(np.int64)
    fraction = (points - index).astype(np.float32)
    index &= _POINTS - 1
    changing = len(cycles)
    out = np.empty(changing, np.float32)
    if tone.ndim == 0:  # once risen, one table sounds for all
        changing = min(changing, max(len(rise) for rise in rises))
        whole = sum(
            (table * _opened(group, tone) for group, table in enumerate(tables)),
            np.zeros(_POINTS, np.float32),
        )
        out[changing:] = _read(whole, index[changing:], fraction[changing:])
    out[:changing] = 0.0
    for group, (table, rise) in enumerate(zip(tables, rises, strict=True)):
        sound = _read(table, index[:changing], fraction[:changing])
        sound[: len(rise)] *= rise[:changing]
        sound *= _opened(group, tone)
        out[:changing] += sound
    return out


def _opened(group: int, tone: Times) -> Samples:
    """The level of a group of partials with hands from closed (0) to open (1)."""
    closed = 10.0 ** (-group * _SOFTENING / 20)
    return np.asarray(tone * (1.0 - closed) + closed, np.float32)


def _tables(key: float, highest: float) -> list[Samples]:
    """One period of each group of partials, those above the `highest` order left out."""
    amplitudes = partials(key)
    order = np.arange(1, len(amplitudes) + 1)
    amplitudes = np.where(order > highest, 0.0, amplitudes)
    # Phases growing with the square of the order spread the energy over the period: a lower peak
    # for the same sound.
    waves = amplitudes * np.exp(1j * np.pi * order**2 / len(order)) * (_POINTS / 2)
    tables = []
    for low, high in _GROUPS:
        lines = np.zeros(_POINTS // 2 + 1, np.complex128)
        lines[1 : len(waves) + 1] = np.where((order >= low) & (order <= high), waves, 0)
        tables.append(np.fft.irfft(lines, _POINTS).astype(np.float32))
    return tables


def _read(table: Samples, index: NDArray[np.int64], fraction: Samples) -> Samples:
    """The table between its points."""
    slope = np.append(table[1:], table[0]) - table
    return np.take(table, index) + fraction * np.take(slope, index)


def _rises(key: float, duration: float, times: Times) -> list[Samples]:
    """The growing part of each group's attack; a short note gets a quicker one."""
    low, high, part = _neighbours(key)
    shapes = []
    for one, two in zip(REEDS[low].attack, REEDS[high].attack, strict=True):
        ten, ninety = (a + part * (b - a) for a, b in zip(one, two, strict=True))
        # sin²(π/2 · (t/whole)^power) passes 10 % at 0.205 and 90 % at 0.795 of its argument's way.
        power = np.log(0.795 / 0.205) / np.log(ninety / ten)
        shapes.append((ninety / 0.795 ** (1 / power), power))
    quicker = min(1.0, 0.4 * duration / max(whole for whole, _ in shapes))
    rises = []
    for whole, power in shapes:
        during = times[times < whole * quicker] / (whole * quicker)
        rises.append((np.sin(np.pi / 2 * during**power) ** 2).astype(np.float32))
    return rises


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
