"""Paper and sizes, in millimetres.

Paper: A4 by ISO 216, Letter 8 1/2 by 11 inches (ANSI/ASME Y14.1 calls it A).
"""

from __future__ import annotations

from typing import NamedTuple

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}


class Style(NamedTuple):
    """How large everything is. `h` is the height of a hole number, all else follows.

    From a metre away 7 mm are 24 minutes of arc; 20 to 22 is the height recommended for
    comfortable reading on screens (ISO 9241-303, from memory).
    """

    paper: str = "A4"
    h: float = 7.0
    repeats: bool = False  # whether the tune has repeat signs, which take room
    indent: float = 0.0  # room left of every row, for clef and key signature

    @property
    def width(self) -> float:
        return PAPERS[self.paper][0]

    @property
    def height(self) -> float:
        return PAPERS[self.paper][1]

    @property
    def margin(self) -> float:
        """Left, right and top: what printers leave white, and a hand's room for clips."""
        return 11.0

    @property
    def bottom(self) -> float:
        return 10.0

    @property
    def usable(self) -> float:
        """The width between the margins."""
        return self.width - 2 * self.margin

    @property
    def row(self) -> float:
        """The width of a row of bars."""
        return self.usable - self.indent

    @property
    def bar_gap(self) -> float:
        """Between the last tap of a bar and the first of the next."""
        return (1.35 if self.repeats else 0.7) * self.h

    @property
    def lyric(self) -> float:
        """The em of sung words."""
        return min(0.76 * self.h, 2.5 + 0.45 * self.h)

    @property
    def symbol(self) -> float:
        """The em of chord symbols."""
        return 0.86 * self.h

    @property
    def small(self) -> float:
        """The em of what is read at leisure: the key to the signs, bar numbers, page foot."""
        return min(max(3.0, 0.43 * self.h), 3.8)


LARGE = 10.5  # the height of a hole number in large print: half as large again
