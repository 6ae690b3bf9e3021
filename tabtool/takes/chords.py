"""Which pitches sound together, frame by frame, told by their partials.

Conventions: pitches as MIDI numbers; a *set* is the pitches of some holes blown or drawn at once,
lowest first.

Reeds differ in how strong each partial is, not in where it lies: at the multiples of the
fundamental.  So a set is likened to a frame by a mask over its spectrum, open where the set has
partials.  The likeness is the correlation of the mask with the spectrum in decibels, levelled by
its surroundings so that a bright or a dull reed counts alike: it falls with each partial that the
set lacks and with each that it has too many.  A set must be liker than its rivals, the sets of
holes all over the harp, and than any single pitch.

What lies on the partials of a lower pitch of the set (its octave, mostly) opens no mask of its
own, and cannot be told.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from tabtool.harp import Breath
from tabtool.header import Setting
from tabtool.takes.align import audible
from tabtool.takes.pitchtrack import BLOCK, CANDIDATES, Floats, Pitches, PitchTrack, hz, midi

SPAN, EVERY = 1536, 2
"""Samples in a frame, some 96 ms, as the lowest thirds of a low harp lie 45 Hz apart; of the
track's frames each second is looked at, and stands for the next."""

LOWEST, HIGHEST, STEPS = 45, 116, 3
"""The spectrum's first and last semitone, and its bands in each."""

PARTIALS, FADING, WIDE = 8, 0.5, 0.35
"""Partials of a mask; the power of their number by which they count less; semitones to either
side for which they are open: players and harps are out of tune, in chords too."""

DEEP, DEEPEST, AROUND, LEVELLED = 30.0, 45.0, 12, 0.7
"""Decibels under its surroundings, and under the frame's loudest band, at which a band counts for
nothing; semitones of the surroundings, and the share of their level that is taken off."""

NOISE, CLEAR = 6.0, 12.0
"""Decibels above the middle band, where noise lies, at which a band counts for nothing either; but
never less than those under the loudest."""

KEEN = 30.0
"""Nats of likelihood for a likeness of 1; two sets of a harp are 0.12 apart as a rule, 0.04 at
least."""

NOTHING, SOMETHING = 0.3, 0.55
"""Likeness of noise to the set that is likest, and of a chord."""

FAINT = 60.0
"""Decibels under the recording's loudest at which no chord is heard."""

MOST_HOLES = 4
"""Neighbouring holes that a mouth covers."""

CODED, APART = 200.0, 5.0
"""A set stands in a track as a pitch far above all reeds: the first set's, and from set to set."""


def code(number: int) -> float:
    """The pitch that stands for a set in a track, but for the tuning."""
    return CODED + APART * number


def decoded(pitch: float, sets: Sequence[Pitches]) -> Pitches:
    """The pitches for which a pitch in a track stands: those of a set, or itself."""
    if pitch < CODED - APART / 2:
        return (pitch,)
    return sets[min(round((pitch - CODED) / APART), len(sets) - 1)]


def core(pitches: Iterable[float]) -> Pitches:
    """The pitches of a set that do not lie on partials of lower ones."""
    kept: list[float] = []
    for pitch in sorted(pitches):
        if all(np.abs(pitch - low - _PARTIALS[1:]).min() > WIDE for low in kept):
            kept.append(pitch)
    return tuple(kept)


def number_of(pitches: Pitches, sets: Sequence[Pitches]) -> int | None:
    """Which of several sets some pitches are, as far as it can be told; None if none of them."""
    told = _rounded(pitches)
    return next((k for k, each in enumerate(sets) if _rounded(each) == told), None)


def _rounded(pitches: Iterable[float]) -> Pitches:
    return tuple(round(pitch, 1) for pitch in core(pitches))


def distinct(sets: Iterable[Pitches]) -> tuple[Pitches, ...]:
    """Those of several sets that can be told from each other and from a single pitch; of sets
    that cannot, the first."""
    found: dict[Pitches, Pitches] = {}
    for pitches in sets:
        told = _rounded(pitches)
        if len(told) > 1:
            found.setdefault(told, tuple(sorted(pitches)))
    return tuple(found.values())


def of_harp(setting: Setting) -> tuple[Pitches, ...]:
    """The sets of two to four neighbouring holes of a harp, blown or drawn."""
    harp = setting.harp
    if harp is None:
        return ()
    found: list[Pitches] = []
    for breath in Breath:
        reeds = [harp.reed(hole, breath) for hole in range(1, harp.holes + 1)]
        pitches = [float(midi(setting.hz(reed))) for reed in reeds if reed is not None]
        for size in range(2, MOST_HOLES + 1):
            found += [tuple(pitches[k : k + size]) for k in range(len(pitches) - size + 1)]
    return tuple(found)


