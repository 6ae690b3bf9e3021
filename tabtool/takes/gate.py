"""Whether a recording can be judged at all: nothing is claimed of silence, noise, speech, chords.

Conventions: levels in dB of full scale; a frame *sounds* where one clear pitch is heard.
"""

from __future__ import annotations

import numpy as np

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

SOUNDING_SHARE = 0.5
"""Share of the loud frames in which one clear pitch must sound; chords and noise have less."""

PEAKY = 0.5
"""From that height of the autocorrelation a loud frame without one pitch is tonal: a chord."""

TONAL_SHARE = 0.4
"""Share of such frames among the loud ones without a pitch that makes it chords, not noise."""


class Unjudged(TabError):
    """A recording of which nothing can be said; the text tells why."""


def admit(track: PitchTrack, chords: bool = False) -> None:
    """Raise `Unjudged` with a plain reason where no single-note playing can be heard.

    ``chords``: the tab has many, so their being heard is no reason.
    """
    if not len(track.level):
        raise Unjudged("too short to hear a note in: a take lasts at least a second")
    if track.level.max() < SILENT_DB:
        raise Unjudged("silent: check the microphone, or record louder")
    sounding = presence(track) > 0.5
    loud = track.level > np.percentile(track.level, 95) - 25
    clear = (sounding & loud).sum()
    murky = loud & ~sounding
    tonal = float((track.periodic[murky] > PEAKY).mean()) if murky.any() else 0.0
    steady = steadiness(track)
    if clear * track.hop_s >= LEAST_S and steady < STEADY_SHARE:
        raise Unjudged("no steady notes: this sounds like speech or noise, not like a take")
    if clear >= SOUNDING_SHARE * loud.sum() and clear * track.hop_s >= LEAST_S:
        return
    if tonal > TONAL_SHARE and chords:
        return
    if tonal > TONAL_SHARE:
        raise Unjudged(
            "more than one note sounds at once most of the time; "
            "only single notes can be judged, one harp without accompaniment"
        )
    raise Unjudged("no clear notes: too noisy, or no harmonica; record nearer, in a quiet room")


def steadiness(track: PitchTrack) -> float:
    """Share of the sounding frames in which the pitch holds for a while, 0 to 1."""
    sounding = presence(track) > 0.5
    pitch = np.where(sounding, track.pitch[:, 0], np.nan)
    if sounding.sum() < STEADY_FRAMES or len(pitch) < STEADY_FRAMES:
        return 0.0
    windows = np.lib.stride_tricks.sliding_window_view(pitch, STEADY_FRAMES)
    with np.errstate(invalid="ignore"):
        holds = windows.max(axis=1) - windows.min(axis=1) < STEADY  # False where any is NaN
    held = np.convolve(holds, np.ones(STEADY_FRAMES)) > 0.5
    return float((held & sounding).sum() / sounding.sum())
