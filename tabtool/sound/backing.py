"""The built-in sounds beside the harp: a tap to count by, and a plucked string for the chords.

Both are plain sums of decaying partials, no instrument in particular, kept softer than the harp.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from tabtool.music import hz
from tabtool.practice import Click, Strum
from tabtool.sound.voice import Samples

TAP, STRONG_TAP = 1100.0, 1650.0  # Hz
TAP_LEVEL, STRONG_LEVEL = 0.16, 0.26  # peak of full scale
STRING_LEVEL, BASS_LEVEL = 0.035, 0.06
STRING_S = 1.6  # by then a string has died away
DAMPED_S = 0.04  # how fast the hand stops it


def add(out: Samples, clicks: Iterable[Click], strums: Iterable[Strum], rate: int) -> None:
    """Add taps and chords to `out` in place; what would sound past its end is left out."""
    taps = {strong: tap(strong, rate) for strong in (False, True)}
    for click in clicks:
        _mix(out, taps[click.strong], round(click.start_s * rate))
    strings: dict[tuple[int, float], Samples] = {}
    for strum in strums:
        length = round((strum.end_s - strum.start_s) * rate)
        for pitch in strum.pitches:
            a4 = strum.stretch.setting.a4
            if (pitch, a4) not in strings:
                strings[pitch, a4] = string(hz(pitch, a4), rate)
            level = BASS_LEVEL if strum.bass else STRING_LEVEL
            sound = _damped(strings[pitch, a4], length, rate) * np.float32(level)
            _mix(out, sound, round(strum.start_s * rate))


def tap(strong: bool, rate: int) -> Samples:
    """A short tap, 40 ms."""
    time = np.arange(round(0.04 * rate)) / rate
    pitch = STRONG_TAP if strong else TAP
    wave = np.sin(2 * np.pi * pitch * time) + 0.3 * np.sin(2 * np.pi * 2.7 * pitch * time)
    shape = np.exp(-time / 0.007) * np.minimum(1.0, time / 0.001) * (1 - time / 0.04)
    return np.asarray((STRONG_LEVEL if strong else TAP_LEVEL) * wave * shape, np.float32)


def string(hertz: float, rate: int) -> Samples:
    """A plucked string of level 1: the higher a partial, the softer and the sooner gone."""
    time = np.arange(round(STRING_S * rate)) / rate
    # Single precision suffices within one cycle, and is several times quicker.
    phase = (2 * np.pi * ((hertz * time) % 1.0)).astype(np.float32)
    fading = np.exp(-2.0 * time).astype(np.float32)
    sooner = np.exp(-0.7 * time).astype(np.float32)
    wave = np.zeros(len(time), np.float32)
    for order in range(1, 11):
        fading *= sooner
        if order * hertz < 0.45 * rate:
            wave += np.sin(order * phase) * fading * np.float32(order**-1.4)
    ends = np.minimum(1.0, time / 0.004) * np.minimum(1.0, (STRING_S - time) / 0.1)
    return wave * ends.astype(np.float32)


def _damped(sound: Samples, length: int, rate: int) -> Samples:
    rest = round(DAMPED_S * rate)
    sound = sound[: length + rest].copy()
    tail = sound[length:]
    tail *= np.cos(np.pi / 2 * np.arange(len(tail)) / rest).astype(np.float32) ** 2
    return sound


def _mix(out: Samples, sound: Samples, at: int) -> None:
    room = out[at : at + len(sound)]
    room += sound[: len(room)]
