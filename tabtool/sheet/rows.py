"""Which bars stand on which row, and how wide a tap is.

Taps of the same meter are equally wide all over the sheet, so that beats stand in
columns. A line of bars in the text is a row on the page where it fits; a longer one is
broken into even parts, short ones are joined. A pick-up hangs to the left of its row, or
stands on one of its own where a bar needs the whole width.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from tabtool.sheet.drawing import Metrics
from tabtool.sheet.paper import Measure, Paper
from tabtool.sheet.spacing import needs
from tabtool.sheet.style import Style

# One tap in FEW may be too narrow for its notes, none by more than CROWDED; the same for
# words; else fewer bars go on a row. (Chosen by eye.)
FEW, CROWDED = 0.12, 1.45
LYRIC_AT_EASE, LYRIC_FEW = 0.95, 0.15
ROWS_MORE = 1.15  # so many more rows are well spent on giving all of them more width
WIDEST_TAP, WIDEST_SHARE = 4.4, 1.7  # in heights of a hole number: wider, the eye loses the beat
NARROWEST_TAP = 1.75
BROKEN = 1.2  # a bar is broken only where its taps are narrower than they should be by this
MID_LINE, MID_BAR = 3, 8  # costs of turning the page within a line of the text, within a bar


class Fragment(NamedTuple):
    """A bar on a row, or a part of it: taps `first` to `first` + `taps`.

    `starts` and `ends` say whether the bar's own first and last taps are there.
    """

    measure: Measure
    first: int
    taps: int
    starts: bool = True
    ends: bool = True


class Row(NamedTuple):
    """The fragments of one row; `lead` taps of the first one hang left of the columns.

    `indent` is the room for such pick-ups in taps, the same on every row of a meter.
    `cost` says how bad it is to turn the page after this row, from 0.
    """

    fragments: tuple[Fragment, ...]
    section: int
    tap: float  # millimetres
    lead: int
    indent: int
    cost: int

    @property
    def first(self) -> int:
        return self.fragments[0].first

    @property
    def end(self) -> int:
        return self.fragments[-1].first + self.fragments[-1].taps


def rows(paper: Paper, style: Style, metrics: Metrics) -> tuple[Row, ...]:
    """Every row of a tune, in order."""
    meters: dict[str, list[Measure]] = {}
    for measure in paper.measures:
        if measure.taps:
            meter = paper.sections[measure.section].setting.meter.text
            meters.setdefault(meter, []).append(measure)
    found: list[Row] = []
    for measures in meters.values():
        found += _columns(paper, measures, style, metrics)
    found.sort(key=lambda row: row.first)
    return tuple(found)


def _columns(
    paper: Paper, measures: Sequence[Measure], style: Style, metrics: Metrics
) -> list[Row]:
    """The rows of all bars of one meter, all with taps of one width."""
    lines = _lines(measures)
    meter = paper.sections[measures[0].section].setting.meter.beats
    leads = [_lead(line, meter) for line in lines]
    grid = _grid(lines, leads, style, _Fits(paper, measures, style, metrics))
    indent = grid.indent
    built: list[Row] = []
    for line, lead in zip(grid.parts, leads, strict=True):
        joins = bool(built and not grid.across) and _joins(
            built[-1], line, lead, grid.tap, indent, style
        )
        for index, part in enumerate(line):
            last = index == len(line) - 1
            for fragments, cost in _fragments(part, grid.across):
                if cost == 0 and not last:
                    cost = MID_LINE
                if joins:
                    before = built.pop()
                    row = before._replace(fragments=(*before.fragments, *fragments), cost=cost)
                    joins = False
                else:
                    hangs = lead if index == 0 and indent else 0
                    row = Row(fragments, part[0].section, grid.tap, hangs, indent, cost)
                built.append(row)
    return built


class _Grid(NamedTuple):
    """Lines in parts, a row each; the width of a tap; the room for pick-ups, in taps.

    `across` is 0, or the most taps of a row where each bar, or piece of one, stands alone.
    """

    parts: list[list[list[Measure]]]
    tap: float
    indent: int
    across: int


def _grid(
    lines: Sequence[Sequence[Measure]],
    leads: Sequence[int],
    style: Style,
    fits: _Fits,
) -> _Grid:
    """As many bars a row as stay readable; a bar too long for a row is broken."""
    indent = max(leads)
    longest = max(measure.taps for line in lines for measure in line)
    most = max(len(line) - bool(lead) for line, lead in zip(lines, leads, strict=True))
    room = style.row / (longest * NARROWEST_TAP * style.h + style.bar_gap)
    per_row = max(1, min(math.floor(room), most))
    while True:
        parted = _parted(lines, leads, per_row)
        gaps = (parted.widest + bool(indent)) * style.bar_gap
        tap = (style.row - gaps) / max(1, parted.taps + indent)
        if per_row == 1 or fits.well(tap):
            fewer = _parted(lines, leads, max(1, min(per_row, parted.widest) - 1))
            if fewer.widest == parted.widest or fewer.rows > ROWS_MORE * parted.rows:
                break
        per_row = max(1, min(per_row, parted.widest) - 1)
    across = pieces = 0
    while per_row == 1 and pieces < longest and not fits.well(tap * BROKEN):
        pieces, indent = pieces + 1, 0
        across = math.ceil(longest / pieces)
        tap = (style.row - style.bar_gap) / across
    return _Grid(parted.parts, min(tap, fits.widest * style.h), indent, across)


class _Parted(NamedTuple):
    """Lines in even parts; the most bars and the most taps of a part, pick-ups apart."""

    parts: list[list[list[Measure]]]
    widest: int
    taps: int

    @property
    def rows(self) -> int:
        return sum(map(len, self.parts))


def _parted(lines: Sequence[Sequence[Measure]], leads: Sequence[int], per_row: int) -> _Parted:
    parts = [_even(line, lead, per_row) for line, lead in zip(lines, leads, strict=True)]
    bodies = [
        part[1:] if lead and index == 0 else part
        for line, lead in zip(parts, leads, strict=True)
        for index, part in enumerate(line)
    ]
    widest = max(len(body) for body in bodies)
    return _Parted(parts, widest, max(sum(m.taps for m in body) for body in bodies))


def _lines(measures: Iterable[Measure]) -> list[list[Measure]]:
    lines: list[list[Measure]] = []
    for measure in measures:
        if lines and (lines[-1][-1].line, lines[-1][-1].section) == (measure.line, measure.section):
            lines[-1].append(measure)
        else:
            lines.append([measure])
    return lines


def _lead(line: Sequence[Measure], meter: int | None) -> int:
    """The taps of a pick-up at the beginning of a line; 0 where there is none."""
    return line[0].taps if meter and len(line) > 1 and line[0].taps < meter else 0


def _even(line: Sequence[Measure], lead: int, per_row: int) -> list[list[Measure]]:
    """A line in parts of at most `per_row` bars, as even as can be; a pick-up is not counted."""
    head, body = (list(line[:1]), list(line[1:])) if lead else ([], list(line))
    count = math.ceil(len(body) / per_row)
    size, over = divmod(len(body), count)
    parts = []
    at = 0
    for index in range(count):
        length = size + (index < over)
        parts.append(body[at : at + length])
        at += length
    parts[0] = head + parts[0]
    return parts


def _joins(
    row: Row, line: Sequence[Sequence[Measure]], lead: int, tap: float, indent: int, style: Style
) -> bool:
    """Whether a whole short line fits behind a row of the same section."""
    if len(line) > 1 or lead or row.section != line[0][0].section:
        return False
    if row.end != line[0][0].first or line[0][0].opens or row.fragments[-1].measure.closes:
        return False
    if row.fragments[-1].measure.double or len(row.fragments) % len(line[0]):
        return False
    taps = sum(fragment.taps for fragment in row.fragments) + sum(m.taps for m in line[0])
    bars = len(row.fragments) + len(line[0])
    room = style.row - (bars + bool(indent)) * style.bar_gap
    return (taps + indent) * tap <= room + 0.01


def _fragments(part: Sequence[Measure], across: int) -> Iterable[tuple[tuple[Fragment, ...], int]]:
    """A row's bars; bars longer than `across` taps (if it is not 0) over several rows."""
    if not across:
        yield tuple(Fragment(m, m.first, m.taps) for m in part), 0
        return
    for measure in part:
        count = math.ceil(measure.taps / across)
        size, over = divmod(measure.taps, count)
        at = measure.first
        for index in range(count):
            taps = size + (index < over)
            last = index == count - 1
            yield (Fragment(measure, at, taps, index == 0, last),), 0 if last else MID_BAR
            at += taps


