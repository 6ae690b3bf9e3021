"""What the tool has to say about a text: where, which rule, how grave, and the mend.

Lines and columns count from 1; ``end_column`` is exclusive. Every span lies on
one line. All stages hand back `Diagnostic` values; nothing but `report` prints.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from typing import NamedTuple


class Level(StrEnum):
    """How grave a diagnostic is."""

    ERROR = "error"  # cannot be read, or cannot be played
    CAUTION = "caution"  # hard to play
    HINT = "hint"  # there is an easier way


class Span(NamedTuple):
    """A stretch of one line of one file."""

    file: str
    line: int
    column: int
    end_column: int


class Rule(NamedTuple):
    """A kind of diagnostic: a stable name in plain words, its usual level, its meaning.

    ``reads`` is true for rules of reading: the text could not be understood there,
    as against music that was understood and cannot be played.
    """

    name: str
    level: Level
    meaning: str
    reads: bool = False

    def at(
        self, span: Span, message: str, help: str = "", level: Level | None = None
    ) -> Diagnostic:
        """This rule, broken at `span`; `help` says what to write instead."""
        return Diagnostic(self, span, level or self.level, message, help)


class Diagnostic(NamedTuple):
    """One finding; `message` says what and why, `help` what to write instead."""

    rule: Rule
    span: Span
    level: Level
    message: str
    help: str = ""


class TabError(Exception):
    """A user's mistake outside any text: a bad option, a file that cannot be read.

    The message is one plain line; commands print it and end with status 2.
    """


def in_order(diagnostics: Iterable[Diagnostic]) -> tuple[Diagnostic, ...]:
    """Sorted by place, each finding once (a repeated passage is checked once a pass)."""
    return tuple(sorted(dict.fromkeys(diagnostics), key=lambda d: (d.span, d.rule.name)))


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The choice spelled most like `word`, case aside; None where none is near."""
    import difflib  # only a mistake needs it

    by_lower = {choice.lower(): choice for choice in choices}
    found = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.5)
    return by_lower[found[0]] if found else None
