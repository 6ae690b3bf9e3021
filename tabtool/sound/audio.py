"""A score as sound: by the built-in reed voice, or through a General MIDI sound font; and as files.

The voice gets each tone's pitch from `expression` as a curve, so a bend glides and a temperament
sounds without a step; a font gets the MIDI file that `writers.mid` makes.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
import soundfile

from tabtool.diagnostics import TabError
from tabtool.events import Score
from tabtool.expression import SHUT, Sound, perform
from tabtool.practice import Click, Strum
from tabtool.sound import backing, voice
from tabtool.sound.voice import Samples

RATE = 44100
LONGEST_S = 3600.0  # a take is held in memory: an hour is 0.6 GB
STEP_S = 0.002  # between the points of a moving pitch; straight lines in between
ACCENT = 1.5  # amplitude, 3.5 dB
VIBRATO_LEVEL = 0.5  # amplitude gained a semitone of vibrato upwards
WARN_CENTS, REFUSE_CENTS = 3.0, 10.0

# How each suffix is written; 16 bits are 96 dB, more than a harp needs.
FORMATS = {
    ".wav": ("WAV", "PCM_16"),
    ".flac": ("FLAC", "PCM_16"),
    ".ogg": ("OGG", "VORBIS"),
}
_BLOCK = 1 << 16


class Font(NamedTuple):
    """A sound font made ready: its bytes, and how far each key it was measured at is off."""

    name: str
    data: bytes
    cents: dict[int, float | None]

    @property
    def worst(self) -> float:
        """The largest deviation in cents, with its sign."""
        return max((cents for cents in self.cents.values() if cents is not None), key=abs,
                   default=0.0)  # fmt: skip


def by_voice(
    score: Score, clicks: Sequence[Click] = (), strums: Sequence[Strum] = (), rate: int = RATE
) -> Samples:
    """The score by the built-in voice: one channel, from the first beat, silent at both ends."""
    last = max([score.seconds, *(click.start_s for click in clicks)], default=0.0)
    take = voice.mixed(map(sounding, perform(score)), rate, least_s=last)
    backing.add(take, clicks, strums, rate)
    return voice.turned_down(take)


def sounding(sound: Sound) -> voice.Sound:
    """A tone as the voice wants it: pitch, loudness and hands as curves."""
    loud = ACCENT if sound.accent else 1.0
    if sound.steady and not sound.wah:
        return voice.Sound(sound.start_s, sound.end_s, sound.tuned, loud)
    length = sound.end_s - sound.start_s
    times = [STEP_S * step for step in range(math.ceil(length / STEP_S))] + [length]
    offsets = [sound.offset(at) for at in times]
    pitch = [(at, sound.tuned + off) for at, off in zip(times, offsets, strict=True)]
    swell = VIBRATO_LEVEL if sound.vibrato and not sound.glides else 0.0
    hands = [(at, sound.open_hands(at)) for at in times]
    level = [
        (at, loud * (1 + swell * off) * (SHUT + (1 - SHUT) * opened))
        for (at, opened), off in zip(hands, offsets, strict=True)
    ]
    return voice.Sound(sound.start_s, sound.end_s, pitch, level, hands, sound.pitch)


def open_font(path: str, score: Score, chords: bool = False, click: bool = False) -> Font:
    """A font with the instruments wanted, measured at every key the score strikes.

    Raises FontError if it is no font, sounds nothing at a key, or is REFUSE_CENTS or more out
    of tune: nobody should learn a pitch from it.
    """
    from pathlib import Path

    from tabtool.sound import soundfont
    from tabtool.writers.mid import GUITAR

    presets = [(0, soundfont.HARMONICA)]
    presets += [(0, GUITAR)] if chords else []
    presets += [(soundfont.DRUMS, 0)] if click else []
    data = soundfont.read(Path(path), presets)
    keys = {math.floor(sound.pitch) for sound in perform(score)}
    font = Font(path, data, soundfont.tuning(data, keys))
    silent = sorted(key for key, cents in font.cents.items() if cents is None)
    if silent:
        named = ", ".join(map(str, silent))
        raise soundfont.FontError(
            f"{path}: its harmonica sounds no such note at MIDI number {named}; "
            "use another font, or none for the built-in voice"
        )
    if abs(font.worst) >= REFUSE_CENTS:
        raise soundfont.FontError(
            f"{path}: its harmonica is up to {abs(font.worst):.0f} cents "
            f"{'flat' if font.worst < 0 else 'sharp'}; use a font that is in tune, "
            "or none for the built-in voice"
        )
    return font


def by_font(
    score: Score, font: Font, clicks: Iterable[Click] = (), strums: Iterable[Strum] = ()
) -> tuple[Samples, int]:
    """The score through a sound font: two channels (frames × 2), and their rate in Hz."""
    from tabtool.sound import soundfont
    from tabtool.writers import mid

    take, rate = soundfont.render(font.data, mid.write(score, clicks, strums, ring_s=1.0))
    fade = np.linspace(1, 0, round(0.05 * rate), dtype=np.float32)[:, None] ** 2
    take[-len(fade) :] *= fade[-len(take) :]
    return voice.turned_down(take), rate


def encoded(take: Samples, rate: int, suffix: str) -> bytes:
    """The bytes of a sound file; TabError for a suffix that is none of FORMATS."""
    if suffix not in FORMATS:
        raise TabError(f"'{suffix}' is no sound file written here: use {', '.join(FORMATS)}")
    form, subtype = FORMATS[suffix]
    out = io.BytesIO()
    channels = 1 if take.ndim == 1 else take.shape[1]
    with soundfile.SoundFile(out, "w", rate, channels, subtype, format=form) as file:
        # By blocks: the Vorbis encoder is known to fail on minutes handed over at once.
        for at in range(0, len(take), _BLOCK):
            file.write(take[at : at + _BLOCK])
    return out.getvalue()