class _Fits:
    """Whether notes and words fit taps of some width."""

    def __init__(
        self, paper: Paper, measures: Sequence[Measure], style: Style, metrics: Metrics
    ) -> None:
        taps = {t for m in measures for t in range(m.first, m.first + m.taps)}
        self.h = style.h
        crowd = needs(paper, metrics, style.h)
        self.taps = [sum(part.width for part in crowd[tap]) for tap in taps]
        self.shares = sorted(len(crowd[tap]) for tap in taps)
        # Sung words as (width at ease in mm, room in taps).
        self.words: list[tuple[float, Fraction]] = []
        here = [s for s in paper.sounds if int(s.stretches[0][0]) in taps]
        for verse in range(paper.verses):
            sung = [
                (s.stretches[0][0], words[verse])
                for s in here
                if verse < len(words := paper.words.get(s.note.span, ())) and words[verse]
            ]
            self.words += [
                (metrics.width(word + " ") * style.lyric, after - at)
                for (at, word), (after, _) in pairwise(sung)
            ]

    def well(self, tap: float) -> bool:
        """Whether hardly anything has to be squeezed."""
        words = [float(room) * tap / wide for wide, room in self.words]
        return (
            sum(needed > tap for needed in self.taps) <= FEW * len(self.taps)
            and max(self.taps) <= tap * CROWDED
            and sum(ratio < LYRIC_AT_EASE for ratio in words) <= LYRIC_FEW * len(words)
        )

    @property
    def widest(self) -> float:
        """In heights of a hole number: a tap wider than that pulls its notes apart."""
        usual = self.shares[_most(self.shares)]
        notes = sorted(self.taps)[_most(self.taps)]
        words = sorted(wide / float(room) for wide, room in self.words)
        sung = words[_most(words)] if words else 0.0
        return max(WIDEST_TAP, WIDEST_SHARE * usual, 1.2 * notes / self.h, 1.1 * sung / self.h)


def _most(found: Sequence[object]) -> int:
    """The index under which nine in ten lie."""
    return len(found) * 9 // 10
