"""The small signs for expressive marks, each drawn in a box with its top left corner at 0, 0.

Accent and staccato are the signs of written music; the rest draw what the pitch or the
hands do.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from tabtool.sheet.drawing import (
    BLACK,
    CURVE,
    Command,
    Path,
    dot,
    polygon,
    polyline,
    rounded,
    wave,
)
from tabtool.tune import Marks

ICON_WIDTH, ICON_HEIGHT = 0.8, 0.5  # in heights of a hole number
_THICK = 0.2  # strokes, in heights of the sign

Icon = Callable[[float, float], list[Path]]


def icons(marks: Marks) -> list[Icon]:
    """The signs of a note's marks, in the order in which they are read."""
    drawn: list[Icon] = []
    if marks.scoop:
        drawn.append(partial(scoop, marks.scoop))
    if marks.accent:
        drawn.append(accent)
    if marks.staccato:
        drawn.append(staccato)
    if marks.dip:
        drawn.append(partial(dip, marks.dip))
    if marks.vibrato:
        drawn.append(vibrato)
    if marks.wah:
        drawn.append(wah)
    if marks.fall:
        drawn.append(partial(fall, marks.fall))
    return drawn


def scoop(semitones: int, w: float, h: float) -> list[Path]:
    """Up into the note; a stroke a semitone."""
    return _strokes(semitones, w, h, rising=True)


def fall(semitones: int, w: float, h: float) -> list[Path]:
    """Down, away from the note; a stroke a semitone."""
    return _strokes(semitones, w, h, rising=False)


def _strokes(count: int, w: float, h: float, rising: bool) -> list[Path]:
    step = 0.3 * w / max(1, count - 1) if count > 1 else 0.0
    wide = w - step * (count - 1)
    head = 0.34 * h
    paths: list[Path] = []
    for index in range(count):
        x = index * step
        if rising:
            tip = x + wide - head / 2
            commands: tuple[Command, ...] = (
                ("M", (x, h * 0.92)),
                ("C", (x + wide * 0.5, h * 0.92, tip, h * 0.8, tip, head * 0.8)),
            )
            paths.append(Path(commands, stroke=BLACK, width=_THICK * h))
            if index == count - 1:
                paths.append(
                    polygon((tip - head * 0.62, head), (tip + head * 0.62, head), (tip, 0))
                )
        else:
            start = x + head / 2
            tip = x + wide - head / 2
            commands = (
                ("M", (start - head / 2, h * 0.08)),
                ("C", (x + wide * 0.5, h * 0.08, tip, h * 0.2, tip, h - head * 0.8)),
            )
            paths.append(Path(commands, stroke=BLACK, width=_THICK * h))
            if index == count - 1:
                low = h - head
                paths.append(polygon((tip - head * 0.62, low), (tip + head * 0.62, low), (tip, h)))
    return paths


def dip(semitones: int, w: float, h: float) -> list[Path]:
    """Down and back; a valley a semitone, one within another."""
    paths = []
    for index in range(semitones):
        inset = index * 0.22 * w / max(1, semitones - 1) if semitones > 1 else 0.0
        low = h * (0.92 - (0.5 * index / max(1, semitones - 1) if semitones > 1 else 0.0))
        left, right = inset, w - inset
        third = (right - left) * 0.3
        paths.append(
            Path(
                (
                    ("M", (left, h * 0.08)),
                    ("C", (left + third, h * 0.08, w / 2 - third * 0.7, low, w / 2, low)),
                    ("C", (w / 2 + third * 0.7, low, right - third, h * 0.08, right, h * 0.08)),
                ),
                stroke=BLACK,
                width=_THICK * h,
            )
        )
    return paths


def vibrato(w: float, h: float) -> list[Path]:
    """A wave."""
    return [wave(0, w, h / 2, h * 0.42, w / 3, _THICK * h)]


def accent(w: float, h: float) -> list[Path]:
    """The wedge of written music."""
    side = w * 0.1
    return [polyline((side, h * 0.08), (w - side, h / 2), (side, h * 0.92), width=_THICK * h)]


def staccato(w: float, h: float) -> list[Path]:
    """The dot of written music."""
    return [dot(w / 2, h / 2, h * 0.24)]


def wah(w: float, h: float) -> list[Path]:
    """Hands closed, hands open: a disc half black, half white."""
    r = h * 0.46
    x, y, k = w / 2, h / 2, CURVE * r
    left: tuple[Command, ...] = (
        ("M", (x, y - r)),
        ("C", (x - k, y - r, x - r, y - k, x - r, y)),
        ("C", (x - r, y + k, x - k, y + r, x, y + r)),
        ("Z", ()),
    )
    ring = rounded(x - r, y - r, x + r, y + r, r, stroke=BLACK, width=_THICK * 0.8 * h)
    return [Path(left, fill=BLACK), ring]
