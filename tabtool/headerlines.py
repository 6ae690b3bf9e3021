"""The header lines of a text: where each may stand, and what it says.

What the headers are and what each may say is written in `header`.
"""

from __future__ import annotations

import contextlib
import os
import re

from tabtool.diagnostics import Diagnostic, Level, Rule, Span
from tabtool.files import inside
from tabtool.header import FIELDS, Wrong
from tabtool.tune import HeaderLine, UnreadLine

HEADER_VALUE = Rule(
    "header-value", Level.ERROR, "The header's value cannot be understood.", reads=True
)
HEADER_PLACE = Rule(
    "header-place", Level.ERROR, "The header stands where it cannot count.", reads=True
)

COMMENT = re.compile(r"(?:^|\s)#")
_FREE_TEXT_COMMENT = re.compile(r"(?:^|\s)#(?=\s|$)")  # a title may say "Tune #3"
_FREE_TEXT = ("title", "composer")


class HeaderLines:
    """The header lines of one text, read as they come; told where sections and bars begin.

    Files they name lie in `folder`, and are read only within the folder `within`, anywhere
    where that is empty.
    """

    def __init__(self, folder: str, within: str) -> None:
        self.folder = folder
        self.within = within
        self.in_section = False
        self.in_music = False  # bars since the section began
        self.given: dict[str, int] = {}  # the line of each header since the section began

    def begin_section(self) -> None:
        """A section line has been read."""
        self.in_section, self.in_music = True, False
        self.given = {}

    def begin_music(self) -> None:
        """A line of bars has been read."""
        self.in_music = True

    def read(
        self, name: str, typed: str, place: Span, whole: Span
    ) -> tuple[HeaderLine | UnreadLine, Diagnostic | None]:
        """The header `name` of the line at `whole`, whose value and comment were `typed` from
        `place` on; and what is wrong with it."""
        misplaced = self.misplaced(name)
        if misplaced:
            return UnreadLine(whole), HEADER_PLACE.at(whole, *misplaced)
        self.given.setdefault(name, whole.line)
        value, comment, span = _parted(name, typed, place)
        try:
            if not value:
                raise Wrong(f"'{name}' says nothing", f"write, for example, {FIELDS[name].example}")
            canonical, parsed = self.meaning(name, value)
        except Wrong as wrong:
            fault = HEADER_VALUE.at(span if value else whole, wrong.message, wrong.help)
            return HeaderLine(name, value, None, span, comment), fault
        return HeaderLine(name, canonical, parsed, span, comment), None

    def presumed(self, name: str, typed: str, place: Span, whole: Span) -> HeaderLine | UnreadLine:
        """A misspelt header as the one probably meant, so that it draws no further errors."""
        if not self.misplaced(name):
            value, comment, span = _parted(name, typed, place)
            with contextlib.suppress(Wrong):
                canonical, parsed = self.meaning(name, value)
                return HeaderLine(name, canonical, parsed, span, comment)
        return UnreadLine(whole)

    def misplaced(self, name: str) -> tuple[str, str] | None:
        """Why a header cannot stand in this line, and what to do about it."""
        if self.in_music:
            return (
                f"'{name}' in the middle of the music",
                "begin a new [section] and write the header under it",
            )
        if self.in_section and not FIELDS[name].sectional:
            return f"'{name}' holds for the whole tune", "write it above the first [section]"
        if name in self.given:
            return (
                f"'{name}' stands here a second time",
                f"keep one; the first is in line {self.given[name]}",
            )
        return None

    def meaning(self, name: str, value: str) -> tuple[str, object]:
        """What a header's value says, as canonical text and as meaning; `Wrong` if nothing."""
        field = FIELDS[name]
        if self.within and field.suffix and value.lower().endswith(field.suffix):
            path = os.path.join(self.folder, os.path.expanduser(value))
            if not inside(path, self.within):
                raise Wrong(
                    f"'{value}' lies outside the opened folder", "put the file beside the tune"
                )
        return field.read(value, self.folder)


def _parted(name: str, typed: str, place: Span) -> tuple[str, str, Span]:
    """The value of a header line, its comment, and the place of the value."""
    value, comment = cut(typed, _FREE_TEXT_COMMENT if name in _FREE_TEXT else COMMENT)
    return value, comment, place._replace(end_column=place.column + max(len(value), 1))


def cut(text: str, comment: re.Pattern[str] = COMMENT) -> tuple[str, str]:
    """A text and the comment behind it, both without the spaces around."""
    found = comment.search(text)
    if not found:
        return text.strip(), ""
    return text[: found.start()].strip(), text[found.start() :].strip()