def with_chords(track: PitchTrack, sets: Sequence[Pitches], tuning: float) -> PitchTrack:
    """The track with the ``code`` of a set, raised by the tuning, as a candidate wherever it
    sounds; ``sets`` are `distinct`, ``tuning`` in semitones is added to them."""
    if track.sound is None or not sets or not len(track.level):
        return track
    spectrum = _spectrum(track)
    lowest = min(pitches[0] for pitches in sets) - 2
    singles = [(pitch,) for pitch in np.arange(lowest, HIGHEST - 12, 1 / STEPS)]
    frames = len(track.level)
    chord = _likeness(spectrum, _masks(sets, tuning), frames)
    single = _likeness(spectrum, _masks(singles, 0.0), frames).max(axis=1)
    best = chord.max(axis=1)
    sure = np.clip((best - NOTHING) / (SOMETHING - NOTHING), 0, 1) * audible(track, FAINT)
    several = sure / (1 + np.exp(np.clip(KEEN * (single - best), -50, 50)))
    order = np.argsort(-chord, axis=1)[:, :CANDIDATES]
    likely = np.exp(KEEN * (np.take_along_axis(chord, order, 1) - best[:, None]))
    pitch = np.concatenate([CODED + APART * order + tuning, track.pitch], axis=1)
    weight = np.concatenate(
        [several[:, None] * likely, (1 - several)[:, None] * np.nan_to_num(track.weight)], axis=1
    )
    first = np.argsort(-weight, axis=1, kind="stable")[:, :CANDIDATES]
    return replace(
        track,
        pitch=np.take_along_axis(pitch, first, 1).astype(np.float32),
        weight=np.take_along_axis(weight, first, 1).astype(np.float32),
        periodic=np.maximum(track.periodic, several).astype(np.float32),
        sets=tuple(sets),
    )


_PARTIALS = 12 * np.log2(np.arange(1, PARTIALS + 1))
_BANDS = np.arange(LOWEST * STEPS, HIGHEST * STEPS) / STEPS


def _masks(sets: Sequence[Pitches], tuning: float) -> Floats:
    """Sets × bands: how far each band is open, 0 to 1."""
    masks = np.zeros((len(sets), len(_BANDS)), np.float32)
    for mask, pitches in zip(masks, sets, strict=True):
        for pitch in pitches:
            away = np.abs(_BANDS - (pitch + tuning + _PARTIALS)[:, None])
            opened = np.clip((WIDE - away) * STEPS + 0.5, 0, 1)
            faded = opened * np.arange(1, PARTIALS + 1)[:, None] ** -FADING
            np.maximum(mask, faded.max(axis=0), out=mask)
    return masks


def _likeness(spectrum: Floats, masks: Floats, frames: int) -> Floats:
    """Correlation of each of the track's frames with each mask, −1 to 1, smoothed over three."""
    masks = masks - masks.mean(axis=1, keepdims=True)
    masks /= np.linalg.norm(masks, axis=1, keepdims=True)
    size = np.linalg.norm(spectrum, axis=1, keepdims=True)
    each = np.repeat(spectrum @ masks.T / np.maximum(size, 1e-6), EVERY, axis=0)[:frames]
    padded = np.pad(each, ((1, 1), (0, 0)), mode="edge")
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3, np.float32)


def _spectrum(track: PitchTrack) -> Floats:
    """Each second frame × bands: decibels above what counts for nothing, less their mean."""
    assert track.sound is not None
    rate = track.sound.rate
    hop, middle = round(track.hop_s * rate), round(track.start_s * rate)
    half = SPAN // 2
    padded = np.pad(track.sound.samples, half)
    windows = np.lib.stride_tricks.sliding_window_view(padded, SPAN)[middle::hop]
    frames = windows[: len(track.level) : EVERY]
    window = np.hanning(SPAN).astype(np.float32)
    size = 1 << SPAN.bit_length()
    edges = hz((np.arange(LOWEST * STEPS, HIGHEST * STEPS + 1) - 0.5) / STEPS) * size / rate
    first = np.minimum(np.rint(edges).astype(np.intp), size // 2)
    reach = AROUND * STEPS
    found = np.empty((len(frames), len(_BANDS)), np.float32)
    for start in range(0, len(frames), BLOCK):
        spectrum = np.fft.rfft(frames[start : start + BLOCK] * window, size).astype(np.complex64)
        power = spectrum.real**2 + spectrum.imag**2
        level = 10 * np.log10(np.maximum.reduceat(power, first, axis=1)[:, :-1] + 1e-12)
        top = level.max(axis=1, keepdims=True)
        near = _highest(level, reach)
        noise = np.median(level, axis=1, keepdims=True) + NOISE
        ground = np.maximum(top + LEVELLED * (near - top) - DEEP, np.minimum(noise, top - CLEAR))
        rows = np.where(level > top - DEEPEST, np.maximum(level - ground, 0), 0)
        found[start : start + BLOCK] = rows - rows.mean(axis=1, keepdims=True)
    return found


def _highest(level: Floats, reach: int) -> Floats:
    """The highest of so many bands to either side of each."""
    padded = np.pad(level, ((0, 0), (reach, reach)), constant_values=np.float32(-200))
    width = 1
    while 2 * width <= 2 * reach + 1:  # runs of doubled width
        padded = np.maximum(padded[:, :-width], padded[:, width:])
        width *= 2
    rest = 2 * reach + 1 - width
    return np.asarray(
        np.maximum(padded[:, : level.shape[1]], padded[:, rest : rest + level.shape[1]]),
        np.float32,
    )
