"""Text to `Tune`.

Header, section, lyric and comment lines are told apart here; a line of bars goes to
the grammar as a whole, and if it fails, beat by beat, so that one bad beat hides
nothing else. What cannot be read stays in the tune as `Broken` and is told of by a
diagnostic with the place, what was expected and what to write instead.
"""

from __future__ import annotations

import contextlib
import os
import re
from typing import Any, NamedTuple, TypeAlias

from lark import TextSlice, Token
from lark.exceptions import UnexpectedInput

from tabtool.diagnostics import Diagnostic, Level, Rule, Span, nearest
from tabtool.files import inside
from tabtool.header import FIELDS, Wrong
from tabtool.notation import NoteError, barline_of, explain_piece, figure_of, shapes
from tabtool.tune import (
    Bar,
    Barline,
    Beat,
    BlankLine,
    Broken,
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
    UnreadLine,
)


class _Piece(NamedTuple):
    """A part of a line of bars, by offsets: its shapes, or else the mistake in it."""

    start: int
    end: int
    shapes: list[Any]
    mistake: tuple[int, int, str, str] | None = None


Known: TypeAlias = dict[str, tuple[list[_Piece], str]]  # what lines of bars were read as
MOST_KNOWN = 4096  # lines kept; then it begins anew

UNREADABLE = Rule("unreadable", Level.ERROR, "The text is not in the notation.", reads=True)
UNKNOWN_HEADER = Rule("unknown-header", Level.ERROR, "There is no such header.", reads=True)
HEADER_VALUE = Rule(
    "header-value", Level.ERROR, "The header's value cannot be understood.", reads=True
)
HEADER_PLACE = Rule(
    "header-place", Level.ERROR, "The header stands where it cannot count.", reads=True
)

_HEADER = re.compile(r"(\s*)([A-Za-z][\w ]*?)\s*:(?!\|)\s*(.*)$")
_SECTION = re.compile(r"(\s*)\[([^\[\]]*)\]\s*(#.*)?$")
_BARS = re.compile(r"\||[0-9][vV^↑↓]|[vV^↑↓][0-9]")  # what no other line has in it
_COMMENT = re.compile(r"(?:^|\s)#")
_TITLE_COMMENT = re.compile(r"(?:^|\s)#(?=\s|$)")  # a title may say "Tune #3"
# The pieces of a line of bars that failed: bar lines, comment, and what lies between.
_PIECE = re.compile(
    r"(?<![^\s|\]:])#.*|:?(?:\|\||\|\]|\|)(?::|[1-9](?=\s|$))?"
    r'|(?:(?<![^\s|,(])"[^"|]*"|[^\s|":]|:(?!\|)|")+'
)


def parse(
    text: str,
    file: str = "tune",
    folder: str | None = None,
    within: str = "",
    known: Known | None = None,
) -> tuple[Tune, tuple[Diagnostic, ...]]:
    """Read a tune; `folder` is where tuning files named in it lie (by default beside `file`).
    None outside the folder `within` is read, unless that is empty. `known` keeps what was
    made of lines of bars from one reading to the next, for a text that changes by the key.

    Never raises for anything the text may hold.
    """
    return _Reading(file, os.path.dirname(file) if folder is None else folder, within, known).read(
        text
    )


