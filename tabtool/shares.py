"""How the shares of a beat lie in time.

Offsets and lengths are exact `Fraction`s of the beat as written; where each is played from and
to is a fraction of the beat's time, which swing bends in beats divided in halves.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import cache

from tabtool.tune import Share, Split


def shares_of(
    parts: tuple[Share, ...], swing: Fraction
) -> Iterable[tuple[Fraction, Fraction, float, float, Share]]:
    """Each undivided share of a beat: offset and length in beats as written, and the
    fractions of the beat's time at which it is played from and to."""
    if not any(isinstance(part, Split) for part in parts):
        places = _even(len(parts), swing)
        return [(*place, part) for place, part in zip(places, parts, strict=True)]
    flat = list(flatten(parts, Fraction(0), Fraction(1)))
    halves = all(_is_power_of_two(length.denominator) for _, length, _ in flat)
    swung = swing if halves else Fraction(1, 2)
    return [
        (at, length, _swing(at, swung), _swing(at + length, swung), part)
        for at, length, part in flat
    ]


@cache
def _even(count: int, swing: Fraction) -> tuple[tuple[Fraction, Fraction, float, float], ...]:
    if not _is_power_of_two(count):
        swing = Fraction(1, 2)
    step = Fraction(1, count)
    return tuple(
        (i * step, step, _swing(i * step, swing), _swing((i + 1) * step, swing))
        for i in range(count)
    )


def flatten(
    parts: Sequence[Share], at: Fraction, length: Fraction
) -> Iterable[tuple[Fraction, Fraction, Share]]:
    """Undivided shares with their places and lengths; the symbol of a split goes to its first."""
    step = length / len(parts)
    for part in parts:
        if isinstance(part, Split):
            inner = list(flatten(part.parts, at, step))
            if part.symbol:
                first_at, first_length, first = inner[0]
                inner[0] = first_at, first_length, first._replace(symbol=part.symbol)
            yield from inner
        else:
            yield at, step, part
        at += step


def _swing(at: Fraction, swing: Fraction) -> float:
    half = Fraction(1, 2)
    if at <= half:
        return float(at * 2 * swing)
    return float(swing + (at - half) * 2 * (1 - swing))


def _is_power_of_two(number: int) -> bool:
    return number & (number - 1) == 0
