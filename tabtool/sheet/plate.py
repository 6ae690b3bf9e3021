"""One note as it is drawn: plates with hole numbers, teeth for bends, roofs for overbends.

Everything is measured in `h`, the height of the hole numbers. The lip line is y = 0, the
onset x = 0. Blown plates are white, round and above the line, drawn ones black, square and
below it: shape, tone and place each say it, so one may be lost to the light.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from tabtool.harp import Breath, Tone
from tabtool.sheet.drawing import (
    BLACK,
    CAP,
    WHITE,
    Group,
    Metrics,
    Path,
    Text,
    around,
    bar,
    line,
    moved,
    polygon,
    polyline,
    rounded,
    shift,
    words,
    zigzag,
)
from tabtool.sheet.signs import ICON_HEIGHT, ICON_WIDTH, icons
from tabtool.tune import Figure, Marks

GAP = 0.1  # between the lip line and a plate
PLATE = 1.36  # height of a plate with one number
STACKED = 1.22  # height of one of several plates, in heights of its smaller number
SEAM = 0.07  # between plates that sound together
APART = 0.12  # between notes that follow each other
PAD = 0.24  # white left and right of a number
OUTLINE = 0.075
TAIL = 0.36  # height of the tail of a held note
LONG = 1.75  # a note with this many times its plate's width has a tail
TOOTH_WIDTH, TOOTH = 0.44, 0.38
ROOF = 0.36
RAISED = 0.2  # one chevron over a roof
BUTTON = 0.4  # width of the sign for the slide
GRACE = 0.52  # size of a grace note
SMALLER = {1: 1.0, 2: 0.76, 3: 0.68}  # numbers by how many sound together; more: the last


class Held(NamedTuple):
    """How long a note is drawn: millimetres, the beats (x) within, and what it goes on from.

    `starts` is false for the rest of a note begun on an earlier row, `ends` for one that
    goes on in a later row.
    """

    width: float
    beats: tuple[float, ...] = ()
    starts: bool = True
    ends: bool = True


def natural_width(metrics: Metrics, figure: Figure, h: float) -> float:
    """The width a figure takes at ease."""
    graces = sum(natural_width(metrics, grace, h * GRACE) for grace in figure.grace)
    return graces + _cell_width(metrics, figure, h) + APART * h


def _cell_width(metrics: Metrics, figure: Figure, h: float) -> float:
    size = _number_size(figure, h)
    widest = max(metrics.width(str(t.hole), True) * size / CAP for t in figure.all_tones)
    button = BUTTON * size if any(t.slide for t in figure.all_tones) else 0.0
    return widest + button + 2 * PAD * h


def _number_size(figure: Figure, h: float) -> float:
    return h * SMALLER.get(len(figure.all_tones), SMALLER[3])


def note(metrics: Metrics, figure: Figure, held: Held, h: float) -> Group:
    """The whole note, its graces before it, its marks furthest from the lip line."""
    items: list[Text | Path] = []
    at = 0.0
    if figure.grace and held.starts:
        wanted = [natural_width(metrics, grace, h * GRACE) for grace in figure.grace]
        share = min(1.0, 0.45 * held.width / sum(wanted))
        for grace, width in zip(figure.grace, wanted, strict=True):
            small = note(metrics, grace, Held(width * share), h * GRACE)
            items += moved(small, at, 0).items
            at += width * share
    items += shift(_body(metrics, figure, held, held.width - at, at, h), at, 0)
    return Group("note" if held.starts else "held", said(figure), tuple(items), around(items))


def _body(
    metrics: Metrics, figure: Figure, held: Held, width: float, since: float, h: float
) -> list[Text | Path]:
    room = width - APART * h
    blown = figure.tones[0].breath is Breath.BLOW
    if not held.starts:
        beats = [x - since for x in held.beats]
        return _tail(0.0, room, -GAP * h if blown else GAP * h, blown, beats, held.ends, h)
    cell = _cell_width(metrics, figure, h)
    if room < LONG * cell:
        cell = room
    items, edge, outer = _cells(metrics, figure, cell, h)
    if room > cell:
        beats = [x - since for x in held.beats]
        items += _tail(cell - OUTLINE * h / 2, room, edge, blown, beats, held.ends, h)
    items += _marks(figure.marks, cell, outer, blown, h)
    return items


def _cells(
    metrics: Metrics, figure: Figure, width: float, h: float
) -> tuple[list[Text | Path], float, float]:
    """The plates from the lip line outwards, the lip-side edge of the first, the outer end."""
    tones = sorted(figure.all_tones, key=lambda tone: tone.hole)
    blown = tones[0].breath is Breath.BLOW
    size = _number_size(figure, h)
    height = PLATE * h if len(tones) == 1 else STACKED * size
    items: list[Text | Path] = []
    edge = 0.0
    y = -GAP * h if blown else GAP * h  # where the next plate may begin, going outwards
    # Higher holes stand higher on the page, on either side of the line.
    for index, tone in enumerate(tones if blown else reversed(tones)):
        under, over = below(tone, h), above(tone, h)
        if index:
            seam = 3.2 * SEAM * h if figure.shake else SEAM * h
            if figure.shake:
                middle = y - seam / 2 if blown else y + seam / 2
                points = zigzag(0.1 * h, width - 0.1 * h, middle, seam * 0.62, 0.42 * h)
                items.append(polyline(*points, width=0.1 * h))
            y += -seam if blown else seam
        top = y - under - height if blown else y + over
        items += cell(metrics, tone, str(tone.hole), width, top, height, size, h)
        if index == 0:
            edge = top + height if blown else top
        y = top - over if blown else top + height + under
    return items, edge, y


def below(tone: Tone, h: float) -> float:
    """The room for the teeth under a plate."""
    return TOOTH * h if tone.depth and not tone.overbent else 0.0


def above(tone: Tone, h: float) -> float:
    """The room for the roof over a plate."""
    if not tone.overbent:
        return 0.0
    return (ROOF + SEAM + RAISED * -(-tone.depth // 1)) * h


def cell(
    metrics: Metrics,
    tone: Tone,
    label: str,
    width: float,
    top: float,
    height: float,
    size: float,
    h: float,
) -> list[Text | Path]:
    """One plate with what it says, teeth under it or a roof over it.

    `top` and `height` are the plate's; `size` is the height of its capitals and figures.
    """
    blown = tone.breath is Breath.BLOW
    bottom = top + height
    items: list[Text | Path] = []
    if blown:
        items.append(
            rounded(0, top, width, bottom, 0.36 * size, fill=WHITE, stroke=BLACK, width=OUTLINE * h)
        )
    else:
        items.append(bar(0, top, width, bottom))
    ink = BLACK if blown else WHITE
    button = BUTTON * size if tone.slide else 0.0
    margin = min(PAD * h, 0.12 * width)
    number = words(
        metrics,
        label,
        0,
        0,
        size / CAP,
        bold=True,
        ink=ink,
        room=width - 2 * margin - button,
    )
    middle = (top + bottom) / 2
    left = (width - number.width - button) / 2
    items.append(number._replace(x=left, y=middle + CAP * number.size / 2))
    if tone.slide:
        tip, back = left + number.width + 0.12 * button, left + number.width + button
        items.append(
            polygon(
                (tip, middle), (back, middle - 0.3 * size), (back, middle + 0.3 * size), fill=ink
            )
        )
    if tone.overbent:
        items += _roof(tone.depth, width, top - SEAM * h, h)
    elif tone.depth:
        items += _teeth(tone.depth, width, bottom, h)
    return items


def _teeth(depth: float, width: float, y: float, h: float) -> list[Path]:
    """A tooth a semitone, half a tooth for a quarter tone."""
    each = min(TOOTH_WIDTH * h, width / max(1.0, depth))
    x = (width - each * depth) / 2
    y -= OUTLINE * h / 2  # rooted in the plate
    teeth = []
    for _ in range(int(depth)):
        teeth.append(polygon((x, y), (x + each * 0.94, y), (x + each * 0.47, y + TOOTH * h)))
        x += each
    if depth % 1:
        teeth.append(polygon((x, y), (x + each / 2, y), (x + each / 2, y + TOOTH * h)))
    return teeth


def _roof(raised: float, width: float, y: float, h: float) -> list[Path]:
    """A roof, and over it a chevron a semitone raised, half of one for a quarter tone."""
    middle = width / 2
    reach = min(middle, 1.0 * h)
    roof = [polygon((middle - reach, y), (middle + reach, y), (middle, y - ROOF * h))]
    peak = y - ROOF * h
    for step in range(1, int(raised) + 1):
        up = step * RAISED * h
        roof.append(
            polyline(
                (middle - reach, y - up), (middle, peak - up), (middle + reach, y - up),
                width=0.1 * h,
            )
        )  # fmt: skip
    if raised % 1:
        up = (int(raised) + 1) * RAISED * h
        roof.append(polyline((middle - reach, y - up), (middle, peak - up), width=0.1 * h))
    return roof


def _tail(
    start: float,
    end: float,
    edge: float,
    blown: bool,
    beats: Sequence[float],
    ends: bool,
    h: float,
) -> list[Text | Path]:
    """The note held on: a bar along the lip line, notched where the foot taps."""
    top, bottom = (edge - TAIL * h, edge) if blown else (edge, edge + TAIL * h)
    head = 0.0 if ends else min(0.5 * h, (end - start) / 2)
    items: list[Text | Path] = []
    stroke = OUTLINE * h
    if blown:
        items.append(
            rounded(start, top, end - head, bottom, 0, fill=WHITE, stroke=BLACK, width=stroke)
        )
    else:
        items.append(bar(start, top, end - head, bottom))
    if head:  # an arrow head: it goes on in the next row
        middle = (top + bottom) / 2
        items.append(
            polygon((end - head, top - 0.08 * h), (end, middle), (end - head, bottom + 0.08 * h))
        )
    for x in beats:
        if start + 0.1 * h < x < end - head - 0.1 * h:
            if blown:
                items.append(line(x, top, x, bottom, 0.11 * h))
            else:
                items.append(line(x, top, x, bottom, 0.11 * h, WHITE))
    return items


def _marks(marks: Marks, width: float, outer: float, blown: bool, h: float) -> list[Text | Path]:
    """The expressive marks in rows beyond the plates, as many beside each other as fit."""
    drawn = icons(marks)
    per_row = max(1, int(width / (ICON_WIDTH * 1.12 * h)))
    scale = min(1.0, width / (ICON_WIDTH * h))
    items: list[Text | Path] = []
    for row in range(0, len(drawn), per_row):
        some = drawn[row : row + per_row]
        depth = (0.14 + (ICON_HEIGHT + 0.14) * (row // per_row)) * h
        top = outer - depth - ICON_HEIGHT * h if blown else outer + depth
        step = ICON_WIDTH * scale * h * 1.12
        x = width / 2 - step * len(some) / 2 + 0.06 * ICON_WIDTH * scale * h
        for icon in some:
            items += shift(icon(ICON_WIDTH * scale * h, ICON_HEIGHT * h), x, top)
            x += step
    return items


def said(figure: Figure) -> str:
    """A figure in words: ``2 draw bent 1, vibrato``."""
    body = (" shaken with " if figure.shake else " and ").join(map(str, figure.all_tones))
    if figure.grace:
        body = f"{', '.join(said(grace) for grace in figure.grace)}, quickly to {body}"
    marks = figure.marks
    counted = [
        name + (f" {count} semitones" if count > 1 else "")
        for name, count in (("scoop", marks.scoop), ("fall", marks.fall), ("dip", marks.dip))
        if count
    ]
    named = [name for name in ("vibrato", "accent", "staccato", "wah") if getattr(marks, name)]
    return ", ".join((body, *counted, *named))
