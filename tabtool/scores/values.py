"""Durations as printed notes: a type, dots, and a tuplet where the beat is divided oddly.

A note that no single printed note says becomes several, tied. Lengths are in quarter notes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from tabtool.scores.measures import Measure, Sounded

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


class _Window(NamedTuple):
    """A stretch of a bar divided into an odd number of parts (1: by halves only)."""

    start: Fraction
    end: Fraction
    parts: int


def values(measure: Measure) -> list[Value]:
    """The printed notes of a bar, in order."""
    beat = measure.meter.beat_quarters
    count = math.ceil(measure.length / beat)
    windows = [
        window
        for number in range(count)
        for window in _windows(measure.notes, number * beat, (number + 1) * beat)
    ]
    out: list[Value] = []
    for note in measure.notes:
        pieces: list[tuple[Fraction, str, int, int, int]] = []
        for start, end, parts in _cut(note, windows):
            normal = 2 ** int(math.log2(parts))
            shown = (end - start) * parts / normal
            for length, name, dots in _printed(shown, start, beat):
                pieces.append((length * normal / parts, name, dots, parts, normal))
        now = note.onset
        for number, (length, name, dots, actual, normal) in enumerate(pieces):
            out.append(
                Value(
                    note, now, length, name, dots, actual, normal,
                    first=number == 0, last=number + 1 == len(pieces),
                )
            )  # fmt: skip
            now += length
    return _bracketed(out, [window.end for window in windows])


def _windows(notes: Sequence[Sounded], start: Fraction, end: Fraction) -> list[_Window]:
    """A beat as the smallest stretches that tuplets can be kept to."""
    edges = {at for note in notes for at in (note.onset, note.onset + note.duration)}
    parts = math.lcm(*(at.denominator for at in edges if start < at < end), 1)
    while parts % 2 == 0:
        parts //= 2
    if parts == 1:
        return [_Window(start, end, 1)]
    # A dotted beat falls into three, any other into two, where a note begins at each.
    count = 3 if (end - start).numerator % 3 == 0 else 2
    step = (end - start) / count
    inner = [start + number * step for number in range(count + 1)]
    if set(inner[1:-1]) <= edges:
        return [window for low, high in pairwise(inner) for window in _windows(notes, low, high)]
    return [_Window(start, end, parts)]


def _cut(note: Sounded, windows: Sequence[_Window]) -> list[_Window]:
    """A note cut where a stretch is divided otherwise than the one before."""
    end = note.onset + note.duration
    pieces: list[_Window] = []
    for window in windows:
        low, high = max(note.onset, window.start), min(end, window.end)
        if low >= high:
            continue
        if pieces and pieces[-1].parts == window.parts:
            pieces[-1] = pieces[-1]._replace(end=high)
        else:
            pieces.append(_Window(low, high, window.parts))
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


def _bracketed(out: list[Value], ends: Sequence[Fraction]) -> list[Value]:
    """The values with the beginnings and ends of tuplets marked, each up to a window's end."""
    marked: list[Value] = []
    running = 0
    for number, value in enumerate(out):
        if value.actual == 1:
            marked.append(value)
            running = 0
            continue
        opens = running != value.actual
        following = out[number + 1] if number + 1 < len(out) else None
        closes = (
            value.onset + value.duration in ends
            or following is None
            or following.actual != value.actual
        )
        marked.append(value._replace(opens=opens, closes=closes))
        running = 0 if closes else value.actual
    return marked
