"""Scala scale files: a harp tuned by a scale of the player's own.

The format is open: "Scala scale file format", described by its author.
"""

from __future__ import annotations

import os
import re
from fractions import Fraction

from tabtool.files import read_bytes
from tabtool.temperament import Temperament, TemperamentError, cents_of

LARGEST = 1_000_000  # bytes; the scales in print have a few dozen lines


def read_scala(path: str) -> Temperament:
    """Read a Scala scale file; `TabError` if it cannot be opened, and TemperamentError says file,
    line and column of a fault."""
    data = read_bytes(path, LARGEST, what="a scale")
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


# As text: compiled when a scale is read, not at every start.
_RATIO = r"(-?\d+)(?:\s*/\s*(-?\d+))?(?![\d.,/])"
_CENTS = r"[+-]?(?:\d+\.\d*|\.\d+)"


def _scala_value(note: str, name: str, line: int) -> float:
    body = note.lstrip(" \t")
    where = f"{name}:{line}:{len(note) - len(body) + 1}"
    if match := re.match(_CENTS, body):
        return float(match[0])
    match = re.match(_RATIO, body)
    if match is None:
        raise TemperamentError(
            f"{where}: expected a note, either cents with a period (386.314) or a ratio (5/4), "
            f"got {body[:30]!r}"
        )
    ratio = (int(match[1]), int(match[2] or 1))
    if min(ratio) <= 0:
        raise TemperamentError(f"{where}: the ratio {match[0]} is not above zero")
    return cents_of(Fraction(*ratio))
