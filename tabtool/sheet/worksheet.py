"""Worksheets on paper: tab drawn as plates, lines to write on, and the answers filled in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from tabtool.drills import Question, Worksheet
from tabtool.harp import Harp, Tone
from tabtool.header import Setting
from tabtool.sheet.drawing import (
    CAP,
    Group,
    Metrics,
    Page,
    Path,
    Text,
    around,
    line,
    moved,
    shift,
    words,
)
from tabtool.sheet.engrave import LIP, Block, pretty
from tabtool.sheet.heading import harp_words, wrapped
from tabtool.sheet.plate import Held, natural_width, note
from tabtool.sheet.style import Style
from tabtool.tune import Figure

TAB_ASKED = "How is it played, and where are its octaves?"
NOTE_ASKED = "Which note is it, and where else does it sound?"
LINE = 1.75  # between lines of plates, in heights of a hole number
FAR = "Behind each place stands how many octaves away it is."
FAR_ASKED = "Write behind each place how many octaves away it is."
TOGETHER = 3  # rows that stand with what is asked of them


class _Sheet(NamedTuple):
    style: Style
    metrics: Metrics
    harp: Harp
    answers: bool


def worksheet_pages(
    sheet: Worksheet, style: Style, metrics: Metrics, *, answers: bool = False
) -> tuple[Page, ...]:
    """A worksheet with lines to write on, or with its answers."""
    on = _Sheet(style, metrics, sheet.harp, answers)
    blocks: list[Block] = []
    for named, asked in ((False, NOTE_ASKED), (True, TAB_ASKED)):
        questions = [question for question in sheet.questions if question.named is named]
        if questions:
            blocks.append(_asked(on, asked))
            blocks += [_row(on, q, number) for number, q in enumerate(questions, start=1)]
    pages: list[list[Group]] = []
    y = room = 0.0
    for index, block in enumerate(blocks):
        below = blocks[index + 1 : index + 1 + TOGETHER] if block.keep else []
        ahead = block.height + sum(one.height for one in below)
        if not pages or y + ahead > room:
            head = _head(on, sheet.seed, len(pages) + 1)
            pages.append([moved(group, 0, style.margin) for group in head.groups])
            y, room = style.margin + head.height, style.height - style.bottom
        pages[-1] += [moved(group, 0, y) for group in block.groups]
        y += block.height
    return tuple(Page(style.width, style.height, tuple(groups)) for groups in pages)


def _head(on: _Sheet, seed: int, page: int) -> Block:
    h, x = on.style.h, on.style.margin
    size, small = 1.2 * h, 0.62 * h
    key, tuning = harp_words(Setting(harp=on.harp))
    y = CAP * size
    title = words(on.metrics, f"{key} harp", x, y, size, bold=True, room=0.6 * on.style.usable)
    said = f"worksheet {seed}{', answers' if on.answers else ''}, page {page}"
    right = words(on.metrics, said, on.style.width - x, y, small, anchor=1.0)
    groups = [Group("title", "", (title,), around((title,)))]
    groups.append(Group("head", "", (right,), around((right,))))
    if tuning:
        y += 0.95 * h
        text = words(on.metrics, tuning, x, y, small)
        groups.append(Group("subtitle", "", (text,), around((text,))))
    return Block(tuple(groups), y + 0.9 * h)


def _asked(on: _Sheet, asked: str) -> Block:
    """What is asked of the rows below."""
    size, y = 0.66 * on.style.h, 0.7 * on.style.h
    groups: list[Group] = []
    for bold, text in ((True, asked), (False, FAR if on.answers else FAR_ASKED)):
        for part in wrapped(on.metrics, text, size, on.style.usable, bold=bold):
            y += CAP * size
            shown = words(on.metrics, part, on.style.margin, y, size, bold=bold)
            groups.append(Group("section", "", (shown,), around((shown,))))
            y += 0.4 * size
    return Block(tuple(groups), y + 0.3 * on.style.h, keep=True)


def _row(on: _Sheet, question: Question, number: int) -> Block:
    """One question: number, what is given, and two lines to write on, or what belongs there."""
    h, x = on.style.h, on.style.margin
    usable = on.style.usable
    columns = x + 0.08 * usable, x + 0.22 * usable, x + 0.42 * usable
    name = pretty(on.harp.named(question.way.pitch))
    here = [question.way.tone, *(tone for tone, octaves in question.elsewhere if not octaves)]
    far = [(tone, octaves) for tone, octaves in question.elsewhere if octaves or not question.named]
    cells: list[tuple[Text | Path, ...]] = []
    count = words(on.metrics, f"{number}.", x, CAP * 0.3 * h, 0.6 * h)
    cells.append((count,))
    tabs = _tabs(on, [(tone, 0) for tone in here], columns[1], columns[2] - 0.4 * h)
    if question.named:
        cells.append(_written(on, name, columns[0]))
        cells.append(tabs if on.answers else _blank(columns[1], columns[2] - 0.6 * h, h))
    else:
        one = [(question.way.tone, 0)]
        cells.append(_tabs(on, one, columns[0], columns[1] - 0.3 * h))
        cells.append(
            _written(on, name, columns[1])
            if on.answers
            else _blank(columns[1], columns[2] - 0.6 * h, h)
        )
    right = on.style.width - on.style.margin
    if not on.answers:
        cells.append(_blank(columns[2], right, h))
    elif far:
        cells.append(_tabs(on, far, columns[2], right))
    else:
        cells.append(_written(on, "nowhere else", columns[2], bold=False))
    boxes = [around(items) for items in cells]
    height = max(2.15 * h, 0.5 * h + 2 * max(max(-box.top, box.bottom) for box in boxes))
    groups = []
    for items in cells:
        placed = shift(items, 0, height / 2)
        groups.append(Group("question", "", placed, around(placed)))
    return Block(tuple(groups), height)


def _written(on: _Sheet, text: str, x: float, bold: bool = True) -> tuple[Text | Path, ...]:
    size = (0.9 if bold else 0.66) * on.style.h
    return (words(on.metrics, text, x, CAP * size / 2, size, bold=bold),)


def _blank(left: float, right: float, h: float) -> tuple[Text | Path, ...]:
    return (line(left, 0.5 * h, right, 0.5 * h, 0.06 * h),)


def _tabs(
    on: _Sheet, tones: Sequence[tuple[Tone, int]], left: float, right: float
) -> tuple[Text | Path, ...]:
    """Plates with their lip lines, and behind each how many octaves away it sounds.

    As many lines as need be, y = 0 being the middle of them all.
    """
    h, size = 0.66 * on.style.h, 0.62 * on.style.h
    lines: list[list[Text | Path]] = [[]]
    x = left
    for tone, octaves in tones:
        figure = Figure((tone,))
        width = natural_width(on.metrics, figure, h)
        drawn = (line(0, 0, width, 0, LIP * h), *note(on.metrics, figure, Held(width), h).items)
        box = around(drawn)
        far = words(on.metrics, f"{octaves:+d}" if octaves else "", 0, CAP * size / 2, size)
        if lines[-1] and x + width + 0.15 * h + far.width > right:
            lines.append([])
            x = left
        lines[-1] += shift(drawn, x, -(box.top + box.bottom) / 2)
        x += width + 0.15 * h
        if octaves:
            lines[-1].append(far._replace(x=x))
        x += far.width + 0.6 * h
    middle = (len(lines) - 1) / 2
    return tuple(
        item
        for index, some in enumerate(lines)
        for item in shift(some, 0, (index - middle) * LINE * on.style.h)
    )