class _Reading:
    """One pass over one text."""

    def __init__(self, file: str, folder: str, within: str, known: Known | None) -> None:
        self.file = file
        self.folder = folder
        self.within = within
        self.known = known
        self.found: list[Diagnostic] = []
        self.number = 0
        self.music_since_section = False
        self.sections = 0
        self.given: dict[str, int] = {}  # the line of each header since the last section began

    def read(self, text: str) -> tuple[Tune, tuple[Diagnostic, ...]]:
        lines: list[Line] = []
        for self.number, line in enumerate(_split_lines(text), start=1):
            read = self.line(line)
            if isinstance(read, LyricLine):
                above = _above(lines)
                if above is None:
                    self.report(
                        UNREADABLE,
                        read.span.column,
                        read.span.end_column,
                        "a lyric line with no line of bars above it",
                        "write it directly under the bars it is sung to",
                    )
                if not isinstance(above, MusicLine):  # nor can it be laid under what is unread
                    read = UnreadLine(read.span)
            lines.append(read)
        while len(lines) > 1 and isinstance(lines[-1], BlankLine):
            lines.pop()
        return Tune(tuple(lines), self.file), tuple(self.found)

    def span(self, column: int, end_column: int) -> Span:
        return Span(self.file, self.number, column, end_column)

    def report(self, rule: Rule, column: int, end: int, message: str, help: str) -> None:
        self.found.append(rule.at(self.span(column, max(end, column + 1)), message, help))

    def line(self, line: str) -> Line:
        bare = line.strip()
        whole = self.span(len(line) - len(line.lstrip()) + 1, len(line.rstrip()) + 1)
        if not bare:
            return BlankLine(self.span(1, 2))
        if bare[0] == "#":
            return CommentLine(bare, whole)
        if bare[0] == "[":
            return self.section(line, whole)
        if bare[0].isalpha():
            header = _HEADER.match(line)
            if header:
                if header[2].lower() == "lyric":
                    return self.lyric(line, header.start(3), whole)
                return self.header(header, whole)
            if not _BARS.search(line):
                self.report(
                    UNREADABLE,
                    whole.column,
                    whole.end_column,
                    "this line is no header, section, lyric or line of bars",
                    "write name: value, [section], bars such as | 4v 4^ |, or # before a comment",
                )
                return UnreadLine(whole)
        self.music_since_section = True
        return self.music(line, whole)

    def section(self, line: str, whole: Span) -> Line:
        found = _SECTION.match(line)
        if not found:
            self.report(
                UNREADABLE,
                whole.column,
                whole.end_column,
                "a section name stands alone between brackets",
                "write it on its own line, such as [head]",
            )
            return UnreadLine(whole)
        self.sections += 1
        self.music_since_section = False
        self.given = {}
        name = " ".join(found[2].split())
        return SectionLine(
            name, self.span(found.end(1) + 1, found.end(2) + 2), (found[3] or "").strip()
        )

    def header(self, found: re.Match[str], whole: Span) -> Line:
        name = " ".join(found[2].lower().split())
        if name not in FIELDS:
            near = nearest(name, (*FIELDS, "lyric"))
            self.report(
                UNKNOWN_HEADER,
                found.start(2) + 1,
                found.end(2) + 1,
                f"there is no header '{found[2]}'",
                (f"write {near}: …; " if near else "") + f"headers are {', '.join(FIELDS)}",
            )
            return self.presumed(near, found, whole)
        value, comment, span = self.value(name, found)
        misplaced = self.misplaced(name)
        if misplaced:
            self.report(HEADER_PLACE, whole.column, whole.end_column, *misplaced)
            return UnreadLine(whole)
        self.given.setdefault(name, self.number)
        try:
            if not value:
                raise Wrong(f"'{name}' says nothing", f"write, for example, {FIELDS[name].example}")
            canonical, parsed = self.meaning(name, value)
        except Wrong as wrong:
            place = span if value else whole
            self.report(HEADER_VALUE, place.column, place.end_column, wrong.message, wrong.help)
            return HeaderLine(name, value, None, span, comment)
        return HeaderLine(name, canonical, parsed, span, comment)

    def presumed(self, near: str | None, found: re.Match[str], whole: Span) -> Line:
        """An unknown header as the known one probably meant, so that it draws no further errors."""
        if near == "lyric":
            return self.lyric(found[0], found.start(3), whole)
        if near and not self.misplaced(near):
            value, comment, span = self.value(near, found)
            with contextlib.suppress(Wrong):
                canonical, parsed = self.meaning(near, value)
                return HeaderLine(near, canonical, parsed, span, comment)
        return UnreadLine(whole)

    def value(self, name: str, found: re.Match[str]) -> tuple[str, str, Span]:
        """The value of a header line, its comment, and the place of the value."""
        free_text = name in ("title", "composer")
        value, comment = _cut(found[3].rstrip(), _TITLE_COMMENT if free_text else _COMMENT)
        column = found.start(3) + 1
        return value, comment, self.span(column, column + max(len(value), 1))

    def meaning(self, name: str, value: str) -> tuple[str, object]:
        """What a header's value says, as canonical text and as meaning; `Wrong` if nothing."""
        field = FIELDS[name]
        if self.within and field.suffix and value.lower().endswith(field.suffix):
            self.confine(value)
        return field.read(value, self.folder)

    def misplaced(self, name: str) -> tuple[str, str] | None:
        """Why a header cannot stand in this line, and what to do about it."""
        if self.music_since_section:
            return (
                f"'{name}' in the middle of the music",
                "begin a new [section] and write the header under it",
            )
        if self.sections and not FIELDS[name].sectional:
            return f"'{name}' holds for the whole tune", "write it above the first [section]"
        if name in self.given:
            return (
                f"'{name}' stands here a second time",
                f"keep one; the first is in line {self.given[name]}",
            )
        return None

    def confine(self, path: str) -> None:
        if not inside(os.path.join(self.folder, os.path.expanduser(path)), self.within):
            raise Wrong(f"'{path}' lies outside the opened folder", "put the file beside the tune")

    def lyric(self, line: str, start: int, whole: Span) -> Line:
        text, comment = _cut(line[start:].rstrip(), _COMMENT)
        syllables = tuple(
            (found[0], self.span(start + found.start() + 1, start + found.end() + 1))
            for found in re.finditer(r"\||[^\s|]+", text)
        )
        return LyricLine(syllables, whole, comment)

    def music(self, line: str, whole: Span) -> Line:
        pieces, comment = self.pieces(line)
        items: list[Token | Beat] = []
        for piece in pieces:
            if piece.mistake is None:
                items += [self.item(shape) for shape in piece.shapes]
            else:
                column, end, message, help = piece.mistake
                start = piece.start + 1
                self.report(UNREADABLE, start + column, start + end, message, help)
                broken = self.span(start, piece.end + 1)
                items.append(Beat((Broken(broken, counted=False),), broken))
        return MusicLine(self.bars(items), whole, comment)

    def pieces(self, line: str) -> tuple[list[_Piece], str]:
        """What a line of bars is made of, and its comment; remembered where `known` is given."""
        if self.known is None:
            return _pieces(line)
        if line not in self.known:
            if len(self.known) >= MOST_KNOWN:
                self.known.clear()
            self.known[line] = _pieces(line)
        return self.known[line]

    def item(self, shape: Any) -> Token | Beat:
        """A bar line as it is; the nested tokens of a beat as a `Beat`."""
        return self.beat(shape) if isinstance(shape, list) else shape

    def beat(self, shape: list[Any]) -> Beat:
        if len(shape) == 1:
            part = self.share(shape[0])
            if isinstance(part, Split) and not part.symbol:
                return Beat(part.parts, part.span)  # (4v,5v) as a whole beat is 4v,5v
            return Beat((part,), part.span)
        parts = tuple([self.share(part) for part in shape])
        return Beat(parts, parts[0].span._replace(end_column=parts[-1].span.end_column))

    def share(self, shape: Any, symbol: str = "") -> Share:
        if isinstance(shape, Token):
            column = (shape.start_pos or 0) + 1
            span = Span(self.file, self.number, column, column + len(shape))
            if shape.type == "NOTE":
                try:
                    return Note(figure_of(str(shape)), span, symbol)
                except NoteError as wrong:
                    self.report(UNREADABLE, column, span.end_column, wrong.message, wrong.help)
                    return Broken(span, symbol)
            return Rest(span, symbol) if shape.type == "REST" else Hold(span, symbol)
        if isinstance(shape, dict):
            chord, inner = shape["symbol"], shape["share"]
            return self.share(inner, str(chord)[1:-1].strip())
        parts = tuple([self.share(part) for part in shape])
        if symbol and parts[0].symbol:
            self.report(
                UNREADABLE,
                parts[0].span.column,
                parts[0].span.end_column,
                f'two chord symbols at one place, "{symbol}" and "{parts[0].symbol}"',
                "keep one",
            )
        if len(parts) == 1:
            return parts[0]._replace(symbol=symbol or parts[0].symbol)  # (4v) is 4v
        span = parts[0].span
        return Split(
            parts,
            span._replace(column=span.column - 1, end_column=parts[-1].span.end_column + 1),
            symbol,
        )

    def bars(self, items: list[Token | Beat]) -> tuple[Bar, ...]:
        """Bars from the beats and bar lines of a line; an empty bar is where its bar lines are."""
        bars: list[Bar] = []
        before: Barline | None = None
        place = self.span(1, 2)  # of the bar line before
        beats: list[Beat] = []
        for item in items:
            if isinstance(item, Beat):
                beats.append(item)
                continue
            start = item.start_pos or 0
            barline, line = barline_of(item), self.span(start + 1, start + 1 + len(item))
            goes_on = barline.opens or barline.ending
            if goes_on and not beats and before is not None and before.closes:
                before = before._replace(opens=barline.opens, ending=barline.ending)
                if bars:
                    bars[-1] = bars[-1]._replace(after=before)
                continue  # :| |: is :|:, and :| |2 is :|2
            if beats or before is not None:
                bars.append(
                    _bar(before, beats, barline, place._replace(end_column=line.end_column))
                )
            before, place, beats = barline, line, []
        if beats or not bars:
            bars.append(_bar(before, beats, None, place))
        return tuple(bars)


