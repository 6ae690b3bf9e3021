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


_HOLE = r"[0-9]{1,2}"
_TONE = rf"{_HOLE}(?:(?:\^{{1,2}}|[vV]{{1,2}}|↑{{1,2}}|↓{{1,2}})(?:[0-9]{{1,2}}(?:\.[0-9]+)?)?\*?)"
_NOTE = rf"(?:{_HOLE}[+~])*{_TONE}(?:[+~](?:{_HOLE}[+~])*{_TONE})*"
_MARK = r"[~!;@\\/]"
_BEGINS = r"(?:^|(?<=[,(\"]))"  # where a share begins
_ENDS = r"(?=$|[,)])"
# A share that is right, as far as one can tell without the grammar.
_SHARE = re.compile(rf'(?:"[^"]*")?(?:\.|-|(?:\{{[^{{}}]*\}})?/*{_NOTE}{_MARK}*)?')

# In order: the first that matches anywhere in the piece is told, at its place.
MISTAKES = (
    _mistake(
        rf"(?P<it>(?P<note>{_HOLE}(?:[vV]|\^))(?P<ticks>['’′`″]+|\"{_ENDS}))",
        "bends are counted in figures",
        "write {note}{count}",
    ),
    _mistake(
        rf"(?P<it>(?P<hole>{_HOLE})(?P<ticks>['’′`″]+))",
        "bends are counted in figures, after the arrow",
        "write {hole}v{count} or {hole}^{count}",
    ),
    _mistake(r"(?P<it>[“”„])", "a quotation mark of print", 'write plain quotes: "G7"4v'),
    _mistake(
        r'^(?:[^"]*"[^"]*")*[^"]*(?P<it>"[^"]*)$',
        "a chord symbol that does not end",
        'close it: {it}"',
    ),
    _mistake(
        rf'(?P<it>(?P<a>{_NOTE}|[-.])(?P<b>"[^"]*"))',
        "a chord symbol stands before the note it begins with",
        "write {b}{a}",
    ),
    _mistake(
        rf'(?P<it>"[^"]*"){_ENDS}',
        "a chord symbol with nothing behind it",
        "write the share of the beat it begins on directly behind it: {it}4v, {it}- or {it}.",
    ),
    _mistake(r"(?P<it>:)", "a colon that belongs to no bar line", "repeats are written |: and :|"),
    _mistake(
        r"(?P<it>[‐‑‒–—−]+)",
        "a dash of another kind than the hyphen on the keyboard",
        "a hold is the plain - alone: 4v - or 4v,-",
    ),
    _mistake(r"(?P<it>_+)", "a hold is a hyphen", "write - for each share or beat held on"),
    _mistake(rf"(?P<it>(?P<hole>{_HOLE})[ˆ˄∧⌃⇑⬆△▲])", "blow is written ^", "write {hole}^"),
    _mistake(rf"(?P<it>(?P<hole>{_HOLE})[ˇ∨⇓⬇▽▼])", "draw is written v", "write {hole}v"),
    _mistake(
        r"(?P<it>[0-9]{1,2}[.][0-9]+[vV^])",
        "a hole number is whole",
        "write the depth behind the arrow, such as 3v0.5",
    ),
    _mistake(
        r"(?P<it>[0-9]{3,})(?=[vV^↑↓])",
        "a hole number of more than two figures",
        "holes sounding together are joined by +, such as 2+3+4v",
    ),
    _mistake(
        r"(?<=[vV^↑↓])(?P<it>[0-9]{3,})",
        "a depth of more than two figures",
        "depths are counted in semitones, such as 3v2",
    ),
    _mistake(
        r"(?P<it>(?P<hole>[0-9]{1,2})(?P<arrow>[vV^])\.(?P<part>[0-9]))",
        "a depth that begins with a point",
        "write {hole}{arrow}0.{part}",
    ),
    _mistake(
        rf"(?P<it>(?P<hole>{_HOLE})(?:[oO]|[vV^][oO]))",
        "'o' is no sign here",
        "an overblow is written {hole}^^ and an overdraw {hole}vv",
    ),
    _mistake(
        rf"(?P<it>(?P<note>{_HOLE}(?:[vV]|\^))[b#♭♯]+)",
        "'b' and '#' are no signs of bending here",
        "write the depth in semitones: {note}1",
    ),
    _mistake(
        rf"(?P<it>(?P<hole>{_HOLE})[#♯])",
        "'#' does not say which way the breath goes",
        "write {hole}^ to blow or {hole}v to draw; a comment needs a space before its #",
    ),
    _mistake(
        rf"(?P<it>(?P<hole>{_HOLE})[bB♭])(?![a-z])",
        "'b' does not say which way the breath goes",
        "write {hole}^ to blow, {hole}v to draw, {hole}v1 for a bend",
    ),
    _mistake(rf"(?P<it>(?P<hole>{_HOLE})[dD])(?![a-z])", "draw is written v", "write {hole}v"),
    _mistake(
        rf"{_BEGINS}(?P<it>-(?P<hole>{_HOLE}))(?![0-9^vV↑↓])",
        "a sign before the hole does not say the breath here",
        "write {hole}v to draw",
    ),
    _mistake(
        rf"{_BEGINS}(?P<it>\+(?P<hole>{_HOLE}))(?![0-9^vV↑↓])",
        "a sign before the hole does not say the breath here",
        "write {hole}^ to blow",
    ),
    _mistake(
        rf"{_BEGINS}(?P<it>(?P<hole>{_HOLE})[-+]){_ENDS}",
        "a sign behind the hole does not say the breath here",
        "write {hole}^ to blow, {hole}v to draw",
    ),
    _mistake(
        rf"{_BEGINS}(?P<it>(?P<arrow>[vV^↑↓]{{1,2}})(?P<hole>{_HOLE}))",
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
        rf"{_BEGINS}(?P<it>\.(?P<a>{_NOTE}))",
        "a silence that touches a note",
        "write .,{a} within a beat, or . {a} for another beat",
    ),
    _mistake(
        rf"(?P<it>(?P<a>{_NOTE})\.){_ENDS}",
        "a silence that touches a note",
        "write {a},. within a beat, or {a} . for another beat; ; behind a note is staccato",
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
        rf"{_BEGINS}(?P<it>(?P<mark>[~!;@]+)(?P<a>{_NOTE}))",
        "this mark stands behind its note",
        "write {a}{mark}",
    ),
    _mistake(
        r"(?P<it>\{[^{}]*\{)",
        "grace notes within grace notes",
        "write them in one row: {{5v,6v}}4v",
    ),
    _mistake(
        r"(?P<it>\{[^}]*$)", "grace notes that do not end", "close them with a brace: {it}}}4v"
    ),
    _mistake(
        rf"(?P<it>(?P<scoop>/+)(?P<grace>\{{[^}}]*\}})(?P<a>{_NOTE}))",
        "a scoop stands directly before its note",
        "write {grace}{scoop}{a}",
    ),
    _mistake(
        rf"(?P<it>(?P<a>{_NOTE})(?P<grace>\{{[^}}]*\}}))",
        "grace notes stand before their note",
        "write {grace}{a}",
    ),
    _mistake(
        r"(?P<it>\{[^}]*\})(?=$|[,)])",
        "grace notes with no note behind them",
        "write the main note directly behind: {it}4v",
    ),
    _mistake(
        rf"(?P<it>(?P<hole>{_HOLE})(?:\^[vV]|[vV]\^|↑↓|↓↑)[0-9.]*)",
        "two different arrows on one note",
        "write {hole}^ to blow or {hole}v to draw",
    ),
    _mistake(
        rf"(?P<it>(?P<hole>{_HOLE})(?P<arrow>[vV]{{3,}}|\^{{3,}}))",
        "too many arrows",
        "one arrow is blow or draw, two are an overblow {hole}^^ or overdraw {hole}vv",
    ),
    _mistake(
        rf"(?P<it>(?P<a>{_HOLE}\^{{1,2}})(?P<b>{_HOLE})(?P<c>[vV^↑↓][0-9.]*))",
        "two notes touch",
        "write {a} {b}{c} for two beats, or {a},{b}{c} for one beat shared",
    ),
    _mistake(
        rf"(?P<it>(?P<a>{_HOLE}[vV]{{1,2}})(?P<b>{_HOLE})(?P<c>[vV^↑↓][0-9.]*))",
        "two notes touch",
        "write {a} {b}{c} for two beats, or {a},{b}{c} for one beat shared",
    ),
    _mistake(
        r"(?P<it>\*)(?=[0-9vV^↑↓])",
        "the slide sign stands behind the arrow and the depth",
        "write 3v* for the slide held in, 3v1* for a bend with it",
    ),
    _mistake(
        r"(?P<it>&)", "'&' is no sign here", "holes that sound together are joined by +: 1+2v"
    ),
    _mistake(
        rf"(?P<it>\+(?=$|[^0-9])|{_BEGINS}\+)",
        "a + with a hole on one side only",
        "holes that sound together are joined by +: 2+3v",
    ),
    _mistake(
        rf"{_BEGINS}(?P<it>(?:{_MARK})+$)",
        "a mark with no note",
        "marks touch their note: /4v, 4v\\, 4v~, 4v!",
    ),
    _mistake(
        rf"{_BEGINS}(?P<it>[vV^↑↓]+){_ENDS}",
        "an arrow without a hole",
        "write the hole and its arrow without a space: 4v",
    ),
    _mistake(
        r"(?:^|\()(?P<it>,)",
        "a beat cannot begin with a comma",
        "a comma joins two parts of one beat, without spaces: 4v,4^",
    ),
    _mistake(
        r"(?P<it>,)(?=$|\))",
        "a beat cannot end with a comma",
        "a comma joins two parts of one beat, without spaces: 4v,4^",
    ),
    _mistake(
        r"(?P<it>,,+)", "an empty share of the beat", "write . for silence or - to hold on: 4v,.,4^"
    ),
    _mistake(r"(?P<it>\(\))", "an empty share of the beat", "write what sounds in it: (4v,4^)"),
    _mistake(
        r"(?P<it>\)(?=[^,)])|(?<=[^,(\"])\()",
        "a parenthesis that touches what is beside it",
        "a comma parts the shares of a beat: 4v,(4^,4v); a space begins the next beat",
    ),
    _mistake(
        r"(?P<it>(?:\.\.+|--+))",
        "one sign a share",
        "put a space for the next beat, or a comma within the beat",
    ),
    _mistake(
        rf"{_BEGINS}(?P<it>[A-Ga-g][#b♯♭]?(?:maj|min|dim|sus|add|aug|m)?[0-9]*){_ENDS}",
        "'{it}' is the name of a note or a chord, no hole and breath",
        'a note is written as it is played, such as 4v; a chord of the accompaniment "{it}"4v',
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
            "close what is opened, within one beat and without a space: 4v,(4^,4v)",
        )
    for mistake in MISTAKES:
        found = mistake.pattern.search(piece)
        if found:
            words: dict[str, object] = dict(found.groupdict())
            ticks = found.groupdict().get("ticks") or ""
            words["count"] = sum(2 if tick in '"″' else 1 for tick in ticks)
            start, end = found.span("it")
            return start, end, mistake.message.format(**words), mistake.help.format(**words)
    shares = re.finditer(r'(?:"[^"]*"|[^,()"]|")+', piece)
    wrong = [share for share in shares if not _SHARE.fullmatch(share[0])]
    start, end = wrong[0].span() if wrong else (0, len(piece))
    return (
        start,
        end,
        f"'{piece[start:end]}' is no note",
        "a note is holes, an arrow and a depth: 4^ blow, 4v draw, 2v2 draw bent 2, 6^^ overblow; "
        ". is silence and - holds on",
    )
