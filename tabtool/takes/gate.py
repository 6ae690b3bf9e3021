"""Whether a recording can be judged at all: nothing is claimed of silence, noise and speech, nor
of chords that were not told apart.

Conventions: levels in dB of full scale; a frame *sounds* where one clear pitch is heard.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tabtool.diagnostics import TabError
from tabtool.takes.align import presence
from tabtool.takes.pitchtrack import PitchTrack

SILENT_DB = -65.0
"""A recording that never gets louder holds nothing."""

LEAST_S = 0.25
"""Seconds of clear pitch below which there is no take."""

STEADY_FRAMES, STEADY = 8, 0.25
"""A pitch holds where it stays within STEADY semitones over so many frames (80 ms): notes do,
a wide vibrato now and then, the voice in speech seldom."""

STEADY_SHARE = 0.4
"""Share of the sounding frames that must hold their pitch."""

SURE_SHARE, FLAT, FLAT_SHARE = 0.8, 0.06, 0.45
"""From SURE_SHARE of them on it is no speech; below, the pitch must lie still where it holds: end
within FLAT semitones of where it began in that share of the windows. Measured: 270 sentences of a
synthesiser, five voices, slow to quick, reach 0.76 and 0.39; rendered takes, double tempo, room,
noise and scoops and all, hold 0.91, and with a wide vibrato on most notes still lie flat in 0.67.
"""

SOUNDING_SHARE = 0.5
"""Share of the loud frames in which one clear pitch must sound; chords and noise have less."""

PEAKY = 0.5
"""From that height of the autocorrelation a loud frame without one pitch is tonal: a chord."""

TONAL_SHARE = 0.6
"""Share of such frames among the loud ones without a pitch that makes it chords, not noise; of a
single line in noise as loud as itself half of them are tonal."""


SPEECH = "no steady notes: this sounds like speech, noise or chords, not like a take"


class Unjudged(TabError):
    """A recording of which nothing can be said; the text tells why."""


def admit(track: PitchTrack) -> None:
    """Raise `Unjudged` with a plain reason where no playing can be heard: single notes, or chords
    that were told apart in the track."""
    if not len(track.level):
        raise Unjudged("too short to hear a note in: a take lasts at least a second")
    if track.level.max() < SILENT_DB:
        raise Unjudged("silent: check the microphone, or record louder")
    sounding = presence(track) > 0.5
    loud = track.level > np.percentile(track.level, 95) - 25
    clear = (sounding & loud).sum()
    murky = loud & ~sounding
    tonal = float((track.periodic[murky] > PEAKY).mean()) if murky.any() else 0.0
    enough = clear * track.hop_s >= LEAST_S
    if clear >= SOUNDING_SHARE * loud.sum() and enough:
        if not _spoken(track):
            return
        raise Unjudged(SPEECH)
    if tonal > TONAL_SHARE:
        raise Unjudged(
            "more than one note sounds at once most of the time; "
            "only single notes can be judged, one harp without accompaniment"
        )
    if enough and _spoken(track):
        raise Unjudged(SPEECH)
    raise Unjudged(
        "no clear notes: too noisy, several at once, or no harmonica; "
        "record single notes, nearer, in a quiet room"
    )


def _spoken(track: PitchTrack) -> bool:
    """Whether the pitch glides as a voice does that speaks, quickly or slowly."""
    steady = steadiness(track)
    return steady < STEADY_SHARE or (steady < SURE_SHARE and flatness(track) < FLAT_SHARE)


def steadiness(track: PitchTrack) -> float:
    """Share of the sounding frames in which the pitch holds for a while, 0 to 1."""
    sounding = presence(track) > 0.5
    windows = _holding(track, sounding)
    if windows is None:
        return 0.0
    _, holds = windows
    held = np.convolve(holds, np.ones(STEADY_FRAMES)) > 0.5
    return float((held & sounding).sum() / sounding.sum())


def flatness(track: PitchTrack) -> float:
    """Share of the windows with a held pitch in which it ends where it began, 0 to 1."""
    windows = _holding(track, presence(track) > 0.5)
    if windows is None:
        return 0.0
    pitch, holds = windows
    moved = np.abs(pitch[holds, -1] - pitch[holds, 0])
    return float((moved < FLAT).mean()) if len(moved) else 0.0


def _holding(
    track: PitchTrack, sounding: NDArray[np.bool_]
) -> tuple[NDArray[Any], NDArray[np.bool_]] | None:
    """All windows of STEADY_FRAMES pitches, and in which of them the pitch holds; None of a
    sound too short for one."""
    pitch = np.where(sounding, track.pitch[:, 0], np.nan)
    if sounding.sum() < STEADY_FRAMES or len(pitch) < STEADY_FRAMES:
        return None
    windows = np.lib.stride_tricks.sliding_window_view(pitch, STEADY_FRAMES)
    with np.errstate(invalid="ignore"):
        # False where any is NaN
        return windows, windows.max(axis=1) - windows.min(axis=1) < STEADY
