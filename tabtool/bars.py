"""A line of bars: its text to a `MusicLine`.

The line goes to the grammar as a whole, and if that fails, beat by beat, so that one bad
beat hides nothing else. What cannot be read stays in its bar as `Broken`.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable
from typing import Any, NamedTuple, TypeAlias

from lark import TextSlice, Token
from lark.exceptions import UnexpectedInput

from tabtool.diagnostics import Diagnostic, Span
from tabtool.notation import (
    UNREADABLE,
    NoteError,
    barline_of,
    explain_piece,
    figure_of,
    shapes,
)
from tabtool.tune import (
    Bar,
    Barline,
    Beat,
    Broken,
    Hold,
    MusicLine,
    Note,
    Rest,
    Share,
    Split,
)


class Piece(NamedTuple):
    """A part of a line of bars, by offsets: its shapes (see `notation.shapes`), or else the
    mistake in it (see `mistakes.explain`)."""

    start: int
    end: int
    shapes: list[Any]
    mistake: tuple[int, int, str, str] | None = None


Known: TypeAlias = dict[str, tuple[list[Piece], str]]  # what lines of bars were read as
MOST_KNOWN = 4096  # lines kept; then it begins anew

# The pieces of a line of bars that failed: bar lines, comment, and what lies between.
# Not compiled here, as most texts have no such line.
_PIECE = (
    r"(?<![^\s|\]:])#.*|:?(?:\|\||\|\]|\|)(?::|[1-9](?=\s|$))?"
    r'|(?:(?<![^\s|,(])"[^"|]*"|[^\s|":]|:(?!\|)|")+'
)


def read_bars(
    line: str, whole: Span, known: Known | None = None
) -> tuple[MusicLine, list[Diagnostic]]:
    """Read a line of bars that stands at `whole`; `known` keeps what was made of such lines."""
    pieces, comment = _pieces(line) if known is None else _kept(line, known)
    reading = _Reading(whole.file, whole.line)
    items: list[Token | Beat] = []
    for piece in pieces:
        if piece.mistake is None:
            for shape in piece.shapes:  # a beat is a list, anything else a bar line
                items.append(reading.beat(shape) if isinstance(shape, list) else shape)
        else:
            items.append(reading.broken(piece, *piece.mistake))
    return MusicLine(reading.bars(items), whole, comment), reading.found


def _kept(line: str, known: Known) -> tuple[list[Piece], str]:
    if line not in known:
        if len(known) >= MOST_KNOWN:
            known.clear()
        known[line] = _pieces(line)
    return known[line]


def _pieces(line: str) -> tuple[list[Piece], str]:
    """A line of bars and its comment: one piece that reads, or if it fails as a whole, each
    beat by itself, and those that fail with their mistake."""
    with contextlib.suppress(UnexpectedInput):
        read = shapes(line, "line")
        comment = ""
        if read and not isinstance(read[-1], list) and read[-1].type == "COMMENT":
            comment = read.pop().rstrip()
        return [Piece(0, len(line), read)], comment
    pieces = []
    comment = ""
    for found in re.finditer(_PIECE, line):
        start, end = found.span()
        if found[0][0] == "#":
            comment = found[0].rstrip()
            continue
        try:
            pieces.append(Piece(start, end, shapes(TextSlice(line, start, end), "line")))
        except UnexpectedInput:
            pieces.append(Piece(start, end, [], explain_piece(found[0])))
    return pieces, comment


class _Reading:
    """Shapes of one line to what they mean; tokens know only their place in the line."""

    def __init__(self, file: str, number: int) -> None:
        self.file = file
        self.number = number
        self.found: list[Diagnostic] = []

    def span(self, start: int, end: int) -> Span:
        """The place of what lies between two offsets into the line."""
        return Span(self.file, self.number, start + 1, end + 1)

    def broken(self, piece: Piece, start: int, end: int, message: str, help: str) -> Beat:
        """A piece with a mistake, of which `start` and `end` are offsets into the piece."""
        start, end = piece.start + start, piece.start + end
        self.found.append(UNREADABLE.at(self.span(start, max(end, start + 1)), message, help))
        whole = self.span(piece.start, piece.end)
        return Beat((Broken(whole, counted=False),), whole)

    def beat(self, shape: list[Any]) -> Beat:
        if len(shape) == 1:
            part = self.share(shape[0])
            if isinstance(part, Split) and not part.symbol:
                return Beat(part.parts, part.span)  # (4v,5v) as a whole beat is 4v,5v
            return Beat((part,), part.span)
        parts = tuple([self.share(part) for part in shape])
        return Beat(parts, _from_to(parts[0], parts[-1]))

    def share(self, shape: Any, symbol: str = "") -> Share:
        if isinstance(shape, Token):
            return self.sign(shape, symbol)
        if isinstance(shape, dict):
            chord, inner = shape["symbol"], shape["share"]
            return self.share(inner, str(chord)[1:-1].strip())
        return self.split(shape, symbol)

    def sign(self, token: Token, symbol: str) -> Share:
        """A note, rest or hold."""
        column = (token.start_pos or 0) + 1
        span = Span(self.file, self.number, column, column + len(token))
        if token.type == "NOTE":
            try:
                return Note(figure_of(str(token)), span, symbol)
            except NoteError as wrong:
                self.found.append(UNREADABLE.at(span, wrong.message, wrong.help))
                return Broken(span, symbol)
        return Rest(span, symbol) if token.type == "REST" else Hold(span, symbol)

    def split(self, shape: Iterable[Any], symbol: str) -> Share:
        parts = tuple([self.share(part) for part in shape])
        first = parts[0]
        if symbol and first.symbol:
            self.found.append(
                UNREADABLE.at(
                    first.span,
                    f'two chord symbols at one place, "{symbol}" and "{first.symbol}"',
                    "keep one",
                )
            )
        if len(parts) == 1:
            return first._replace(symbol=symbol or first.symbol)  # (4v) is 4v
        inside = _from_to(first, parts[-1])
        around = inside._replace(column=inside.column - 1, end_column=inside.end_column + 1)
        return Split(parts, around, symbol)

    def bars(self, items: Iterable[Token | Beat]) -> tuple[Bar, ...]:
        """Bars from the beats and bar lines of a line; an empty bar is where its bar lines are."""
        bars: list[Bar] = []
        before: Barline | None = None
        place = self.span(0, 1)  # of the bar line before
        beats: list[Beat] = []
        for item in items:
            if isinstance(item, Beat):
                beats.append(item)
                continue
            start = item.start_pos or 0
            barline, line = barline_of(item), self.span(start, start + len(item))
            goes_on = barline.opens or barline.ending
            if goes_on and not beats and before is not None and before.closes:
                before = before._replace(opens=barline.opens, ending=barline.ending)
                if bars:
                    bars[-1] = bars[-1]._replace(after=before)
                continue  # :| |: is :|:, and :| |2 is :|2
            if beats or before is not None:
                empty = place._replace(end_column=line.end_column)
                bars.append(_bar(before, beats, barline, empty))
            before, place, beats = barline, line, []
        if beats or not bars:
            bars.append(_bar(before, beats, None, place))
        return tuple(bars)


def _bar(before: Barline | None, beats: list[Beat], after: Barline | None, empty: Span) -> Bar:
    """A bar; `empty` is where it is if it has no beats."""
    return Bar(before, tuple(beats), after, _from_to(beats[0], beats[-1]) if beats else empty)


def _from_to(first: Beat | Share, last: Beat | Share) -> Span:
    file, line, column, _ = first.span
    return Span(file, line, column, last.span.end_column)
