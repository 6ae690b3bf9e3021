"""One row of bars: its notes over the lip line, the ruler, words, chord symbols, endings.

A row is laid out with its top at y = 0; `layout` moves it to its place on a page.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple, Protocol

from tabtool.diagnostics import Span
from tabtool.sheet.drawing import (
    CAP,
    DESCENT,
    FAINT,
    Box,
    Group,
    Metrics,
    Path,
    Text,
    around,
    bar,
    dot,
    line,
    moved,
    words,
)
from tabtool.sheet.paper import Measure, Paper
from tabtool.sheet.places import Places
from tabtool.sheet.plate import APART, GAP, PLATE, Held, natural_width, note
from tabtool.sheet.rows import Row
from tabtool.sheet.spacing import Need
from tabtool.sheet.spread import Wanted, spread
from tabtool.sheet.style import Style
from tabtool.tune import Figure

LIP = 0.1  # thickness of the lip line, in heights of a hole number like all below
BARLINE, THICK = 0.07, 0.18
SECOND = 0.66  # size of the row for a second harp
STAFF_GAP = 0.35  # between the staff and what it is over
RULER = 0.5  # room for the ruler under a row
BRACKET = 0.85  # room for the brackets of endings over a row


class Block(NamedTuple):
    """Something that stands on a page as a whole, its top at y = 0.

    `cost` says how bad a page turn after it is, from 0; `keep` binds it to the next block.
    """

    groups: tuple[Group, ...]
    height: float
    cost: int = 0
    keep: bool = False


class Second(NamedTuple):
    """What to play on a second harp: its key, and a figure for each note by its place.

    None stands for a note that harp does not have.
    """

    name: str
    figures: Mapping[Span, Figure | None]


class Staves(Protocol):
    """Something that draws the staff over a row; see `notation`."""

    def indent(self, h: float) -> float:
        """The room it takes before each row, in mm."""
        ...

    def draw(self, row: Row, places: Places, style: Style) -> tuple[tuple[Path, ...], Box]:
        """What stands over the row, at any height, and the box it takes."""
        ...


def engrave(
    paper: Paper,
    row: Row,
    crowd: Sequence[tuple[Need, ...]],
    style: Style,
    metrics: Metrics,
    second: Second | None = None,
    staves: Staves | None = None,
) -> Block:
    """A whole row; `crowd` says what each tap of the tune needs."""
    h = style.h
    places = Places(row, crowd, style)
    notes = _notes(paper, row, places, h, metrics)
    up = max([(GAP + PLATE) * h, *(-group.box.top for group in notes)])
    down = max([(GAP + PLATE) * h, *(group.box.bottom for group in notes)])
    brackets = _brackets(paper, row, places, style, metrics)
    symbols = _symbols(paper, row, places, style, metrics)
    groups: list[Group] = []
    y = 0.0
    if brackets:
        groups += brackets
        y += BRACKET * h
    for texts in reversed(symbols):  # crowded ones go up, the first stays at the notes
        y += CAP * style.symbol
        groups += [_named("symbol", _moved(text, y)) for text in texts]
        y += 0.32 * h
    if staves is not None:
        drawn, box = staves.draw(row, places, style)
        groups.append(moved(Group("staff", "", drawn, box), 0, y - box.top))
        y += box.bottom - box.top + STAFF_GAP * h
    lip = y + up
    floor = lip + down
    groups.append(_frame(paper, row, places, lip, (lip - up, floor + RULER * h), style))
    groups += _rests(paper, row, places, lip, h)
    groups += [moved(group, 0, lip) for group in notes]
    if row.fragments[0].starts:
        number = words(
            metrics, str(row.fragments[0].measure.number), places.left - 0.2 * h,
            lip + CAP * style.small / 2, style.small, anchor=1.0,
        )  # fmt: skip
        groups.append(_named("number", number))
    y = floor + RULER * h
    if second is not None:
        under, room = _second(paper, row, places, style, metrics, second)
        groups += [moved(group, 0, y) for group in under]
        y += room
    for verse in range(paper.verses):
        lines, said = _words(paper, row, places, verse, style, metrics)
        for index, texts in enumerate(lines):
            y += (CAP + 0.42) * style.lyric
            groups += [_named("lyric", _moved(text, y)) for text in texts]
            if index == 0 and said and paper.verses > 1:
                label = words(
                    metrics, f"{verse + 1}.", places.left - 0.2 * h, y, style.small, anchor=1.0
                )
                groups.append(_named("number", label))
    y += DESCENT * style.lyric if paper.verses else 0.0
    return Block(tuple(groups), y, row.cost)


def _moved(text: Text, dy: float) -> Text:
    return text._replace(y=text.y + dy)


def _named(role: str, text: Text) -> Group:
    return Group(role, "", (text,), around((text,)))


def _notes(
    paper: Paper,
    row: Row,
    places: Places,
    h: float,
    metrics: Metrics,
    figures: Mapping[Span, Figure | None] | None = None,
) -> list[Group]:
    """The notes of the row on a lip line at y = 0, or `figures` in their stead."""
    groups = []
    for sound in paper.sounds:
        figure = sound.note.figure if figures is None else figures.get(sound.note.span)
        for index, (start, end) in enumerate(sound.stretches):
            first, last = max(start, Fraction(row.first)), min(end, Fraction(row.end))
            if first >= last:
                continue
            x = places.x(first)
            starts = index == 0 and first == start
            if figure is None:
                if starts:
                    cross = words(metrics, "×", x + 0.1 * h, CAP * h / 2, 1.4 * h, bold=True)
                    groups.append(Group("note", "not on this harp", (cross,), around((cross,))))
                continue
            beats = tuple(
                places.taps[tap] - x
                for tap in range(int(first) + 1, -(-last.numerator // last.denominator))
            )
            held = Held(places.end(last) - x, beats, starts, last == end)
            groups.append(moved(note(metrics, figure, held, h), x, 0))
    return groups


def _second(
    paper: Paper, row: Row, places: Places, style: Style, metrics: Metrics, second: Second
) -> tuple[list[Group], float]:
    """The same music for another harp, smaller, on a lip line of its own; the room it takes."""
    h = SECOND * style.h
    notes = _notes(paper, row, places, h, metrics, second.figures)
    up = max([(GAP + PLATE) * h, *(-group.box.top for group in notes)])
    down = max([(GAP + PLATE) * h, *(group.box.bottom for group in notes)])
    lip = 0.2 * style.h + up
    stroke = line(places.left, lip, places.right, lip, LIP * h)
    name = words(
        metrics, second.name, places.left - 0.2 * style.h, lip + CAP * style.small / 2,
        style.small, bold=True, anchor=1.0, room=places.left - 0.2 * style.h - 3.0,
    )  # fmt: skip
    groups = [moved(group._replace(role="second"), 0, lip) for group in notes]
    return [
        Group("line", "", (stroke,), around((stroke,))),
        _named("number", name),
        *groups,
    ], lip + down + 0.1 * style.h


def _rests(paper: Paper, row: Row, places: Places, lip: float, h: float) -> Iterable[Group]:
    """Two short strokes through the lip line for each rest: nothing goes through the lips."""
    for start, end in paper.rests:
        if row.first <= start < row.end:
            width = places.end(end) - places.x(start)
            middle = places.x(start) + min(width / 2, 0.75 * h)
            strokes = tuple(
                bar(
                    middle + side * 0.17 * h - 0.08 * h, lip - 0.34 * h,
                    middle + side * 0.17 * h + 0.08 * h, lip + 0.34 * h,
                )
                for side in (-1, 1)
            )  # fmt: skip
            yield Group("rest", "rest", strokes, around(strokes))


def _frame(
    paper: Paper,
    row: Row,
    places: Places,
    lip: float,
    lane: tuple[float, float],
    style: Style,
) -> Group:
    """The lip line, the bar lines, and the ruler with the taps of the foot."""
    h, (top, bottom) = style.h, lane
    items: list[Path] = []
    base = bottom - 0.06 * h
    for tap, x in places.taps.items():
        items.append(line(x, top, x, bottom - RULER * h, 0.035 * h, FAINT))
        for share in paper.divisions[tap]:
            at = places.x(share)
            length = 0.36 if share == tap else 0.16
            items.append(line(at, base - length * h, at, base, 0.07 * h))
    for left, right in places.bars:
        gap = style.bar_gap / 2
        items.append(line(left + gap, base, right - gap, base, 0.045 * h))
    items.append(line(places.left, lip, places.right, lip, LIP * h))
    for fragment, (left, right) in zip(row.fragments, places.bars, strict=True):
        measure = fragment.measure
        if fragment.starts:
            first = fragment is row.fragments[0]
            if measure.opens:
                items += _repeat(left, lip, (top, bottom), 1, h)
            elif first and not row.lead:
                items.append(line(left, top, left, bottom, BARLINE * h))
        if fragment.ends:
            following = _following(paper, measure)
            if measure.closes:
                items += _repeat(right, lip, (top, bottom), -1, h)
            elif measure.final or (measure.number == paper.measures[-1].number):
                items.append(bar(right - THICK * h, top, right, bottom))
                thin = right - (THICK + 0.16) * h
                items.append(line(thin, top, thin, bottom, BARLINE * h))
            elif measure.double:
                for x in (right - 0.16 * h, right):
                    items.append(line(x, top, x, bottom, BARLINE * h))
            elif not (following and following.opens and following.first < row.end):
                items.append(line(right, top, right, bottom, BARLINE * h))
    return Group("line", "", tuple(items), Box(places.left, top, places.right, bottom))


def _following(paper: Paper, measure: Measure) -> Measure | None:
    index = measure.number - paper.measures[0].number + 1
    return paper.measures[index] if index < len(paper.measures) else None


def _repeat(x: float, lip: float, lane: tuple[float, float], side: int, h: float) -> list[Path]:
    """A repeat sign at `x`, its dots to the right (`side` 1) or left (-1), where it repeats."""
    top, bottom = lane
    ends = sorted((x, x + side * THICK * h))
    thin = x + side * (THICK + 0.11) * h
    at = x + side * (THICK + 0.29) * h
    return [
        bar(ends[0], top, ends[1], bottom),
        line(thin, top, thin, bottom, BARLINE * h),
        *(dot(at, lip + up * 0.62 * h, 0.13 * h) for up in (-1, 1)),
    ]


def _brackets(
    paper: Paper, row: Row, places: Places, style: Style, metrics: Metrics
) -> list[Group]:
    h = style.h
    groups = []
    for ending in paper.endings:
        here = [
            (fragment, bars)
            for fragment, bars in zip(row.fragments, places.bars, strict=True)
            if ending.first <= fragment.measure.number - paper.measures[0].number <= ending.last
        ]
        if not here:
            continue
        left, right = here[0][1][0] + 0.12 * h, here[-1][1][1] - 0.12 * h
        begins = here[0][0].starts and here[0][0].measure.ending == ending.number
        last = here[-1][0].measure.number - paper.measures[0].number == ending.last
        over = last and here[-1][0].ends and ending.closed
        items: list[Text | Path] = [line(left, 0.05 * h, right, 0.05 * h, 0.09 * h)]
        if begins:
            items.append(line(left, 0, left, 0.72 * h, 0.09 * h))
            items.append(
                words(metrics, f"{ending.number}.", left + 0.22 * h, 0.7 * h, 0.72 * h, bold=True)
            )
        if over:
            items.append(line(right, 0, right, 0.72 * h, 0.09 * h))
        groups.append(Group("ending", f"ending {ending.number}", tuple(items), around(items)))
    return groups


def _symbols(
    paper: Paper, row: Row, places: Places, style: Style, metrics: Metrics
) -> tuple[tuple[Text, ...], ...]:
    wanted = [
        Wanted(places.x(at), pretty(text), 0.0)
        for at, text in paper.symbols
        if row.first <= at < row.end
    ]
    right = style.width - style.margin
    return spread(
        metrics, wanted, style.symbol, places.left, right, bold=True, strays=0.5 * style.h
    )


def _words(
    paper: Paper, row: Row, places: Places, verse: int, style: Style, metrics: Metrics
) -> tuple[tuple[tuple[Text, ...], ...], bool]:
    """The lines of one verse under a row, and whether anything is sung there."""
    wanted = []
    for sound in paper.sounds:
        start, end = sound.stretches[0]
        sung = paper.words.get(sound.note.span, ())
        if row.first <= start < row.end and verse < len(sung) and sung[verse]:
            plate = natural_width(metrics, sound.note.figure, style.h)
            room = places.end(min(end, Fraction(row.end))) - places.x(start)
            middle = places.x(start) + (min(plate, room) - APART * style.h) / 2
            wanted.append(Wanted(middle, sung[verse]))
    right = style.width - style.margin
    lines = spread(metrics, wanted, style.lyric, places.left, right, strays=0.9 * style.h)
    return lines or ((),), bool(wanted)


def pretty(symbol: str) -> str:
    """A chord symbol or key with real accidentals: ``Bb7`` is B♭7, ``F#m/C#`` F♯m/C♯."""
    signs = {"b": "♭", "#": "♯"}
    return re.sub(r"(?<![A-Za-z])([A-G])([b#])", lambda found: found[1] + signs[found[2]], symbol)
