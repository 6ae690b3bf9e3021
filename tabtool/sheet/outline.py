"""Outlines out of SVG: path data to our commands, as far as engraved music uses them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from tabtool.sheet.drawing import Command

Point = tuple[float, float]
Move = Callable[[float, float], Point]

_TOKEN = re.compile(r"([A-Za-z])|(-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?)")


def commands(data: str, place: Move = lambda x, y: (x, y)) -> tuple[Command, ...]:
    """SVG path data, absolute or relative, each point moved by `place`.

    Lines, curves of both kinds and their smooth forms; ValueError for arcs.
    """
    out: list[Command] = []
    at = start = (0.0, 0.0)
    handle: Point | None = None  # of a curve before, for smooth ones
    for letter, numbers in _steps(data):
        relative = letter.islower()
        kind = letter.upper()
        base = at if relative else (0.0, 0.0)
        if kind == "H":
            points = [(base[0] + numbers[0], at[1])]
        elif kind == "V":
            points = [(at[0], base[1] + numbers[0])]
        else:
            points = [
                (base[0] + numbers[i], base[1] + numbers[i + 1]) for i in range(0, len(numbers), 2)
            ]
        if kind in "ST":
            mirrored = at if handle is None else (2 * at[0] - handle[0], 2 * at[1] - handle[1])
            points.insert(0, mirrored)
        if kind in "QT":
            one, end = points
            handle = one
            points = [_toward(at, one), _toward(end, one), end]
        elif kind in "CS":
            handle = points[1]
        else:
            handle = None
        if kind == "M":
            out.append(("M", place(*points[0])))
            start = points[0]
        elif kind in "LHV":
            out.append(("L", place(*points[0])))
        elif kind in "CSQT":
            out.append(("C", tuple(n for point in points for n in place(*point))))
        elif kind == "Z":
            out.append(("Z", ()))
            points = [start]
        else:
            raise ValueError(f"path command {letter}")
        at = points[-1]
    return tuple(out)


def _toward(end: Point, handle: Point) -> Point:
    """The handle of a cubic curve that runs as the quadratic one with `handle` does."""
    return end[0] + 2 / 3 * (handle[0] - end[0]), end[1] + 2 / 3 * (handle[1] - end[1])


_COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "Z": 0}


def _steps(data: str) -> Iterator[tuple[str, list[float]]]:
    """One command at a time, repeated ones spelled out; a repeated M draws lines."""
    letter, numbers = "", list[float]()
    for found in _TOKEN.finditer(data):
        if found[1]:
            letter = found[1]
            if letter.upper() not in _COUNTS:
                raise ValueError(f"path command {letter}")
            if letter in "zZ":
                yield letter, []
            continue
        numbers.append(float(found[2]))
        if len(numbers) == _COUNTS[letter.upper()]:
            yield letter, numbers
            letter = {"M": "L", "m": "l"}.get(letter, letter)
            numbers = []
