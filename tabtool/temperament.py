"""How finely a harp is tuned: temperaments as ratios, and the reference pitch.

Conventions: a pitch is a MIDI number (C4 = 60), whole for a reed and fractional in a bend; a
deviation is in cents from twelve-tone equal temperament; a *tonic* is the MIDI number of the
harp's key note in any octave. A just harp is referred to its own tonic: that note stands where
equal temperament puts it at the chosen A4, and every other note follows by ratio, so the A on a
just harp need not be the A4 it is tuned "to" (a published note on A4 = 443: C4 = 263.41 Hz).

The ratios of the white notes C D E F G A B (read: degrees of the harp's major scale) are the
published ones of each scheme: "Theory of harmonica tuning" (2004).
The five degrees no Richter reed sounds but bends, overbends and minor tunings do take the ratios
of A. J. Ellis's duodene (duodene.scl of the Scala archive) in every just scheme: each makes a
pure third, fifth or sixth with the white notes. That choice is ours.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import NamedTuple

from tabtool.diagnostics import TabError, nearest
from tabtool.music import hz

A4_STANDARD = 440.0  # Hz, ISO 16:1975
A4_LOWEST = 430.0
A4_HIGHEST = 450.0


class TemperamentError(TabError):
    """A temperament, reference pitch or scale file that cannot be used; the message says why."""


class Temperament(NamedTuple):
    """Twelve degrees above the tonic.

    `degrees`: cents from equal temperament, degree 0 (the tonic, always 0.0) to 11.
    `stretch`: cents added for each octave above the tonic given (0 for a pure 2/1).
    """

    name: str
    title: str
    degrees: tuple[float, ...]
    stretch: float = 0.0

    def cents(self, pitch: float, tonic: int) -> float:
        """Deviation from equal temperament, in cents, of `pitch` on a harp with this `tonic`.

        Between two semitones (a microtonal bend) the deviation is interpolated, so that a glide
        passes through every tuned semitone without a step.

        >>> round(named("7-limit").cents(77, 60), 2)   # 5 draw of a C harp: 21/16
        -29.22
        """
        below = math.floor(pitch)
        part = pitch - below
        low = self._whole(below - tonic)
        return low if part == 0 else low + part * (self._whole(below + 1 - tonic) - low)

    def tuned(self, pitch: float, tonic: int) -> float:
        """`pitch` moved to where this temperament puts it, again as a MIDI number."""
        return pitch + self.cents(pitch, tonic) / 100.0

    def hz(self, pitch: float, tonic: int, a4: float = A4_STANDARD) -> float:
        """Frequency in Hz of `pitch` on a harp with this `tonic`, at the reference `a4`."""
        return hz(self.tuned(pitch, tonic), a4)

    def _whole(self, steps: int) -> float:
        octave, degree = divmod(steps, 12)
        return self.degrees[degree] + self.stretch * octave


def reference_pitch(text: str) -> float:
    """A4 in Hz from ``442``, ``442 Hz`` or ``A442``; TemperamentError outside 430 to 450."""
    # "A442" must not lose its first 4 to the name A4.
    match = re.fullmatch(r"(?:a4\s*=\s*|a\s*=?\s*)?(\d+(?:\.\d+)?)\s*(?:hz)?", text.strip().lower())
    if match is None or not A4_LOWEST <= float(match[1]) <= A4_HIGHEST:
        raise TemperamentError(
            f"'{text}' is no reference pitch: write A4 in Hz, "
            f"{A4_LOWEST:g} to {A4_HIGHEST:g}, such as 442"
        )
    return float(match[1])


def cents_of(ratio: Fraction) -> float:
    """The size of an interval in cents: 1200 · log2(ratio)."""
    return 1200.0 * (math.log2(ratio.numerator) - math.log2(ratio.denominator))


class Scheme(NamedTuple):
    """A temperament as data: the ratios of degrees 1 to 11 above the tonic.

    `halved` carries every degree built on a third (5 among its factors) only half way from
    equal temperament: "Es and Bs midway between just and equal" (a tuning list, 1996).
    """

    title: str
    ratios: str
    halved: bool = False


# On a C harp: Db D Eb E F F# G Ab A Bb B.
SCHEMES = {
    "equal": Scheme("twelve equal semitones", ""),
    "5-limit": Scheme(
        "just in first position: all chords pure, F 4/3, A 5/3",
        "16/15 9/8 6/5 5/4 4/3 45/32 3/2 8/5 5/3 9/5 15/8",
    ),
    "7-limit": Scheme(
        "just in second position: draw 2-3-4-5 as 4:5:6:7",
        "16/15 9/8 6/5 5/4 21/16 45/32 3/2 8/5 27/16 9/5 15/8",
    ),
    "third-position": Scheme(
        "just in third position",
        "16/15 9/8 6/5 5/4 27/20 45/32 3/2 8/5 27/16 9/5 15/8",
    ),
    "second-third": Scheme(
        "just, a compromise of second and third position",
        "16/15 9/8 6/5 5/4 4/3 45/32 3/2 8/5 27/16 9/5 15/8",
    ),
    "19-limit": Scheme(
        "just chords, with F 171/128, nearly equal",
        "16/15 9/8 6/5 5/4 171/128 45/32 3/2 8/5 27/16 9/5 15/8",
    ),
    "compromise": Scheme(
        "19-limit with every third half way to equal",
        "16/15 9/8 6/5 5/4 171/128 45/32 3/2 8/5 27/16 9/5 15/8",
        halved=True,
    ),
}
NAMES = tuple(SCHEMES)
EQUAL = Temperament("equal", SCHEMES["equal"].title, (0.0,) * 12)


def named(name: str) -> Temperament:
    """The temperament of that name, case ignored; TemperamentError lists the names."""
    wanted = name.strip().lower()
    if wanted == EQUAL.name:
        return EQUAL
    if wanted in SCHEMES:
        return _just(wanted, SCHEMES[wanted])
    near = nearest(wanted, NAMES)
    instead = f"; did you mean '{near}'?" if near else ";"
    raise TemperamentError(
        f"no temperament is called '{name.strip()}'{instead} "
        f"use one of {', '.join(NAMES)}, or a Scala .scl file"
    )


def _just(name: str, scheme: Scheme) -> Temperament:
    cents = [0.0]
    for step, text in enumerate(scheme.ratios.split(), start=1):
        ratio = Fraction(text)
        off = cents_of(ratio) - 100.0 * step
        third = ratio.numerator % 5 == 0 or ratio.denominator % 5 == 0
        cents.append(off / 2 if scheme.halved and third else off)
    return Temperament(name, scheme.title, tuple(cents))
