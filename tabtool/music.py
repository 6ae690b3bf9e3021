"""Pitches, keys and time, as musicians name them.

A pitch is a MIDI number (C4 = 60 = middle C), a float where quarter tones occur.
A pitch class is 0-11 upwards from C. Intervals are in semitones, cents are
hundredths of a semitone, frequencies in Hz. Times are `Fraction`s of a beat,
the beat being what the foot taps.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import NamedTuple

LETTERS = "CDEFGAB"
NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
FIFTHS = "FCGDAEB"  # the natural letters along the line of fifths; F is -1, C is 0
ACCIDENTALS = {"": 0, "#": 1, "b": -1, "##": 2, "bb": -2}

# Semitones above the tonic. Church modes: common theory.
MODES = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "minor": (0, 2, 3, 5, 7, 8, 10),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "phrygian": (0, 1, 3, 5, 7, 8, 10),
    "lydian": (0, 2, 4, 6, 7, 9, 11),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "locrian": (0, 1, 3, 5, 6, 8, 10),
}
# How far each mode's signature lies from that of the major key on the same tonic.
MODE_FIFTHS = {
    "major": 0,
    "minor": -3,
    "dorian": -2,
    "phrygian": -4,
    "lydian": 1,
    "mixolydian": -1,
    "locrian": -5,
}

_PITCH = re.compile(r"([A-Ga-g])(##|bb|[#b♯♭]?)(-?\d+)?$")


class Key(NamedTuple):
    """The key of a tune: a spelled tonic (``"Bb"``) and a mode (``"minor"``)."""

    tonic: str
    mode: str = "major"

    @property
    def pitch_class(self) -> int:
        return pitch_class(self.tonic)

    @property
    def fifths(self) -> int:
        """Sharps (positive) or flats (negative) in the signature."""
        return _place(self.tonic) + MODE_FIFTHS[self.mode]

    def __str__(self) -> str:
        return self.tonic if self.mode == "major" else f"{self.tonic} {self.mode}"


def altered(key: Key, step: str) -> int:
    """Semitones the key signature moves a letter by."""
    fifths = key.fifths
    place = FIFTHS.index(step)
    if fifths > 0:
        return (fifths - place + 6) // 7
    return -((-fifths - (6 - place) + 6) // 7)


def moved(key: Key, semitones: int) -> Key:
    """The key of the same mode so many semitones higher."""
    pitch = 60 + (key.pitch_class + semitones) % 12
    return key._replace(tonic=spell(pitch, key._replace(tonic="C"))[:-1])


def parse_key(text: str) -> Key | None:
    """``E``, ``A minor``, ``Am``, ``d dorian``; None for anything else."""
    found = re.fullmatch(r"\s*([A-Ga-g])(#|b|♯|♭)?\s*(\w*)\s*", text)
    if not found:
        return None
    letter, accidental, mode = found.groups(default="")
    tonic = letter.upper() + accidental.replace("♯", "#").replace("♭", "b")
    if mode in ("", "maj", "M"):
        return Key(tonic)
    if mode.lower() in ("m", "min"):
        return Key(tonic, "minor")
    return Key(tonic, mode.lower()) if mode.lower() in MODES else None


def pitch_class(name: str) -> int:
    """The pitch class of a spelled name without octave: ``Bb`` is 10."""
    return (NATURAL[name[0]] + ACCIDENTALS[name[1:]]) % 12


def parse_pitch(text: str) -> tuple[int, int | None] | None:
    """``F#4`` to (pitch class 6, MIDI 66); ``F#`` to (6, None); None if it is no pitch."""
    found = _PITCH.match(text.strip())
    if not found:
        return None
    letter, accidental, octave = found.groups()
    semitones = (
        NATURAL[letter.upper()] + ACCIDENTALS[accidental.replace("♯", "#").replace("♭", "b")]
    )
    midi = None if octave is None else 12 * (int(octave) + 1) + semitones
    return semitones % 12, midi


def spell(pitch: float, key: Key) -> str:
    """The name of a pitch as the key spells it, with octave: 70 in F is ``Bb4``.

    Notes outside the key are named from five fifths below the tonic (flat second)
    to six above (sharp fourth). A quarter tone is named from the semitone below:
    ``Bb4+50c``.
    """
    whole = math.floor(pitch)
    name = spell_class(whole % 12, key)
    octave = (whole - NATURAL[name[0]] - ACCIDENTALS[name[1:]]) // 12 - 1
    cents = round((pitch - whole) * 100)
    return f"{name}{octave}" + (f"+{cents}c" if cents else "")


def spell_class(pc: int, key: Key) -> str:
    """The name of a pitch class as the key spells it, without octave."""
    home = _place(key.tonic)
    place = home - 5 + (7 * pc - (home - 5)) % 12
    name = _name(place)
    in_key = (pc - key.pitch_class) % 12 in MODES[key.mode]
    awkward = len(name) > 2 or name in ("E#", "B#", "Cb", "Fb")
    if awkward and not (in_key and len(name) == 2):
        return _name((7 * pc + 5) % 12 - 5)  # Db Ab Eb Bb F C G D A E B F#
    return name


def degree(pitch: float, key: Key) -> str:
    """The scale degree against the major scale on the tonic: ``b3``, ``5``, ``#4``."""
    pc = math.floor(pitch) % 12
    name = spell_class(pc, key)
    step = (LETTERS.index(name[0]) - LETTERS.index(key.tonic[0])) % 7
    above = (pc - key.pitch_class) % 12
    shift = (above - MODES["major"][step] + 6) % 12 - 6
    return ("#" * shift if shift > 0 else "b" * -shift) + str(step + 1)


def hz(pitch: float, a4: float = 440.0) -> float:
    """Frequency in Hz in equal temperament: a4 * 2^((pitch-69)/12) (A4 = 440: ISO 16:1975)."""
    return float(a4 * 2.0 ** ((pitch - 69) / 12))


def cents_between(low_hz: float, high_hz: float) -> float:
    """The interval from one frequency up to another, in cents."""
    return 1200 * math.log2(high_hz / low_hz)


class Meter(NamedTuple):
    """A meter: beats the foot taps in a bar, and how many quarter notes a beat lasts.

    Numerators 6, 9, 12 … and every multiple of three over 8 or less are tapped in
    dotted beats (6/8 in two, 3/8 in one), all others in the written denominator.
    ``text`` is the meter as written; for ``free``, `beats` is None.
    """

    text: str
    beats: int | None
    beat_quarters: Fraction


FREE = Meter("free", None, Fraction(1))


def parse_meter(text: str) -> Meter | None:
    """``4/4``, ``6/8`` or ``free``; None for anything else."""
    if text.strip().lower() == "free":
        return FREE
    found = re.fullmatch(r"\s*(\d{1,2})\s*/\s*(1|2|4|8|16|32)\s*", text)
    if not found or not 1 <= int(found[1]) <= 32:
        return None
    over, under = int(found[1]), int(found[2])
    unit = Fraction(4, under)
    written = f"{over}/{under}"
    if over % 3 == 0 and (over > 3 or under >= 8):
        return Meter(written, over // 3, 3 * unit)
    return Meter(written, over, unit)


def _place(name: str) -> int:
    """Where a spelled name lies on the line of fifths; C is 0, G 1, F -1."""
    return FIFTHS.index(name[0]) - 1 + 7 * ACCIDENTALS[name[1:]]


def _name(place: int) -> str:
    accidental, letter = divmod(place + 1, 7)
    return FIFTHS[letter] + ("#" * accidental if accidental > 0 else "b" * -accidental)
