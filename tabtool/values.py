"""Durations as printed notes: a type, dots, and a tuplet where the beat is divided oddly.

A note that no single printed note says becomes several, tied. Lengths are in quarter notes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from tabtool.measures import Measure, Sounded

TYPES = {
    Fraction(8): "breve",
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th",
    Fraction(1, 32): "128th",
    Fraction(1, 64): "256th",
    Fraction(1, 128): "512th",
    Fraction(1, 256): "1024th",
}
_DOTS = (Fraction(1), Fraction(3, 2), Fraction(7, 4))


class Value(NamedTuple):
    """A printed note: `actual` of them in the time of `normal` where they are a tuplet (else 1:1).

    `first` and `last` tell whether the sound begins and ends with it; `opens` and `closes`
    whether a tuplet does. `beams` is how many beams or flags it has.
    """

    note: Sounded
    onset: Fraction
    duration: Fraction
    type: str
    dots: int
    actual: int
    normal: int
    first: bool
    last: bool
    opens: bool = False
    closes: bool = False

    @property
    def beams(self) -> int:
        shortest = next(length for length, name in TYPES.items() if name == self.type)
        return max(0, -math.floor(math.log2(shortest)))


def values(measure: Measure) -> list[Value]:
    """The printed notes of a bar, in order."""
    beat = measure.meter.beat_quarters
    count = math.ceil(measure.length / beat)
    odd = [_odd(measure.notes, number * beat, (number + 1) * beat) for number in range(count)]
    out: list[Value] = []
    for note in measure.notes:
        pieces: list[tuple[Fraction, str, int, Fraction, int]] = []
        for start, end, parts in _windows(note, beat, odd):
            normal = 2 ** int(math.log2(parts))
            shown = (end - start) * parts / normal
            for length, name, dots in _printed(shown, start, beat):
                pieces.append((length * normal / parts, name, dots, Fraction(parts), normal))
        now = note.onset
        for number, (length, name, dots, actual, normal) in enumerate(pieces):
            out.append(
                Value(
                    note, now, length, name, dots, int(actual), normal,
                    first=number == 0, last=number + 1 == len(pieces),
                )
            )  # fmt: skip
            now += length
    return _bracketed(out, beat)


def _odd(notes: Sequence[Sounded], start: Fraction, end: Fraction) -> int:
    """Into how many odd parts the notes divide a beat: 3 for a triplet, 1 for halves only."""
    inside = [
        at for note in notes for at in (note.onset, note.onset + note.duration) if start < at < end
    ]
    whole = math.lcm(*(at.denominator for at in inside), 1)
    while whole % 2 == 0:
        whole //= 2
    return whole


def _windows(
    note: Sounded, beat: Fraction, odd: Sequence[int]
) -> list[tuple[Fraction, Fraction, int]]:
    """A note cut where a beat is divided otherwise than the one before."""
    end = note.onset + note.duration
    start, pieces = note.onset, []
    number = int(start / beat)
    parts = odd[number]
    while (number + 1) * beat < end:
        number += 1
        if odd[number] != parts:
            pieces.append((start, number * beat, parts))
            start, parts = number * beat, odd[number]
    pieces.append((start, end, parts))
    return pieces


def _printed(length: Fraction, onset: Fraction, beat: Fraction) -> list[tuple[Fraction, str, int]]:
    """A length as printed notes: one if one says it, else the longest that fit, in order."""
    for base, name in TYPES.items():
        for dots, factor in enumerate(_DOTS):
            if base * factor == length:
                return [(length, name, dots)]
    to_beat = beat - onset % beat
    if 0 < to_beat < length and to_beat.denominator & (to_beat.denominator - 1) == 0:
        return [*_printed(to_beat, onset, beat), *_printed(length - to_beat, onset + to_beat, beat)]
    for base, name in TYPES.items():
        if base < length:
            return [(base, name, 0), *_printed(length - base, onset + base, beat)]
    raise ValueError(f"a note of {length} quarter notes is too short to be printed")


def _bracketed(out: list[Value], beat: Fraction) -> list[Value]:
    """The values with the beginnings and ends of tuplets marked, each up to the end of a beat."""
    marked: list[Value] = []
    running = 0
    for number, value in enumerate(out):
        if value.actual == 1:
            marked.append(value)
            running = 0
            continue
        opens = running != value.actual
        end = value.onset + value.duration
        following = out[number + 1] if number + 1 < len(out) else None
        closes = end % beat == 0 or following is None or following.actual != value.actual
        marked.append(value._replace(opens=opens, closes=closes))
        running = 0 if closes else value.actual
    return marked
