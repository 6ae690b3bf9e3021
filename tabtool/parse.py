"""Text to `Tune`, line by line.

Header, section, lyric and comment lines are told apart here; what a header line says is
read by `headerlines`, a line of bars by `bars`. What cannot be read stays in the tune
(`UnreadLine`, `Broken`) and is told of by a diagnostic with the place, what was expected
and what to write instead.
"""

from __future__ import annotations

import os
import re

from tabtool.bars import Known, read_bars
from tabtool.diagnostics import Diagnostic, Level, Rule, Span, nearest
from tabtool.header import FIELDS
from tabtool.headerlines import HeaderLines, cut
from tabtool.notation import UNREADABLE
from tabtool.tune import (
    BlankLine,
    CommentLine,
    Line,
    LyricLine,
    MusicLine,
    SectionLine,
    Tune,
    UnreadLine,
)

UNKNOWN_HEADER = Rule("unknown-header", Level.ERROR, "There is no such header.", reads=True)

_HEADER = re.compile(r"\s*([A-Za-z][\w ]*?)\s*:(?!\|)\s*(.*)$")
_SECTION = re.compile(r"\s*(\[([^\[\]]*)\])\s*(#.*)?$")
# What no other line has in it; not compiled here, as most texts have no such line.
_BARS = r"\||[0-9][vV^↑↓]|[vV^↑↓][0-9]"


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
    folder = os.path.dirname(file) if folder is None else folder
    reading = _Reading(file, HeaderLines(folder, within), known)
    lines: list[Line] = []
    for number, line in enumerate(_split_lines(text), start=1):
        lines.append(reading.line(line, number, lines))
    while len(lines) > 1 and isinstance(lines[-1], BlankLine):
        lines.pop()
    return Tune(tuple(lines), file), tuple(reading.found)


class _Reading:
    """One pass over the lines of one text."""

    def __init__(self, file: str, headers: HeaderLines, known: Known | None) -> None:
        self.file = file
        self.headers = headers
        self.known = known
        self.found: list[Diagnostic] = []

    def line(self, line: str, number: int, above: list[Line]) -> Line:
        """Read a line, knowing those above it."""
        bare = line.strip()
        if not bare:
            return BlankLine(Span(self.file, number, 1, 2))
        column = len(line) - len(line.lstrip()) + 1
        whole = Span(self.file, number, column, column + len(bare))
        if bare[0] == "#":
            return CommentLine(bare, whole)
        if bare[0] == "[":
            return self.section(line, whole)
        if bare[0].isalpha():
            header = _HEADER.match(line)
            if header:
                return self.named(header, whole, above)
            if not re.search(_BARS, line):
                return self.unread(
                    whole,
                    "this line is no header, section, lyric or line of bars",
                    "write name: value, [section], bars such as | 4v 4^ |, or # before a comment",
                )
        self.headers.begin_music()
        music, faults = read_bars(line, whole, self.known)
        self.found += faults
        return music

    def unread(self, whole: Span, message: str, help: str) -> UnreadLine:
        self.found.append(UNREADABLE.at(whole, message, help))
        return UnreadLine(whole)

    def section(self, line: str, whole: Span) -> Line:
        found = _SECTION.match(line)
        if not found:
            return self.unread(
                whole,
                "a section name stands alone between brackets",
                "write it on its own line, such as [head]",
            )
        self.headers.begin_section()
        name, comment = " ".join(found[2].split()), (found[3] or "").strip()
        return SectionLine(name, _place(found, 1, whole), comment)

    def named(self, line: re.Match[str], whole: Span, above: list[Line]) -> Line:
        """A line that begins with a name and a colon: a header or a lyric."""
        name = " ".join(line[1].lower().split())
        if name not in (*FIELDS, "lyric"):
            near = nearest(name, (*FIELDS, "lyric"))
            self.found.append(
                UNKNOWN_HEADER.at(
                    _place(line, 1, whole),
                    f"there is no header '{line[1]}'",
                    (f"write {near}: …; " if near else "") + f"headers are {', '.join(FIELDS)}",
                )
            )
            if near is None:
                return UnreadLine(whole)
            if near != "lyric":
                return self.headers.presumed(near, line[2], _place(line, 2, whole), whole)
            name = near
        if name == "lyric":
            return self.lyric(line[2], _place(line, 2, whole), whole, above)
        header, fault = self.headers.read(name, line[2], _place(line, 2, whole), whole)
        if fault:
            self.found.append(fault)
        return header

    def lyric(self, typed: str, place: Span, whole: Span, above: list[Line]) -> Line:
        """A lyric line, whose syllables and comment were `typed` from `place` on."""
        sung_to = _sung_to(above)
        if sung_to is None:
            return self.unread(
                whole,
                "a lyric line with no line of bars above it",
                "write it directly under the bars it is sung to",
            )
        if isinstance(sung_to, UnreadLine):  # nor can words be laid under what is unread
            return UnreadLine(whole)
        text, comment = cut(typed)
        syllables = tuple(
            (
                found[0],
                place._replace(
                    column=place.column + found.start(), end_column=place.column + found.end()
                ),
            )
            for found in re.finditer(r"\||[^\s|]+", text)
        )
        return LyricLine(syllables, whole, comment)


def _place(found: re.Match[str], group: int, whole: Span) -> Span:
    """Where a group of a match lies in its line."""
    start, end = found.span(group)
    return whole._replace(column=start + 1, end_column=end + 1)


def _split_lines(text: str) -> list[str]:
    """Lines as editors count them: ended by LF, CR LF or CR; tabs count as one column."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _sung_to(above: list[Line]) -> MusicLine | UnreadLine | None:
    """The line of bars that a lyric line under these belongs to, or the unread one in its place."""
    for line in reversed(above):
        if isinstance(line, (MusicLine, UnreadLine)):
            return line
        if not isinstance(line, (LyricLine, CommentLine)):
            return None
    return None
