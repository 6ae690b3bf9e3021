"""Blocks to pages: the one module that gives everything on a sheet its final place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from tabtool.diagnostics import TabError
from tabtool.harp import Harp, Tone
from tabtool.header import Setting
from tabtool.sheet.drawing import Group, Metrics, Page, around, moved, words
from tabtool.sheet.engrave import Block, Second, Staves, engrave
from tabtool.sheet.harpmap import tune_map
from tabtool.sheet.heading import heading, pace, running_head, section_heading
from tabtool.sheet.legend import entries, legend, second_entries
from tabtool.sheet.paper import Paper, read
from tabtool.sheet.rows import Row, rows
from tabtool.sheet.spacing import needs
from tabtool.sheet.style import LARGE, Style
from tabtool.tune import Tune
from tabtool.written import Written

SPACE = 0.85  # between blocks, in heights of a hole number
STRETCH = 0.7  # how much more of it may be spent to fill a page
SECTION_COST, LINE_COST = 0, 2  # of a page turn between sections, between lines of one
EMPTY_COST, LONE_COST = 4, 3  # of an empty page before the last, of a row by itself
PAGE_COST = 1000  # both hands hold the harp: no page more than need be
FEW_PAGES = 4
SMALLER = (0.95, 0.9, 0.857)  # 6 mm at the least, 21 minutes of arc from a metre away
TINY = (0.75, 0.65, 0.57)  # only where a row would not fit a page else


class Options(NamedTuple):
    """What a sheet shows beyond the music."""

    paper: str = "A4"
    large: bool = False
    signs: bool = True  # the key to the signs at the foot of the first page
    harp_map: bool = False  # the harp with the notes the tune uses, after the music
    second: Second | None = None  # a smaller row below, for another harp
    staves: Staves | None = None  # the music on a staff over each row


def sheet(tune: Tune, written: Written, options: Options, metrics: Metrics) -> tuple[Page, ...]:
    """The pages of a tune.

    Should a row not fit a page (a great many verses), all is made smaller; `TabError` where
    that would be too small to read.
    """
    paper = read(tune, written)
    if not paper.sounds:
        raise TabError(f"{tune.file}: no notes to put on a sheet")
    repeats = any(m.opens or m.closes for m in paper.measures)
    style = Style(options.paper, LARGE if options.large else Style().h, repeats)
    pages = _pages(tune, paper, style, options, metrics)
    if pages is None or (1 < len(pages) <= FEW_PAGES and not options.large):
        # A page saved is worth slightly smaller numbers, unless there are many all the same.
        for factor in SMALLER if pages else (*SMALLER, *TINY):
            fewer = _pages(tune, paper, style._replace(h=style.h * factor), options, metrics)
            if fewer is not None and (pages is None or len(fewer) < len(pages)):
                pages = fewer
                if factor in TINY:
                    break
    if pages is None:
        raise TabError(f"{tune.file}: too many verses under one row to fit a page")
    return pages


def _pages(
    tune: Tune, paper: Paper, style: Style, options: Options, metrics: Metrics
) -> tuple[Page, ...] | None:
    first = paper.sections[0].setting
    if options.staves is not None:
        style = style._replace(indent=options.staves.indent(style.h))
    placed = rows(paper, style, metrics)
    blocks, settings = _blocks(tune, paper, placed, style, metrics, options)
    foot = Block((), 0.0)
    if options.signs:
        held = any(end > int(start) + 1 for s in paper.sounds for start, end in s.stretches)
        listed = entries([s.note.figure for s in paper.sounds], bool(paper.rests), held)
        if options.second is not None:
            listed += second_entries(options.second)
        foot = legend(listed, style, metrics)
    head = heading(tune, first, style, metrics)
    later = running_head(tune, first, 1, 1, style, metrics).height
    whole = style.height - style.margin - style.bottom
    rooms = whole - head.height - foot.height - SPACE * style.h, whole - later
    turns = _turns(blocks, rooms, SPACE * style.h)
    if turns is None:
        return None
    pages = []
    for number, (start, end) in enumerate(turns, start=1):
        top = (
            head
            if number == 1
            else running_head(tune, settings[start], number, len(turns), style, metrics)
        )
        groups = [moved(group, 0, style.margin) for group in top.groups]
        here = blocks[start:end]
        room = rooms[0] if number == 1 else rooms[1]
        last = number == len(turns)
        groups += _stacked(here, style.margin + top.height, room, last, style)
        if number == 1:
            y = style.height - style.bottom - foot.height
            groups += [moved(group, 0, y) for group in foot.groups]
            if len(turns) > 1:
                said = f"1 / {len(turns)}"
                right, base = style.width - style.margin, style.height - 0.5 * style.bottom
                text = words(metrics, said, right, base, style.small, anchor=1.0)
                groups.append(Group("head", "", (text,), around((text,))))
        pages.append(Page(style.width, style.height, tuple(groups)))
    return tuple(pages)


def _blocks(
    tune: Tune,
    paper: Paper,
    placed: Sequence[Row],
    style: Style,
    metrics: Metrics,
    options: Options,
) -> tuple[list[Block], list[Setting]]:
    """Section headings and rows in order, and the setting in force at each."""
    blocks: list[Block] = []
    settings: list[Setting] = []
    section = -1
    before: Setting | None = None
    crowd = needs(paper, metrics, style.h)
    parts = paper.between([(row.first, row.end) for row in placed])
    for row, part in zip(placed, parts, strict=True):
        now = paper.sections[row.section]
        if row.section != section:
            changed = before is not None and (
                pace(now.setting, before) or now.setting.harp != before.harp
            )
            if now.name or changed:
                if blocks:
                    blocks[-1] = blocks[-1]._replace(cost=SECTION_COST)
                blocks.append(section_heading(now.name, now.setting, before, style, metrics))
                settings.append(now.setting)
            section, before = row.section, now.setting
        block = engrave(part, row, crowd, style, metrics, options.second, options.staves)
        blocks.append(block._replace(cost=LINE_COST + block.cost))
        settings.append(now.setting)
    if options.harp_map:
        for setting, used in _used(paper):
            assert setting.harp is not None
            blocks.append(tune_map(setting.harp, setting.key, used, style, metrics))
            settings.append(setting)
    return blocks, settings


def _used(paper: Paper) -> list[tuple[Setting, frozenset[Tone]]]:
    """The harps of a tune in order, each with the tones it plays on it."""
    found: dict[Harp, tuple[Setting, set[Tone]]] = {}
    for measure in paper.measures:
        setting = paper.sections[measure.section].setting
        if setting.harp is None:
            continue
        _, tones = found.setdefault(setting.harp, (setting, set()))
        for sound in paper.sounds:
            if measure.first <= sound.stretches[0][0] < measure.first + measure.taps:
                for figure in (sound.note.figure, *sound.note.figure.grace):
                    tones.update(figure.all_tones)
    return [(setting, frozenset(tones)) for setting, tones in found.values() if tones]


def _turns(
    blocks: Sequence[Block], rooms: tuple[float, float], space: float
) -> list[tuple[int, int]] | None:
    """Which blocks go on which page: the fewest pages, turned where it disturbs least."""
    best: list[tuple[float, int]] = [(0.0, 0)]  # the cost up to each block, and the turn before
    for end in range(1, len(blocks) + 1):
        found = (math.inf, 0)
        height = -space
        for start in range(end - 1, -1, -1):
            height += blocks[start].height + space
            if height > (rooms[0] if start == 0 else rooms[1]) + 1e-6:
                break
            cost = best[start][0] + PAGE_COST
            if end < len(blocks):
                cost += math.inf if blocks[end - 1].keep else blocks[end - 1].cost
                empty = 1 - height / (rooms[0] if start == 0 else rooms[1])
                cost += EMPTY_COST * empty**2
            cost += LONE_COST if end - start == 1 and len(blocks) > 1 else 0
            found = min(found, (cost, start))
        best.append(found)
    if best[-1][0] == math.inf:
        return None
    turns: list[tuple[int, int]] = []
    end = len(blocks)
    while end:
        start = best[end][1]
        turns.insert(0, (start, end))
        end = start
    return turns


def _stacked(
    blocks: Sequence[Block], top: float, room: float, last: bool, style: Style
) -> list[Group]:
    """Blocks below each other; the page is filled by more space, the last one only nearly."""
    space = SPACE * style.h
    used = sum(block.height for block in blocks) + space * (len(blocks) - 1)
    gaps = sum(not block.keep for block in blocks[:-1])
    if gaps:
        more = min((room - used) / gaps, STRETCH * style.h)
        space_more = more if not last or used > 0.6 * room else min(more, 0.25 * style.h)
    else:
        space_more = 0.0
    groups: list[Group] = []
    y = top
    for block in blocks:
        groups += [moved(group, 0, y) for group in block.groups]
        y += block.height + (0.35 * space if block.keep else space + space_more)
    return groups
