"""What a page is made of: text, outlines, and groups of them with a name and a box.

Lengths are millimetres, x to the right and y down from the top left corner of the page;
`y` of a text is its base line. `ink` and `fill` are greys from 0 (black) to 1 (white).
All is immutable: `shifted` hands back a moved copy.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal, NamedTuple, Protocol, TypeAlias

BLACK, WHITE = 0.0, 1.0
FAINT = 0.72  # helping lines that must not compete with the notes
CAP = 0.729  # height of a capital or a figure of the sheet's fonts, in ems
DESCENT = 0.236  # how far they reach below the base line, in ems
CURVE = 0.5523  # how far the handles of a Bézier quarter circle reach, in radii


class Box(NamedTuple):
    """A rectangle: left, top, right, bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def moved(self, dx: float, dy: float) -> Box:
        """A moved copy."""
        return Box(self.left + dx, self.top + dy, self.right + dx, self.bottom + dy)

    def meets(self, other: Box, slack: float = 0.01) -> bool:
        """Whether the two share more than an edge."""
        return (
            self.left < other.right - slack
            and other.left < self.right - slack
            and self.top < other.bottom - slack
            and other.top < self.bottom - slack
        )


class Text(NamedTuple):
    """One line of text that starts at `x` and is stretched or squeezed to `width`."""

    x: float
    y: float
    text: str
    size: float  # of the em
    width: float
    bold: bool = False
    ink: float = BLACK


Command: TypeAlias = tuple[Literal["M", "L", "C", "Z"], tuple[float, ...]]


class Path(NamedTuple):
    """An outline; `fill` and `stroke` are greys, None for neither."""

    commands: tuple[Command, ...]
    fill: float | None = None
    stroke: float | None = None
    width: float = 0.0
    dash: tuple[float, ...] = ()


class Group(NamedTuple):
    """Items that belong together: what they are (`role`), what they say, the room they take.

    Groups of one page never overlap each other, unless their role is ``line``.
    """

    role: str
    title: str
    items: tuple[Text | Path, ...]
    box: Box


class Page(NamedTuple):
    """One page, ready to be drawn."""

    width: float
    height: float
    groups: tuple[Group, ...]

    @property
    def texts(self) -> tuple[Text, ...]:
        return tuple(i for group in self.groups for i in group.items if isinstance(i, Text))


class Metrics(Protocol):
    """The fonts, as far as placing text goes."""

    def width(self, text: str, bold: bool = False) -> float:
        """The natural width of a text, in ems."""
        ...


def shift(items: Iterable[Text | Path], dx: float, dy: float) -> tuple[Text | Path, ...]:
    """Moved copies."""
    moved: list[Text | Path] = []
    for item in items:
        if isinstance(item, Text):
            moved.append(item._replace(x=item.x + dx, y=item.y + dy))
        else:
            commands = tuple(
                (letter, tuple(n + (dy if i % 2 else dx) for i, n in enumerate(numbers)))
                for letter, numbers in item.commands
            )
            moved.append(item._replace(commands=commands))
    return tuple(moved)


def moved(group: Group, dx: float, dy: float) -> Group:
    """A moved copy of a group."""
    return group._replace(items=shift(group.items, dx, dy), box=group.box.moved(dx, dy))


def around(items: Sequence[Text | Path]) -> Box:
    """The box around items; curves are counted by their handles, text by capitals' height."""
    xs: list[float] = []
    ys: list[float] = []
    for item in items:
        if isinstance(item, Text):
            xs += [item.x, item.x + item.width]
            ys += [item.y - CAP * item.size, item.y]
        else:
            half = item.width / 2 if item.stroke is not None else 0.0
            for _, numbers in item.commands:
                xs += [n + side for n in numbers[::2] for side in (-half, half)]
                ys += [n + side for n in numbers[1::2] for side in (-half, half)]
    return Box(min(xs), min(ys), max(xs), max(ys))


