"""Maps of a harp: what each hole gives, drawn with the same plates as the tunes.

Holes run from left to right; over the lip line what is blown, its bends and overblows
further out, below it what is drawn.
"""

from __future__ import annotations

import re

from tabtool.harp import Breath, Harp, Technique, Tone, Way
from tabtool.header import Setting
from tabtool.music import Key
from tabtool.sheet.drawing import (
    CAP,
    WHITE,
    Group,
    Metrics,
    Page,
    Path,
    Text,
    around,
    bar,
    line,
    moved,
    words,
)
from tabtool.sheet.engrave import Block, pretty
from tabtool.sheet.heading import harp_words
from tabtool.sheet.legend import entries, legend
from tabtool.sheet.plate import above, below, cell
from tabtool.sheet.style import Style
from tabtool.tune import Figure

UNUSED = 0.5  # grey of the names of notes that a tune does not use


def tune_map(
    harp: Harp, key: Key | None, used: frozenset[Tone], style: Style, metrics: Metrics
) -> Block:
    """A small map with the notes a tune uses as plates, the rest of the reeds as faint names."""
    h = style.h
    size = 0.62 * h
    title = words(
        metrics, f"what it uses of the {pretty(harp.key)} harp", style.margin, CAP * size, size,
        bold=True,
    )  # fmt: skip
    width = min(style.usable, harp.holes * 2.2 * h)
    drawn, height = _map(harp, key, used, style.margin, width, 0.62 * h, metrics, octaves=False)
    top = CAP * size + 0.5 * h
    group = Group("section", "", (title,), around((title,)))
    return Block((group, *(moved(g, 0, top) for g in drawn)), top + height)


def harp_page(harp: Harp, style: Style, metrics: Metrics) -> Page:
    """A page with every note of a harp: natural, bent, overblown and overdrawn."""
    h = style.h
    name, tuning = harp_words(Setting(harp=harp))
    size = 1.6 * h
    y = style.margin + CAP * size
    title = words(metrics, f"{name} harp", style.margin, y, size, bold=True, room=style.usable)
    groups = [Group("title", "", (title,), around((title,)))]
    if tuning:
        y += 1.2 * h
        text = words(metrics, tuning, style.margin, y, 0.8 * h, room=style.usable)
        groups.append(Group("subtitle", "", (text,), around((text,))))
    y += 1.5 * h
    unit = min(h, 0.9 * style.usable / harp.holes / 2)
    drawn, _ = _map(harp, None, None, style.margin, style.usable, unit, metrics, octaves=True)
    groups += [moved(group, 0, y) for group in drawn]
    figures = [Figure((way.tone,)) for way in harp.ways]
    foot = legend(entries(figures, rests=False, held=False), style, metrics)
    bottom = style.height - style.bottom - foot.height
    groups += [moved(group, 0, bottom) for group in foot.groups]
    return Page(style.width, style.height, tuple(groups))


def _rows(harp: Harp, used: frozenset[Tone] | None, breath: Breath) -> list[dict[int, Way]]:
    """The rows of one breath from the lip line outwards, by hole: the reeds, then what is used."""
    ways = list(harp.ways)
    if used is not None:  # a bend to a quarter tone is no way of its own on the harp
        natural = [w for w in ways if w.tone.technique is Technique.NATURAL and not w.tone.slide]
        pitches = ((tone, harp.intended(tone)) for tone in sorted(used, key=str))
        ways = natural + [Way(t, pitch) for t, pitch in pitches if pitch is not None]
    rows: dict[tuple[bool, bool, float], dict[int, Way]] = {}
    for way in ways:
        tone = way.tone
        if tone.breath is breath:
            rows.setdefault((tone.overbent, tone.slide, tone.depth), {})[tone.hole] = way
    return [rows[place] for place in sorted(rows, key=_outwards)]


def _outwards(place: tuple[bool, bool, float]) -> tuple[bool, bool, float, bool]:
    """Reeds, reeds with the slide in, bends, overbends."""
    overbent, slide, depth = place
    return overbent, depth > 0, depth, slide


def _map(
    harp: Harp,
    key: Key | None,
    used: frozenset[Tone] | None,
    left: float,
    width: float,
    h: float,
    metrics: Metrics,
    *,
    octaves: bool,
) -> tuple[list[Group], float]:
    """The map itself, its top at y = 0, and its height; `h` is the height of its capitals."""
    column = width / harp.holes
    plate = 1.7 * h
    groups: list[Group] = []

    def put(way: Way, top: float) -> None:
        name = harp.named(way.pitch, key)
        label = pretty(name if octaves else re.sub(r"\d+(?=\+|$)", "", name))
        x = left + (way.tone.hole - 1) * column
        if used is not None and way.tone not in used:
            items: list[Text | Path] = [
                words(
                    metrics, label, x + column / 2, top + plate / 2 + h / 2, h / CAP, ink=UNUSED,
                    anchor=0.5, room=0.84 * column,
                )
            ]  # fmt: skip
        else:
            items = cell(metrics, way.tone, label, 0.9 * column, 0, plate, h, h)
            items = list(
                moved(Group("", "", tuple(items), around(items)), x + 0.05 * column, top).items
            )
        groups.append(Group("map", f"{way.tone}: {name}", tuple(items), around(items)))

    gap = 0.3 * h
    blown, drawn = (_rows(harp, used, breath) for breath in (Breath.BLOW, Breath.DRAW))
    y = 0.0
    for row in reversed(blown):
        y += max(above(way.tone, h) for way in row.values())
        for way in row.values():
            put(way, y)
        y += plate + max(below(way.tone, h) for way in row.values()) + gap
    top = y
    y += 1.9 * h
    strip = bar(left, top, left + width, y)
    items: list[Text | Path] = [strip]
    for hole in range(1, harp.holes + 1):
        x = left + (hole - 0.5) * column
        items.append(
            words(
                metrics, str(hole), x, top + 0.95 * h + 0.6 * h, 1.2 * h / CAP, bold=True,
                ink=WHITE, anchor=0.5, room=0.8 * column,
            )
        )  # fmt: skip
        if hole > 1:
            edge = left + (hole - 1) * column
            items.append(line(edge, top, edge, y, 0.06 * h, WHITE))
    groups.append(Group("map", "holes", tuple(items), around((strip,))))
    y += gap
    for row in drawn:
        y += max(above(way.tone, h) for way in row.values())
        for way in row.values():
            put(way, y)
        y += plate + max(below(way.tone, h) for way in row.values()) + gap
    return groups, y
