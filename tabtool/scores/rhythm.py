"""Rhythm to beats: a bar of timed notes as the shares the notation divides beats into.

The notation divides a share evenly, and any share again: ``5v,-,4v`` is three even
parts of a beat, ``5v,(4v,4^)`` a half and two quarters. Any rhythm of fractions fits;
`beats` finds the smallest way to write it. Times are in beats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple, TypeAlias

# What a pair of parentheses costs against one more share: above 1, so that
# 5v,-,-,4v is preferred to 5v,(-,4v), and below 2, so that 6/8 keeps its three parts.
SPLIT_COST = 1.5
MOST_PARTS = 16  # even parts of one share; more are no rhythm anybody can read
FINEST = 1024  # parts of a whole beat, however they are nested


class Slot(NamedTuple):
    """Something that lasts from `start`: `token` where it begins, `goes_on` in later shares."""

    start: Fraction
    token: str
    goes_on: str


class TooFine(ValueError):
    """A rhythm that divides a beat into more parts than can be written."""


class _Leaf(NamedTuple):
    """An undivided share: which slot of the beat it belongs to, and whether that begins here."""

    slot: int
    begins: bool


_Shape: TypeAlias = "_Leaf | tuple[_Shape, ...]"


def beats(slots: Sequence[Slot], count: int) -> list[str]:
    """The texts of `count` beats; the slots are in order and the first begins at 0."""
    texts = []
    first = 0  # the slot that lasts into the beat, or begins with it
    for beat in range(count):
        while first + 1 < len(slots) and slots[first + 1].start <= beat:
            first += 1
        last = first
        while last + 1 < len(slots) and slots[last + 1].start < beat + 1:
            last += 1
        inside = slots[first : last + 1]
        starts = tuple(max(slot.start - beat, Fraction(-1)) for slot in inside)
        shape = _shape((min(starts[0], Fraction(0)), *starts[1:]))
        texts.append(_text(shape, inside, outermost=True))
        first = last
    return texts


def _text(shape: _Shape, slots: Sequence[Slot], outermost: bool = False) -> str:
    if isinstance(shape, _Leaf):
        slot = slots[shape.slot]
        return slot.token if shape.begins else slot.goes_on
    inner = ",".join(_text(part, slots) for part in shape)
    return inner if outermost else f"({inner})"


@lru_cache(maxsize=4096)
def _shape(starts: tuple[Fraction, ...]) -> _Shape:
    """The smallest division of a beat for slots that begin at these places in it."""
    return _cheapest(starts, Fraction(0), Fraction(1), {})[1]


def _cheapest(
    starts: Sequence[Fraction],
    low: Fraction,
    high: Fraction,
    known: dict[tuple[Fraction, Fraction], tuple[float, _Shape]],
) -> tuple[float, _Shape]:
    """What the cheapest writing of one share costs, and the writing."""
    if (low, high) in known:
        return known[low, high]
    inside = [start for start in starts if low < start < high]
    length = high - low
    parts = math.lcm(*(((start - low) / length).denominator for start in inside))
    if parts > FINEST:
        raise TooFine(f"a share in {parts} parts")
    best: tuple[float, _Shape] | None = None
    if not inside:
        slot = max(i for i, start in enumerate(starts) if start <= low)
        best = 1.0, _Leaf(slot, starts[slot] == low)
    for count in range(2, min(parts, MOST_PARTS) + 1):
        if parts % count:
            continue
        step = length / count
        try:
            shares = [
                _cheapest(starts, low + i * step, low + (i + 1) * step, known) for i in range(count)
            ]
        except TooFine:
            continue
        cost = sum(own + SPLIT_COST * (not isinstance(s, _Leaf)) for own, s in shares)
        if best is None or cost < best[0]:
            best = cost, tuple(share for _, share in shares)
    if best is None:
        raise TooFine(f"a share in {parts} parts")
    known[low, high] = best
    return best
