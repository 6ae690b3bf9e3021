"""A take drawn: the pitch that sounded over the notes of the tab, as SVG, PNG or HTML.

Rows of ``ROW_S`` seconds; up is sharp. Each note's pitch (the tab's, moved by the overall tuning)
is a band of ±25 cents with one of ±10 inside; the line is what was heard. Its token stands over
it, its error in cents under it; what is not in order is said in words, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from tabtool.takes.judge import ACCEPTABLE, GOOD
from tabtool.takes.raster import formed
from tabtool.takes.take import Take, TakeNote, expected_of

Place: TypeAlias = Callable[[float], float]

ROW_S = 8.0
WIDTH, LEFT = 1000.0, 50.0
SEMITONE, ROOM = 16.0, 46.0
HEARD = 0.3
"""Weight from which the pitch of a frame is drawn."""


def write(take: Take, name: str) -> bytes:
    """The picture in the form that the file's ``name`` asks for: .svg, .png or .html."""
    return formed(svg(take), escape(take.score.tune.title or take.score.tune.file), name)


def svg(take: Take) -> str:
    """The picture as SVG text."""
    rows: list[str] = []
    y = 40.0
    for first in np.arange(0, take.seconds, ROW_S):
        row, height = _row(take, float(first), y)
        rows += row
        y += height
    missing = [n.event.figure.token for n in take.notes if n.judged.status == "missing"]
    if missing:
        rows.append(_text(LEFT, y + 16, "missing: " + " ".join(missing)))
        y += 24
    title = take.score.tune.title or take.score.tune.file
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {y + 16:.0f}" '
        f'width="{WIDTH:.0f}" height="{y + 16:.0f}" font-family="sans-serif" font-size="12">'
        f"<title>{escape(title)}: a take</title>"
        f'<rect width="100%" height="100%" fill="#fff"/>'
    )
    said = f"{title}: bands are 25 and 10 cents about each note; the line is what was heard"
    return "\n".join([head, _text(LEFT, 20, said), *rows, "</svg>"])


def _row(take: Take, first: float, top: float) -> tuple[list[str], float]:
    last = first + ROW_S
    tuning = take.verdict.tuning_cents / 100
    notes = [
        (note, expected_of(note.event).pitch + tuning)
        for note in take.notes
        if note.judged.start_s is not None
        and note.judged.end_s is not None
        and note.judged.start_s < last
        and note.judged.end_s > first
    ]
    times, curve = take.track.times, take.track.pitch[:, 0].astype(np.float64)
    sounding = (take.track.weight[:, 0] > HEARD) & (times >= first) & (times < last)
    extra = [one for one in take.extra if one.start_s < last and one.end_s > first]
    wanted = [pitch for _, pitch in notes]
    # what was played instead, or besides, is to be seen as well
    wanted += [n.judged.pitch for n, _ in notes if n.judged.status == "wrong" and n.judged.pitch]
    wanted += [one.pitch for one in extra]
    if not wanted and sounding.any():
        wanted = [float(np.median(curve[sounding]))]
    if not wanted:
        return [_text(LEFT, top + 14, f"{first:.0f} s: nothing")], 24.0
    low, high = min(wanted) - 2, max(wanted) + 2
    height = (high - low) * SEMITONE

    def x(second: float) -> float:
        return LEFT + (min(max(second, first), last) - first) / ROW_S * (WIDTH - LEFT - 10)

    def y(pitch: float) -> float:
        return top + 20 + (high - pitch) * SEMITONE

    out = [
        _text(4, top + 20 + height / 2, f"{first:.0f} s"),
        f'<rect x="{LEFT}" y="{top + 20:.1f}" width="{WIDTH - LEFT - 10:.1f}" '
        f'height="{height:.1f}" fill="none" stroke="#bbb"/>',
    ]
    for note, pitch in notes:
        out += _note(note, x, y, pitch, first)
    out += list(_curve(times, curve, sounding & (curve > low) & (curve < high), x, y))
    for one in extra:
        said = "extra" if one.again is None else "again"
        out.append(_text(x(max(one.start_s, first)), y(one.pitch) - 5, said, "#555"))
    return out, height + ROOM


def _note(note: TakeNote, x: Place, y: Place, pitch: float, first: float) -> list[str]:
    judged = note.judged
    start, end = judged.start_s or 0.0, judged.end_s or 0.0
    left, right = x(start), x(end)
    out = []
    for cents, shade in ((ACCEPTABLE, "#dde7f3"), (GOOD, "#a9c4e4")):
        size = 2 * cents / 100 * SEMITONE
        out.append(
            f'<rect x="{left:.1f}" y="{y(pitch + cents / 100):.1f}" '
            f'width="{max(1.0, right - left):.1f}" height="{size:.1f}" fill="{shade}"/>'
        )
    if start >= first or first == 0:  # a note may have begun before the recording
        out.append(_text(left, y(pitch) - 9, note.event.figure.token, "#111", True))
        said = ""
        if judged.status == "wrong":
            said = "wrong"
        elif judged.cents is not None:
            said = f"{round(judged.cents):+d}" + (" off" if note.landed == "off" else "")
        if said:
            out.append(_text(left, y(pitch) + 19, said, "#555"))
    return out


def _curve(
    times: NDArray[np.float64],
    curve: NDArray[np.float64],
    drawn: NDArray[np.bool_],
    x: Place,
    y: Place,
) -> Iterator[str]:
    """The line, broken where nothing clear sounds or the pitch leaps."""
    points: list[str] = []
    before = -9
    for frame in np.flatnonzero(drawn):
        if frame != before + 1 or abs(curve[frame] - curve[before]) > 0.7:
            if len(points) > 1:
                yield _line(points)
            points = []
        points.append(f"{x(float(times[frame])):.1f},{y(float(curve[frame])):.1f}")
        before = int(frame)
    if len(points) > 1:
        yield _line(points)


def _line(points: list[str]) -> str:
    joined = " ".join(points)
    return f'<polyline points="{joined}" fill="none" stroke="#111" stroke-width="1.3"/>'


def _text(x: float, y: float, text: str, colour: str = "#111", bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}"{weight}>{escape(text)}</text>'
