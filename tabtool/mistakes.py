"""What a player probably meant by a piece of a line that is no beat.

`explain` looks at the text alone, finds the first thing in it that cannot stand
there, and says what to write instead. It knows the slips of typing and the other
ways tab is written on paper, so that someone used to those is told the sign here.
"""

from __future__ import annotations

import re
from typing import NamedTuple


class Mistake(NamedTuple):
    """A pattern of wrong text; `message` and `help` may name its groups."""

    pattern: re.Pattern[str]
    message: str
    help: str


def _mistake(pattern: str, message: str, help: str) -> Mistake:
    return Mistake(re.compile(pattern), message, help)


_NOTE = r"\d{1,2}(?:\^{1,2}|[vV]{1,2}|↑{1,2}|↓{1,2})(?:\d{1,2}(?:\.\d+)?)?\*?"
_MARK = r"[~!;@\\/]"

# In order: the first that matches anywhere in the piece is told, at its place.
MISTAKES = (
    _mistake(r'(?P<it>"[^"]*)$', "a chord symbol that does not end", 'close it: {it}"'),
    _mistake(
        r'(?P<it>"[^"]*"$)',
        "a chord symbol with nothing behind it",
        "write the share of the beat it begins on directly behind it: {it}4v, {it}- or {it}.",
    ),
    _mistake(
        r"(?P<it>[‐‑‒–—−]+)",
        "a dash of another kind than the hyphen on the keyboard",
        "a hold is the plain - alone: 4v - or 4v,-",
    ),
    _mistake(r"(?P<it>:)", "a colon that belongs to no bar line", "repeats are written |: and :|"),
    _mistake(
        r"(?P<it>\d{1,2}[.,]\d+[vV^])",
        "a hole number is whole",
        "write the depth behind the arrow, such as 3v0.5",
    ),
    _mistake(
        r"(?P<it>(?P<hole>\d{1,2})(?P<arrow>[vV^])\.(?P<part>\d))",
        "a depth that begins with a point",
        "write {hole}{arrow}0.{part}",
    ),
    _mistake(
        r"(?P<it>(?P<hole>\d{1,2})(?:[oO]|[vV^][oO]))",
        "'o' is no sign here",
        "an overblow is written {hole}^^ and an overdraw {hole}vv",
    ),
    _mistake(
        r"(?P<it>(?P<hole>\d{1,2})(?P<ticks>['’′`]+))",
        "bends are counted in figures, after the arrow",
        "write {hole}v{count} or {hole}^{count}",
    ),
    _mistake(
        r"(?P<it>(?P<note>\d{1,2}(?:[vV]|\^))(?P<ticks>['’′`\"″]+))",
        "bends are counted in figures",
        "write {note}{count}",
    ),
    _mistake(
        r"(?P<it>(?P<note>\d{1,2}(?:[vV]|\^))[b#♭♯]+)",
        "'b' and '#' are no signs of bending here",
        "write the depth in semitones: {note}1",
    ),
    _mistake(
        r"(?P<it>(?P<hole>\d{1,2})[bB])(?![a-z])",
        "'b' does not say which way the breath goes",
        "write {hole}^ to blow, {hole}v to draw, {hole}v1 for a bend",
    ),
    _mistake(r"(?P<it>(?P<hole>\d{1,2})[dD])(?![a-z])", "draw is written v", "write {hole}v"),
    _mistake(
        r"^(?P<it>-(?P<hole>\d{1,2}))(?![\d^vV])",
        "a sign before the hole does not say the breath here",
        "write {hole}v to draw",
    ),
    _mistake(
        r"^(?P<it>\+(?P<hole>\d{1,2}))(?![\d^vV])",
        "a sign before the hole does not say the breath here",
        "write {hole}^ to blow",
    ),
    _mistake(
        r"^(?P<it>(?P<arrow>[vV^↑↓]{1,2})(?P<hole>\d{1,2}))",
        "the arrow stands before its hole",
        "write the hole first: {hole}{arrow}",
    ),
    _mistake(
        rf"(?P<it>(?P<a>{_NOTE})-)",
        "a hold that touches a note",
        "write {a},- within a beat, or {a} - for another beat",
    ),
    _mistake(
        rf"(?P<it>-(?P<a>{_NOTE}))",
        "a hold that touches a note",
        "write -,{a} within a beat, or - {a} for another beat",
    ),
    _mistake(
        rf"(?P<it>(?P<a>{_NOTE})/)",
        "a scoop stands before its note, a fall after it",
        "write /{a} to scoop up into it, {a}\\ to fall off",
    ),
    _mistake(
        rf"(?P<it>\\(?P<a>{_NOTE}))",
        "a fall stands after its note, a scoop before it",
        "write {a}\\ to fall off, /{a} to scoop up into it",
    ),
    _mistake(
        r"(?P<it>(?P<a>\d{1,2}\^)(?P<b>\d{1,2})(?P<c>[vV^][\d.]*))",
        "two notes touch",
        "write {a} {b}{c} for two beats, or {a},{b}{c} for one beat shared",
    ),
    _mistake(
        r"(?P<it>(?P<a>\d{1,2}[vV])(?P<b>\d{1,2})(?P<c>[vV^][\d.]*))",
        "two notes touch",
        "write {a} {b}{c} for two beats, or {a},{b}{c} for one beat shared",
    ),
    _mistake(
        r"(?P<it>(?P<hole>\d{1,2})(?:\^v|v\^|V\^|\^V)[\d.]*)",
        "two different arrows on one note",
        "write {hole}^ to blow or {hole}v to draw",
    ),
    _mistake(
        r"(?P<it>(?P<hole>\d{1,2})(?P<arrow>[vV]{3,}|\^{3,}))",
        "too many arrows",
        "one arrow is blow or draw, two are an overblow {hole}^^ or overdraw {hole}vv",
    ),
    _mistake(
        rf"(?P<it>(?:{_MARK})+$)",
        "a mark with no note",
        "marks touch their note: /4v, 4v\\, 4v~, 4v!",
    ),
    _mistake(
        r"(?P<it>\{[^}]*$)", "grace notes that do not end", "close them with a brace: {it}}}4v"
    ),
    _mistake(
        r"(?P<it>\{[^}]*\})(?=$|[,)])",
        "grace notes with no note behind them",
        "write the main note directly behind: {it}4v",
    ),
    _mistake(
        r"(?P<it>(?<![\d.])[vV^↑↓]+)$",
        "an arrow without a hole",
        "write the hole and its arrow without a space: 4v",
    ),
    _mistake(
        r"^(?P<it>,)",
        "a beat cannot begin with a comma",
        "a comma joins two parts of one beat, without spaces: 4v,4^",
    ),
    _mistake(
        r"(?P<it>,)$",
        "a beat cannot end with a comma",
        "a comma joins two parts of one beat, without spaces: 4v,4^",
    ),
    _mistake(
        r"(?P<it>,,+)", "an empty share of the beat", "write . for silence or - to hold on: 4v,.,4^"
    ),
    _mistake(r"(?P<it>\(\))", "an empty share of the beat", "write what sounds in it: (4v,4^)"),
    _mistake(
        r"(?P<it>(?:\.\.+|--+))",
        "one sign a share",
        "put a space for the next beat, or a comma within the beat",
    ),
    _mistake(
        r"(?P<it>\*)", "the slide sign stands behind the arrow", "write 3v* for the slide held in"
    ),
)


def explain(piece: str) -> tuple[int, int, str, str]:
    """Where the mistake in a piece of a line lies, what it is, and what to write instead.

    The place is the start and the end of the span as offsets into the piece; for a
    piece that fits no known mistake it is the whole piece.
    """
    opened, closed = piece.count("("), piece.count(")")
    if opened != closed:
        return (
            0,
            len(piece),
            f"{opened} opening and {closed} closing parentheses",
            "close what is opened, within one beat: 4v,(4^,4v)",
        )
    for mistake in MISTAKES:
        found = mistake.pattern.search(piece)
        if found:
            words: dict[str, object] = dict(found.groupdict())
            ticks = found.groupdict().get("ticks") or ""
            words["count"] = sum(2 if tick in '"″' else 1 for tick in ticks)
            start, end = found.span("it")
            return start, end, mistake.message, mistake.help.format(**words)
    return (
        0,
        len(piece),
        f"'{piece}' is no beat",
        "a note is holes, an arrow and a depth: 4^ blow, 4v draw, 2v2 draw bent 2, 6^^ overblow; "
        ". is silence and - holds on",
    )
