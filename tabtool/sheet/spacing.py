"""Where in the width of a tap each of its shares begins.

Width is time: shares are as wide as they are long. Only where a short note would be too
narrow to read does it take width from its longer neighbours within the same tap; taps
themselves never give way, and the ruler below moves along.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from tabtool.sheet.drawing import Metrics
from tabtool.sheet.paper import Paper
from tabtool.sheet.plate import natural_width

AT_EASE = 0.8  # of its natural width, a note does not look squeezed yet (chosen by eye)
GOES_ON = 0.5  # what it needs within the tap if it is held on into the next
UNLIKE = 0.82  # of an even share of the tap: so far a short note is widened
REST, HOLD = 0.8, 0.3  # in heights of a hole number


class Need(NamedTuple):
    """A part of a tap that has to stay readable: where it begins, its share, its least width."""

    at: Fraction
    length: Fraction
    width: float


def needs(paper: Paper, metrics: Metrics, h: float) -> tuple[tuple[Need, ...], ...]:
    """What each tap holds, in order."""
    begins: dict[Fraction, float] = {start: REST * h for start, _ in paper.rests}
    for sound in paper.sounds:
        start, end = sound.stretches[0]
        width = AT_EASE * natural_width(metrics, sound.note.figure, h)
        begins[start] = width if end <= int(start) + 1 else GOES_ON * width
    found = []
    for tap, shares in enumerate(paper.divisions):
        parts: list[Need] = []
        for share, after in zip(shares, (*shares[1:], Fraction(tap + 1)), strict=True):
            if share in begins or not parts:
                parts.append(Need(share - tap, after - share, begins.get(share, HOLD * h)))
            else:
                parts[-1] = parts[-1]._replace(length=parts[-1].length + after - share)
        found.append(tuple(parts))
    return tuple(found)


def warped(parts: tuple[Need, ...], tap: float) -> tuple[tuple[Fraction, float], ...]:
    """Where each part begins in a tap `tap` mm wide, and where the last ends: share and mm.

    No part is widened so far that a long note and a short one would look alike.
    """
    least = [min(part.width, UNLIKE * tap / len(parts)) for part in parts]
    widths = [float(part.length) * tap for part in parts]
    short = [max(0.0, need - width) for need, width in zip(least, widths, strict=True)]
    spare = [max(0.0, width - need) for need, width in zip(least, widths, strict=True)]
    wanted, there = sum(short), sum(spare)
    if wanted and there:
        given, taken = min(1.0, there / wanted), min(1.0, wanted / there)
        widths = [
            width + given * more - taken * less
            for width, more, less in zip(widths, short, spare, strict=True)
        ]
    places = [(Fraction(0), 0.0)]
    for part, width in zip(parts, widths, strict=True):
        places.append((part.at + part.length, places[-1][1] + width))
    return tuple(places)
