"""How finely a harp is tuned: temperaments as ratios, and the reference pitch.

Conventions: a pitch is a MIDI number (C4 = 60), whole for a reed and fractional in a bend; a
deviation is in cents from twelve-tone equal temperament; a *tonic* is the MIDI number of the
harp's key note in any octave. A just harp is referred to its own tonic: that note stands where
equal temperament puts it at the chosen A4, and every other note follows by ratio, so the A on a
just harp need not be the A4 it is tuned "to" (O. Hansson's note on A4 = 443: C4 = 263.41 Hz).

The ratios of the white notes C D E F G A B (read: degrees of the harp's major scale) are the
published ones of each scheme: O. Hansson, "Theory of harmonica tuning" (2004), after P. Missin.
The five degrees no Richter reed sounds but bends, overbends and minor tunings do take the ratios
of A. J. Ellis's duodene (duodene.scl of the Scala archive) in every just scheme: each makes a
pure third, fifth or sixth with the white notes. That choice is ours.
"""

from __future__ import annotations

import math
import os
import re
from fractions import Fraction
from typing import NamedTuple

from tabtool.diagnostics import TabError, nearest
from tabtool.music import hz

A4_STANDARD = 440.0  # Hz, ISO 16:1975
A4_LOWEST = 430.0
A4_HIGHEST = 450.0
SUFFIX = ".scl"


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


# Degrees 1, 3, 6, 8 and 10: Ellis's duodene.
_BETWEEN = {1: "16/15", 3: "6/5", 6: "45/32", 8: "8/5", 10: "9/5"}
_FIRST = {2: "9/8", 4: "5/4", 5: "4/3", 7: "3/2", 9: "5/3", 11: "15/8"}


def _just(name: str, title: str, halved: bool = False, **white: str) -> Temperament:
    """A temperament by ratio: 5-limit but for the degrees in `white` (F and A, as on a C harp).

    `halved` carries every degree built on a third (5 among its factors) only half way from
    equal temperament: "Es and Bs midway between just and equal".
    """
    degree = {"F": 5, "A": 9}
    ratios = _BETWEEN | _FIRST | {degree[letter]: ratio for letter, ratio in white.items()}
    cents = [0.0]
    for step in range(1, 12):
        ratio = Fraction(ratios[step])
        off = cents_of(ratio) - 100.0 * step
        third = ratio.numerator % 5 == 0 or ratio.denominator % 5 == 0
        cents.append(off / 2 if halved and third else off)
    return Temperament(name, title, tuple(cents))


TEMPERAMENTS: tuple[Temperament, ...] = (
    Temperament("equal", "twelve equal semitones", (0.0,) * 12),
    _just("5-limit", "just in first position: chords pure, F 4/3, A 5/3"),
    _just("7-limit", "just in second position: draw 2-3-4-5 as 4:5:6:7", F="21/16", A="27/16"),
    _just("third-position", "just in third position", F="27/20", A="27/16"),
    _just("second-third", "just, a compromise of second and third position", A="27/16"),
    _just("19-limit", "just chords, the fourth 171/128 nearly equal", F="171/128", A="27/16"),
    _just("compromise", "19-limit with every third half way to equal", True,
          F="171/128", A="27/16"),
)  # fmt: skip


EQUAL = TEMPERAMENTS[0]


def named(name: str) -> Temperament:
    """The temperament of that name, case ignored; TemperamentError lists the names."""
    wanted = name.strip().lower()
    names = [temperament.name for temperament in TEMPERAMENTS]
    if wanted in names:
        return TEMPERAMENTS[names.index(wanted)]
    near = nearest(wanted, names)
    instead = f"; did you mean '{near}'?" if near else ";"
    raise TemperamentError(
        f"no temperament is called '{name.strip()}'{instead} "
        f"use one of {', '.join(names)}, or a Scala {SUFFIX} file"
    )


def find(text: str, folder: str = "") -> Temperament:
    """The temperament a header or option means: a name, or the path of a Scala file.

    A relative path is taken from `folder` (that of the tab).
    """
    if text.strip().lower().endswith(SUFFIX):
        return read_scala(os.path.join(folder, os.path.expanduser(text.strip())))
    return named(text)


