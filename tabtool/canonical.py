"""The canonical text of a tune: what `format` writes.

Meaning is never changed and comments are kept. Headers read ``name: value``; one
blank line at most, and one before each section; in a run of lines of bars the beats
stand in columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from typing import NamedTuple

from tabtool.tune import (
    BlankLine,
    CommentLine,
    HeaderLine,
    Hold,
    Line,
    LyricLine,
    MusicLine,
    Note,
    Rest,
    SectionLine,
    Share,
    Split,
    Tune,
)


def write(tune: Tune) -> str:
    """The tune as canonical text, ending in a line end.

    ValueError if part of it could not be read: what is not understood cannot be laid out.
    """
    lines = tune.lines
    laid = _laid_out(lines)
    out: list[str] = []
    for index, line in enumerate(lines):
        if isinstance(line, BlankLine):
            if out and out[-1] != "":
                out.append("")
            continue
        if isinstance(line, SectionLine) and out and out[-1] != "" and not _is_remark(lines, index):
            out.append("")
        out.append(laid[index] if index in laid else _text(line))
    while out and out[-1] == "":
        out.pop()
    return "\n".join(out) + "\n"


def _is_remark(lines: Sequence[Line], index: int) -> bool:
    """Whether the line above belongs to this one: a comment directly over a section."""
    return index > 0 and isinstance(lines[index - 1], CommentLine)


def _text(line: Line) -> str:
    match line:
        case HeaderLine() if line.parsed is not None:
            text = f"{line.name}: {line.value}"
        case SectionLine():
            text = f"[{line.name}]"
        case LyricLine():
            text = f"lyric: {' '.join(word for word, _ in line.syllables)}".rstrip()
        case CommentLine():
            return line.comment
        case _:
            raise ValueError("a line that could not be read")
    return f"{text} {line.comment}" if line.comment else text


def _laid_out(lines: Sequence[Line]) -> dict[int, str]:
    """The texts of the lines of bars by their places among the lines, in columns.

    They stand under each other as far as nothing but lyrics and comments is between.
    """
    texts: dict[int, str] = {}
    run: dict[int, MusicLine] = {}
    for index, line in enumerate((*lines, None)):
        if isinstance(line, MusicLine):
            run[index] = line
        elif not isinstance(line, (LyricLine, CommentLine)):
            rows = _columns([_row(music) for music in run.values()])
            for (place, music), row in zip(run.items(), rows, strict=True):
                texts[place] = f"{row} {music.comment}".strip() if music.comment else row
            run = {}
    return texts


class _Row(NamedTuple):
    """A line of bars as texts: one more bar line than bars; a line not written is empty."""

    barlines: list[str]
    bars: list[list[str]]


def _row(line: MusicLine) -> _Row:
    first = line.bars[0].before
    barlines = [first.token if first else ""]
    bars = []
    for bar in line.bars:
        bars.append([",".join(share_text(part) for part in beat.parts) for beat in bar.beats])
        barlines.append(bar.after.token if bar.after else "")
    return _Row(barlines, bars)


def _columns(rows: list[_Row]) -> list[str]:
    """Rows with their beats and bar lines under each other, bar by bar."""
    rows = _beside_pick_up(rows)
    bar_count = max((len(row.bars) for row in rows), default=0)
    line_widths = [
        max((len(row.barlines[i]) for row in rows if i < len(row.barlines)), default=0)
        for i in range(bar_count + 1)
    ]
    beat_widths = []
    for i in range(bar_count):
        columns = zip_longest(*(row.bars[i] for row in rows if i < len(row.bars)), fillvalue="")
        beat_widths.append([max(map(len, column)) for column in columns])
    texts = []
    for row in rows:
        pieces = [row.barlines[0].ljust(line_widths[0])]
        for i, beats in enumerate(row.bars):
            padded = [beat.ljust(width) for beat, width in zip(beats, beat_widths[i], strict=False)]
            whole = sum(beat_widths[i]) + len(beat_widths[i]) - 1
            pieces.append(" ".join(padded).ljust(whole))
            pieces.append(row.barlines[i + 1].ljust(line_widths[i + 1]))
        texts.append(" ".join(piece for piece in pieces if piece).rstrip())
    return texts


def _beside_pick_up(rows: list[_Row]) -> list[_Row]:
    """Rows under a pick-up begin beside it, so that full bars stand under full bars."""
    if len(rows) < 2 or len(rows[0].bars) < 2:
        return rows
    pick_up = len(rows[0].bars[0])
    full = min(len(rows[0].bars[1]), *(len(row.bars[0]) for row in rows[1:]))
    if pick_up >= full:
        return rows
    return [rows[0], *(_Row(["", *row.barlines], [[], *row.bars]) for row in rows[1:])]


def share_text(share: Share) -> str:
    """One share in canonical notation, its chord symbol before it."""
    symbol = f'"{share.symbol}"' if share.symbol else ""
    match share:
        case Note():
            return symbol + share.figure.token
        case Rest():
            return symbol + "."
        case Hold():
            return symbol + "-"
        case Split():
            return symbol + "(" + ",".join(share_text(part) for part in share.parts) + ")"
        case _:
            raise ValueError("a beat that could not be read")
