"""The key to the signs: what each one on this sheet means, and only those that are on it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from tabtool.harp import Breath, Technique, Tone
from tabtool.sheet.drawing import (
    CAP,
    Group,
    Metrics,
    Path,
    Text,
    around,
    bar,
    line,
    moved,
    shift,
    words,
)
from tabtool.sheet.engrave import LIP, Block, Second
from tabtool.sheet.plate import Held, natural_width, note
from tabtool.sheet.style import Style
from tabtool.tune import PLAIN, Figure, Marks

SCALE = 0.5  # size of the samples


class Entry(NamedTuple):
    """A sample and its meaning. `width` is in heights of a hole number, None for its own.

    Without a figure the sample is `text`, or, where that is empty, the sign for a rest.
    """

    figure: Figure | None
    meaning: str
    width: float | None = None
    beats: int = 0
    text: str = ""


def entries(figures: Iterable[Figure], rests: bool, held: bool) -> list[Entry]:
    """The signs in use, from the commonest to the rarest, each once."""
    found: dict[str, Entry] = {}

    def add(
        meaning: str, figure: Figure | None, width: float | None = None, beats: int = 0
    ) -> None:
        found.setdefault(meaning, Entry(figure, meaning, width, beats))

    seen = [*figures, *(grace for figure in figures for grace in figure.grace)]
    tones = [tone for figure in seen for tone in figure.all_tones]
    marks = [figure.marks for figure in seen]
    for breath, meaning in ((Breath.BLOW, "blow"), (Breath.DRAW, "draw")):
        plain = next((t for t in tones if t.breath is breath), None)
        if plain:
            add(meaning, Figure((Tone(plain.hole, breath),)))
    sample = next((t for t in tones if t.breath is Breath.DRAW), tones[0] if tones else None)
    if sample is None:
        return []
    plain_sample = Figure((Tone(sample.hole, sample.breath),))
    if held:
        add("held, a notch at each tap", plain_sample, 4.6, 1)
    if rests:
        add("rest", None, 1.0)
    bent = [t for t in tones if t.technique is Technique.BEND]
    whole = next((t for t in bent if t.depth >= 1), None)
    if whole:
        add(
            "a tooth: bent a semitone",
            Figure((whole._replace(depth=int(whole.depth), slide=False),)),
        )
    half = next((t for t in bent if t.depth % 1), None)
    if half:
        add("half a tooth: a quarter tone", Figure((half._replace(slide=False),)))
    for technique in (Technique.OVERBLOW, Technique.OVERDRAW):
        over = next((t for t in tones if t.technique is technique), None)
        if over:
            add(str(technique), Figure((over._replace(depth=0),)))
    raised = next((t for t in tones if t.overbent and t.depth), None)
    if raised:
        add("raised: a chevron a semitone", Figure((raised,)))
    slid = next((t for t in tones if t.slide), None)
    if slid:
        add("slide in", Figure((Tone(slid.hole, slid.breath, slide=True),)))
    together = next((f for f in seen if len(f.tones) > 1), None)
    if together:
        add("together", Figure(together.tones))
    shaken = next((f for f in seen if f.shake), None)
    if shaken:
        add("shake between the two", Figure(shaken.tones, shake=shaken.shake))
    graced = next((f for f in seen if f.grace), None)
    if graced:
        add("small: quickly before", Figure(graced.tones, grace=graced.grace[:1]))
    for mark, meaning in (
        (Marks(scoop=1), "scoop up"),
        (Marks(fall=1), "fall away"),
        (Marks(dip=1), "dip"),
        (Marks(vibrato=True), "vibrato"),
        (Marks(accent=True), "accent"),
        (Marks(staccato=True), "short"),
        (Marks(wah=True), "hands: wah"),
    ):
        if any(used and shown for its in marks for used, shown in zip(its, mark, strict=True)):
            add(meaning, plain_sample._replace(marks=mark))
    for name, word in (("scoop", "scoops"), ("fall", "falls"), ("dip", "dips")):
        deep = [getattr(mark, name) for mark in marks if getattr(mark, name) > 1]
        if deep:
            sample_mark = PLAIN._replace(**{name: min(deep)})
            add(f"{word}: a stroke a semitone", plain_sample._replace(marks=sample_mark))
    return list(found.values())


def second_entries(second: Second) -> list[Entry]:
    """What the row for a second harp means."""
    found = [Entry(None, "the same on that harp", text=second.name)]
    if None in second.figures.values():
        found.append(Entry(None, "not on that harp", text="×"))
    return found


def legend(listed: Sequence[Entry], style: Style, metrics: Metrics) -> Block:
    """The entries in lines, each a small sample with its meaning behind it."""
    h, size = style.small * 1.25, style.small
    pieces: list[tuple[tuple[Text | Path, ...], float]] = []
    for entry in listed:
        items, width = _sample(entry, h, metrics)
        text = words(metrics, entry.meaning, width + 0.35 * h, 0, size)
        middle = (around(items).top + around(items).bottom) / 2
        items = (*shift(items, 0, -middle), text._replace(y=CAP * size / 2))
        pieces.append((items, width + 0.35 * h + text.width))
    groups: list[Group] = []
    x, y, line_items = style.margin, 0.0, list[tuple[float, tuple[Text | Path, ...]]]()
    right = style.width - style.margin

    def finish() -> None:
        nonlocal y
        boxes = [around(items) for _, items in line_items]
        top, bottom = min(b.top for b in boxes), max(b.bottom for b in boxes)
        for left, items in line_items:
            placed = shift(items, left, y - top)
            groups.append(Group("legend", "", placed, around(placed)))
        y += bottom - top + 0.55 * h

    for items, width in pieces:
        if line_items and x + width > right:
            finish()
            x, line_items = style.margin, []
        line_items.append((x, items))
        x += width + 1.3 * h
    if line_items:
        finish()
    return Block(tuple(groups), y)


def _sample(entry: Entry, h: float, metrics: Metrics) -> tuple[tuple[Text | Path, ...], float]:
    if entry.text:
        shown = words(metrics, entry.text, 0, CAP * h, h, bold=True)
        return (shown,), shown.width
    if entry.figure is None:
        strokes = [
            bar(
                0.5 * h + s * 0.17 * h - 0.08 * h,
                -0.34 * h,
                0.5 * h + s * 0.17 * h + 0.08 * h,
                0.34 * h,
            )
            for s in (-1, 1)
        ]
        return (line(0, 0, h, 0, LIP * h), *strokes), h
    natural = natural_width(metrics, entry.figure, h)
    width = natural if entry.width is None else entry.width * h
    beats = tuple(
        natural + (width - natural) * (i + 1) / (entry.beats + 1) for i in range(entry.beats)
    )
    group = moved(note(metrics, entry.figure, Held(width, beats), h), 0, 0)
    return (line(0, 0, width, 0, LIP * h), *group.items), width
