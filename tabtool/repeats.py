"""The order in which bars are played: repeats and endings.

A repeat runs from ``|:``, or from where a part began, to ``:|``, and is played twice, or once
for each numbered ending. A double bar or a new section ends the last ending.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from tabtool.diagnostics import Diagnostic, Level, Rule
from tabtool.tune import Bar

REPEAT = Rule("repeat", Level.ERROR, "Repeat signs or endings that do not match.", reads=True)


class WrittenBar(NamedTuple):
    """A bar in written order, with what the bar lines around it say.

    `section` is an index into the sections; `ending` is 0 where no ending begins.
    """

    bar: Bar
    section: int
    opens: bool
    closes: bool
    ending: int


def written_bars(bars: Sequence[tuple[Bar, int]]) -> tuple[WrittenBar, ...]:
    """Bars, each given with the index of its section, as what the bar lines around them say.

    Where a line of the text ends, its bar line may stand there, before the next line or in both.
    """
    written = []
    for index, (bar, section) in enumerate(bars):
        before = bars[index - 1][0].after if index else None
        after = bars[index + 1][0].before if index + 1 < len(bars) else None
        own, end = bar.before, bar.after
        written.append(
            WrittenBar(
                bar,
                section,
                opens=bool((own and own.opens) or (before and before.opens)),
                closes=bool((end and end.closes) or (after and after.closes)),
                ending=(own.ending if own else 0) or (before.ending if before else 0),
            )
        )
    return tuple(written)


def played_order(
    bars: Sequence[WrittenBar],
) -> tuple[list[tuple[int, int]], tuple[Diagnostic, ...]]:
    """The indices of the bars in the order they are played, each with its pass, from 1."""
    repeats = _Repeats(bars)
    return repeats.play(), tuple(repeats.found)


def ends_part(bars: Sequence[WrittenBar], index: int) -> bool:
    """Whether a double bar or a new section follows the bar."""
    if index + 1 == len(bars):
        return False
    one, two = bars[index], bars[index + 1]
    lines = (one.bar.after, two.bar.before)
    return one.section != two.section or any(
        line is not None and (line.double or line.final) for line in lines
    )


class _Repeats:
    def __init__(self, bars: Sequence[WrittenBar]) -> None:
        self.bars = bars
        self.found: list[Diagnostic] = []

    def play(self) -> list[tuple[int, int]]:
        bars = self.bars
        order: list[tuple[int, int]] = []
        start, play, index = 0, 1, 0  # the repeat runs from bar `start`; this is pass `play`
        opened = False  # whether |: stands at `start`; a repeat without one goes back all the same
        last_ending = False  # whether the last ending of the repeat is being played
        sent_back: set[int] = set()
        while index < len(bars):
            bar = bars[index]
            if bar.opens:
                opened = True
                if start != index:
                    start, play, last_ending = index, 1, False
            if bar.ending:
                endings = self.endings(index, start)
                fault = self.ending_fault(index, play, endings, opened)
                if fault:
                    self.repeat_fault(bar, *fault)
                elif bar.ending != play and play in endings:
                    index = endings[play]
                    continue
                last_ending = bar.ending == max(endings, default=0)
            order.append((index, play))
            index += 1
            over = False  # whether the repeat that runs is over after this bar
            if bar.closes:
                if play < self.passes(index - 1, start):
                    sent_back.add(index - 1)
                    play, index = play + 1, start
                    continue
                over = True
                if index - 1 not in sent_back:
                    self.repeat_fault(
                        bar,
                        "this goes back, but to where is not clear",
                        "write |: where the repeated part begins",
                    )
            elif last_ending or not opened:
                over = ends_part(bars, index - 1)
            if over:
                start, play, opened, last_ending = index, 1, False, False
        self.check_repeats()
        return order

    def ending_fault(
        self, index: int, play: int, endings: dict[int, int], opened: bool
    ) -> tuple[str, str] | None:
        """What is wrong with the ending that begins at a bar, and what to write instead."""
        ending = self.bars[index].ending
        if not endings:
            if ending > 1 and index and self.bars[index - 1].closes:
                help = "write |1 where the first ending begins, before the :|"
                return f"ending {ending} with no ending 1 before it", help
            if opened:
                return None  # of a repeat that never goes back `check_repeats` tells
            help = "write |: where the repeat begins, and :| where it goes back"
            return "an ending outside a repeat", help
        wanted = list(endings.values()).index(index) + 1
        if ending != wanted:
            help = "number endings from 1 in their order: |1 … :|2 … |"
            return f"ending {ending} where ending {wanted} should begin", help
        if play not in endings and list(endings) == list(range(1, len(endings) + 1)):
            help = f"write :|{play} before what is played instead of ending {ending}"
            return f"there is no ending {play} beside ending {ending}", help
        return None

    def endings(self, index: int, start: int) -> dict[int, int]:
        """Where each ending of the repeat around `index` begins; empty if no repeat runs there."""
        found: dict[int, int] = {}
        closes = False
        for at in range(start, len(self.bars)):
            bar = self.bars[at]
            if (at > index and bar.opens) or bar.ending in found:
                break
            if bar.ending:
                found[bar.ending] = at
            closes = closes or bar.closes
        return found if closes and index in found.values() else {}

    def passes(self, index: int, start: int) -> int:
        """How often the passage that goes back at `index` is played: once an ending, or twice."""
        ending = self.bars[index + 1].ending if index + 1 < len(self.bars) else 0
        return max(2, ending, *(bar.ending for bar in self.bars[start : index + 1]))

    def check_repeats(self) -> None:
        opened: WrittenBar | None = None
        for bar in self.bars:
            if bar.opens:
                if opened is not None:
                    self.repeat_fault(
                        opened, "a repeat that never goes back", "write :| where it does"
                    )
                opened = bar
            if bar.closes:
                opened = None
        if opened is not None:
            self.repeat_fault(opened, "a repeat that never goes back", "write :| where it does")

    def repeat_fault(self, bar: WrittenBar, message: str, help: str) -> None:
        self.found.append(REPEAT.at(bar.bar.span, message, help))
