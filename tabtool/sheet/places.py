"""Where the taps and bar lines of one row are, in millimetres from the left of the page."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from tabtool.sheet.rows import Row
from tabtool.sheet.spacing import Need, warped
from tabtool.sheet.style import Style


class Places:
    """Where the taps of a row are, in millimetres from the left of the page."""

    def __init__(self, row: Row, crowd: Sequence[tuple[Need, ...]], style: Style) -> None:
        self.inside = {tap: warped(crowd[tap], row.tap) for tap in range(row.first, row.end)}
        gap = style.bar_gap
        lead = row.indent * row.tap + gap if row.indent else 0.0
        self.start = style.margin + style.indent + lead
        self.taps: dict[int, float] = {}
        self.bars: list[tuple[float, float]] = []  # of each fragment: its two bar lines
        x = self.start
        if row.lead:
            x -= row.lead * row.tap + gap
        for fragment in row.fragments:
            left = x
            for index in range(fragment.taps):
                self.taps[fragment.first + index] = x + gap / 2 + index * row.tap
            x += fragment.taps * row.tap + gap
            self.bars.append((left, x))
        self.left, self.right = self.bars[0][0], x

    def x(self, at: Fraction) -> float:
        tap = int(at)
        return self.taps[tap] + self.within(tap, at - tap)

    def end(self, at: Fraction) -> float:
        """Where something ends that sounds until `at`: before any bar line there."""
        tap = -(-at.numerator // at.denominator) - 1  # the tap that is under way until then
        return self.taps[tap] + self.within(tap, at - tap)

    def within(self, tap: int, share: Fraction) -> float:
        (before, left), (after, right) = next(
            (one, two) for one, two in pairwise(self.inside[tap]) if share <= two[0]
        )
        return left + float((share - before) / (after - before)) * (right - left)