def _bar(before: Barline | None, beats: list[Beat], after: Barline | None, place: Span) -> Bar:
    """A bar; `place` is where it is if it has no beats."""
    if beats:
        place = beats[0].span._replace(end_column=beats[-1].span.end_column)
    return Bar(before, tuple(beats), after, place)


def _split_lines(text: str) -> list[str]:
    """Lines as editors count them: ended by LF, CR LF or CR; tabs count as one column."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _cut(text: str, comment: re.Pattern[str]) -> tuple[str, str]:
    found = comment.search(text)
    if not found:
        return text.strip(), ""
    return text[: found.start()].strip(), text[found.start() :].strip()


def _above(lines: list[Line]) -> MusicLine | UnreadLine | None:
    """The line of bars a lyric line belongs to, or the unread line in its place."""
    for line in reversed(lines):
        if isinstance(line, (MusicLine, UnreadLine)):
            return line
        if not isinstance(line, (LyricLine, CommentLine)):
            return None
    return None


def _pieces(line: str) -> tuple[list[_Piece], str]:
    """A line of bars and its comment: one piece that reads, or if it fails as a whole, each
    beat by itself, and those that fail with their mistake."""
    with contextlib.suppress(UnexpectedInput):
        read = shapes(line, "line")
        comment = ""
        if read and not isinstance(read[-1], list) and read[-1].type == "COMMENT":
            comment = read.pop().rstrip()
        return [_Piece(0, len(line), read)], comment
    pieces = []
    comment = ""
    for found in _PIECE.finditer(line):
        start, end = found.span()
        if found[0][0] == "#":
            comment = found[0].rstrip()
            continue
        try:
            pieces.append(_Piece(start, end, shapes(TextSlice(line, start, end), "line")))
        except UnexpectedInput:
            pieces.append(_Piece(start, end, [], explain_piece(found[0])))
    return pieces, comment