def read_scala(path: str) -> Temperament:
    """Read a Scala scale file; TemperamentError says file, line and column of a fault."""
    try:
        with open(path, "rb") as file:
            data = file.read()
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        raise TemperamentError(f"{path}: cannot be read: {reason}") from None
    # The format says "8-bit character text"; Latin-1 reads any byte, and only the
    # description and comments can hold anything beyond ASCII.
    return parse_scala(data.decode("latin-1"), path)


def parse_scala(text: str, name: str = "scale.scl") -> Temperament:
    """The temperament a Scala scale gives a harp.

    Format: "Scala scale file format" (the open description by its author): `!` starts a comment
    line; then a description, the number of notes, and one note a line, in cents if it holds a
    period, else a ratio or a whole number; what follows a value is ignored; 1/1 is implied.

    Each note goes to its nearest semitone above the tonic; semitones the scale leaves out stay
    equal-tempered, so a seven-note scale is enough. Refused with TemperamentError, saying line
    and column: a fault in the format; two notes at one semitone; a last note that is not an
    octave (within half a semitone).
    """
    lines = [
        (number, line.rstrip())
        for number, line in enumerate(text.splitlines(), 1)
        if not line.startswith("!")
    ]
    while len(lines) > 2 and not lines[-1][1].strip():
        lines.pop()
    if len(lines) < 2:
        raise TemperamentError(
            f"{name}:{text.count(chr(10)) + 1}:1: the scale ends before its number of notes; "
            "the first line not starting with ! is a description, the second that number"
        )
    title = lines[0][1].strip()
    (line, stated), notes = lines[1], lines[2:]
    match = re.match(r"\s*(\d+)\s*(?:!.*)?$", stated)
    if match is None:
        raise TemperamentError(f"{name}:{line}:1: expected the number of notes, got {stated!r}")
    count = int(match[1])
    if len(notes) < count or count == 0:
        raise TemperamentError(
            f"{name}:{line}:{match.start(1) + 1}: {count} notes are announced and "
            f"{len(notes)} follow; a scale for a harp ends with the octave, 2/1"
        )
    values = [(number, _scala_value(note, name, number)) for number, note in notes[:count]]
    last_line, octave = values.pop()
    if abs(octave - 1200.0) >= 50.0:
        raise TemperamentError(
            f"{name}:{last_line}:1: the last note is {octave:.1f} cents, not an octave (2/1); "
            "a harp repeats its notes by octaves"
        )
    degrees = [0.0] * 12
    taken = {0: 0}
    for number, value in values:
        step = round(value / 100.0)
        degree = step % 12
        if degree in taken:
            other = f"line {taken[degree]}" if taken[degree] else "1/1, the tonic"
            raise TemperamentError(
                f"{name}:{number}:1: {value:.1f} cents is nearest to semitone {degree}, which "
                f"{other} has already; a harp takes one note a semitone"
            )
        taken[degree] = number
        degrees[degree] = value - 100.0 * step
    stem = re.sub(r"\.scl$", "", os.path.basename(name), flags=re.IGNORECASE)
    return Temperament(stem, title or stem, tuple(degrees), octave - 1200.0)


_RATIO = re.compile(r"(-?\d+)(?:\s*/\s*(-?\d+))?(?![\d.,/])")
_CENTS = re.compile(r"[+-]?(?:\d+\.\d*|\.\d+)")


def _scala_value(note: str, name: str, line: int) -> float:
    body = note.lstrip(" \t")
    where = f"{name}:{line}:{len(note) - len(body) + 1}"
    if match := _CENTS.match(body):
        return float(match[0])
    match = _RATIO.match(body)
    if match is None:
        raise TemperamentError(
            f"{where}: expected a note, either cents with a period (386.314) or a ratio (5/4), "
            f"got {body[:30]!r}"
        )
    ratio = (int(match[1]), int(match[2] or 1))
    if min(ratio) <= 0:
        raise TemperamentError(f"{where}: the ratio {match[0]} is not above zero")
    return cents_of(Fraction(*ratio))