def line(x1: float, y1: float, x2: float, y2: float, width: float, ink: float = BLACK) -> Path:
    """A straight stroke."""
    return Path((("M", (x1, y1)), ("L", (x2, y2))), stroke=ink, width=width)


def polygon(*points: tuple[float, float], fill: float | None = BLACK) -> Path:
    """A filled shape."""
    first, *rest = points
    return Path((("M", first), *(_to(point) for point in rest), ("Z", ())), fill=fill)


def polyline(*points: tuple[float, float], width: float, ink: float = BLACK) -> Path:
    """A stroke with corners."""
    first, *rest = points
    return Path((("M", first), *(_to(point) for point in rest)), stroke=ink, width=width)


def _to(point: tuple[float, float]) -> Command:
    return "L", point


def bar(left: float, top: float, right: float, bottom: float, fill: float = BLACK) -> Path:
    """A filled rectangle."""
    return polygon((left, top), (right, top), (right, bottom), (left, bottom), fill=fill)


def rounded(
    left: float,
    top: float,
    right: float,
    bottom: float,
    radius: float,
    *,
    fill: float | None = None,
    stroke: float | None = None,
    width: float = 0.0,
) -> Path:
    """A rectangle with round corners, the stroke inside it."""
    inset = width / 2 if stroke is not None else 0.0
    left, top, right, bottom = left + inset, top + inset, right - inset, bottom - inset
    r = max(0.0, min(radius - inset, (right - left) / 2, (bottom - top) / 2))
    k = r * (1 - CURVE)
    return Path(
        (
            ("M", (left + r, top)),
            ("L", (right - r, top)),
            ("C", (right - k, top, right, top + k, right, top + r)),
            ("L", (right, bottom - r)),
            ("C", (right, bottom - k, right - k, bottom, right - r, bottom)),
            ("L", (left + r, bottom)),
            ("C", (left + k, bottom, left, bottom - k, left, bottom - r)),
            ("L", (left, top + r)),
            ("C", (left, top + k, left + k, top, left + r, top)),
            ("Z", ()),
        ),
        fill=fill,
        stroke=stroke,
        width=width,
    )


def dot(x: float, y: float, radius: float, fill: float = BLACK) -> Path:
    """A filled disc."""
    return rounded(x - radius, y - radius, x + radius, y + radius, radius, fill=fill)


def wave(x1: float, x2: float, y: float, height: float, length: float, width: float) -> Path:
    """A smooth wave from `x1` to `x2`, waves about `length` long."""
    count = max(1, round((x2 - x1) / length))
    step = (x2 - x1) / count
    commands: list[Command] = [("M", (x1, y))]
    for i in range(count):
        x = x1 + i * step
        h = height * 1.15  # handles at this height make the curve itself as high as asked
        commands.append(("C", (x + step * 0.36, y - h, x + step * 0.64, y + h, x + step, y)))
    return Path(tuple(commands), stroke=BLACK, width=width)


def zigzag(
    x1: float, x2: float, y: float, height: float, length: float
) -> list[tuple[float, float]]:
    """The points of a line of teeth from `x1` to `x2`."""
    count = max(2, 2 * math.ceil((x2 - x1) / length))
    step = (x2 - x1) / count
    return [(x1 + i * step, y + (height / 2 if i % 2 else -height / 2)) for i in range(count + 1)]


def words(
    metrics: Metrics,
    text: str,
    x: float,
    y: float,
    size: float,
    *,
    bold: bool = False,
    ink: float = BLACK,
    anchor: float = 0.0,
    room: float = math.inf,
    least: float = 0.7,
) -> Text:
    """A line of text; `anchor` is the share of its width left of `x`.

    Wider than `room`, it is squeezed, down to `least` of its width, then made smaller.
    """
    natural = metrics.width(text, bold) * size
    width = natural
    if natural > room:
        width = room
        if natural * least > room:
            size = size * room / (natural * least)
    return Text(x - anchor * width, y, text, size, width, bold, ink)
