"""Placing short texts along a line, each as near as possible to where it belongs.

Used for sung words and chord symbols. They never overlap: crowded texts move apart, then
are squeezed, and where even that will not do they stand on two lines or more by turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from tabtool.sheet.drawing import Metrics, Text, words


class Wanted(NamedTuple):
    """A text and where it should be: `anchor` is the share of its width left of `x`."""

    x: float
    text: str
    anchor: float = 0.5


def spread(
    metrics: Metrics,
    wanted: Sequence[Wanted],
    size: float,
    left: float,
    right: float,
    *,
    bold: bool = False,
    strays: float,
) -> tuple[tuple[Text, ...], ...]:
    """The texts, in as few lines as need be, y = 0 being each line's base.

    A text may stray from its place by `strays` at most before it is squeezed.
    """
    for lines in range(1, len(wanted) + 1):
        turns = [wanted[index::lines] for index in range(lines)]
        for squeeze in (1.0, 0.9, 0.8, 0.7):
            placed = [_line(metrics, turn, size, left, right, bold, squeeze) for turn in turns]
            near = all(
                row is not None
                and all(
                    abs(text.x + w.anchor * text.width - w.x) <= strays
                    for text, w in zip(row, turn, strict=True)
                )
                for row, turn in zip(placed, turns, strict=True)
            )
            if near or (lines == len(wanted) and squeeze == 0.7):
                return tuple(tuple(row or ()) for row in placed)
    return ()


def _line(
    metrics: Metrics,
    wanted: Sequence[Wanted],
    size: float,
    left: float,
    right: float,
    bold: bool,
    squeeze: float,
) -> list[Text] | None:
    """All texts on one line, or None where they are too wide for it altogether."""
    space = metrics.width(" ", bold) * size * squeeze
    texts = []
    for want in wanted:
        natural = metrics.width(want.text, bold) * size
        room = min(natural * squeeze, right - left)
        texts.append(words(metrics, want.text, 0, 0, size, bold=bold, room=room, least=squeeze))
    if sum(text.width for text in texts) + space * (len(texts) - 1) > right - left + 1e-6:
        return None
    # Pool neighbours that overlap into blocks, each at the mean of what its texts want:
    # the least squares solution (isotonic regression, pool adjacent violators).
    offsets: list[float] = []
    along = 0.0
    for text in texts:
        offsets.append(along)
        along += text.width + space
    goals = [
        want.x - want.anchor * text.width - offset
        for want, text, offset in zip(wanted, texts, offsets, strict=True)
    ]
    blocks: list[tuple[float, int]] = []
    for goal in goals:
        total, count = goal, 1
        while blocks and blocks[-1][0] / blocks[-1][1] > total / count:
            earlier, more = blocks.pop()
            total, count = total + earlier, count + more
        blocks.append((total, count))
    starts: list[float] = []
    for total, count in blocks:
        starts += [total / count] * count
    last = right - (texts[-1].width + offsets[-1]) if texts else 0.0
    return [
        text._replace(x=min(max(start, left), last) + offset)
        for text, start, offset in zip(texts, starts, offsets, strict=True)
    ]
