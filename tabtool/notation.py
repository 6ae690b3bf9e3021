"""The grammar at work: what lark makes of a line of bars, and what one note token means.

The one module that builds the lark parser and finds the grammar; `bars` deals with lines of
bars, `parse` with whole texts. Lark is given a transformer, so no tree is built: a beat comes as
a list of tokens, a split as a tuple, and a note token is read by the same grammar from its own
start rule.
"""

from __future__ import annotations

import os
from functools import cache, lru_cache
from typing import Any

from lark import Lark, TextSlice, Token, Transformer
from lark.exceptions import UnexpectedInput

from tabtool.diagnostics import Level, Rule
from tabtool.harp import Breath, Technique, Tone
from tabtool.tune import Barline, Figure, Marks

UNREADABLE = Rule("unreadable", Level.ERROR, "The text is not in the notation.", reads=True)


def parse_figure(token: str) -> Figure:
    """One note token such as ``2v2`` as a figure; `NoteError` (a ValueError) if it is none."""
    return figure_of(token)


class _Shape(Transformer[Token, Any]):
    """What lark matched, as nested tokens: a beat is a list, a split a tuple.

    Given to lark, which then builds no tree; it keeps no state, so one parser serves all.
    """

    def line(self, items: list[Any]) -> list[Any]:
        return items

    def beat(self, items: list[Any]) -> list[Any]:
        return items

    def share(self, items: list[Any]) -> Any:
        return items[0] if len(items) == 1 else {"symbol": items[0], "share": items[1]}

    def split(self, items: list[Any]) -> tuple[Any, ...]:
        return tuple(items)

    def note(self, items: list[Any]) -> list[Any]:
        return items

    def tone(self, items: list[Any]) -> list[Any]:
        return items


class NoteError(ValueError):
    """A token that makes no note: what is wrong with it, and what to write instead."""

    def __init__(self, message: str, help: str) -> None:
        super().__init__(f"{message}; {help}")
        self.message, self.help = message, help


def _meaning(items: list[Any]) -> Figure:
    """A figure from the tokens of a note."""
    tones: list[list[Token]] = []
    joins: list[str] = []
    signs: dict[str, str] = {}
    for item in items:
        if isinstance(item, list):
            tones.append(item)
        elif item.type == "JOIN":
            joins.append(str(item))
        elif item.type in signs:
            raise NoteError(f"the mark {item} stands twice on one note", f"keep one {item}")
        else:
            signs[item.type] = str(item)
    marks = Marks(
        scoop=len(signs.get("SCOOP", "")),
        fall=len(signs.get("FALL", "")),
        dip=max(0, len(signs.get("DIP", "")) - 1),
        vibrato="VIBRATO" in signs,
        accent="ACCENT" in signs,
        staccato="STACCATO" in signs,
        wah="WAH" in signs,
    )
    played = _tones(tones)
    written = signs["GRACE"][1:-1].split(",") if "GRACE" in signs else []
    grace = tuple([figure_of(text) for text in written if text])
    if not all(written) or any(figure.grace for figure in grace):
        raise NoteError(
            "grace notes that are no notes", "write them between braces: {5v}4v or {5v,6v}4v"
        )
    if "~" not in joins:
        return Figure(played, marks, grace=grace)
    if len(played) != 2:
        raise NoteError("a shake goes between two holes", "write the two holes, such as 4~5v")
    return Figure(played[:1], marks, played[1], grace)


@lru_cache(maxsize=4096)
def figure_of(token: str) -> Figure:
    """The meaning of one note token; tunes say the same few again and again."""
    try:
        return _meaning(shapes(token, "note"))
    except UnexpectedInput:
        _, _, message, help = explain_piece(token)
        raise NoteError(message, help) from None


def _tones(written: list[list[Token]]) -> tuple[Tone, ...]:
    """Tones from hole, arrow, depth and slide tokens; an arrow serves the holes before it."""
    tones: list[Tone] = []
    arrow: list[Token] = []
    for hole_token, *own in reversed(written):
        arrow = own or arrow
        hole = int(hole_token)
        if not arrow:
            raise NoteError(
                f"{hole} does not say which way the breath goes",
                f"write {hole}^ to blow or {hole}v to draw",
            )
        sign, depth, slide = str(arrow[0]), 0.0, False
        for token in arrow[1:]:
            if token.type == "DEPTH":
                depth = float(token)
                if not depth:
                    raise NoteError("a bend of no depth", f"write {hole}{sign} without the {token}")
                if depth % 0.5:
                    raise NoteError(
                        f"{token} is no depth: depths are counted in semitones and quarter tones",
                        f"write {hole}{sign}{round(depth * 2) / 2 or 0.5:g}",
                    )
            else:
                slide = True
        breath = Breath.BLOW if sign[0] in "^↑" else Breath.DRAW
        if len(sign) == 2:
            technique = Technique.OVERBLOW if breath is Breath.BLOW else Technique.OVERDRAW
        else:
            technique = Technique.BEND if depth else Technique.NATURAL
        tones.append(Tone(hole, breath, technique, depth, slide))
    tones.reverse()
    holes = [tone.hole for tone in tones]
    if len(set(holes)) < len(holes):
        raise NoteError("the same hole twice in one chord", "name each hole once")
    if len({tone.breath for tone in tones}) > 1:
        raise NoteError(
            "blow and draw at once: one breath goes one way",
            "write holes of one breath, such as 2+3v, or two notes",
        )
    if len({tone.slide for tone in tones}) > 1:
        raise NoteError(
            "the slide is in for one note of the chord and out for another",
            "write * on every arrow of the chord or on none",
        )
    return tuple(tones)


def barline_of(text: str) -> Barline:
    """The meaning of a bar line token."""
    return Barline(
        opens=text.endswith(":"),
        closes=text.startswith(":"),
        double="||" in text,
        final="]" in text,
        ending=int(text[-1]) if text[-1].isdigit() else 0,
    )


def explain_piece(piece: str) -> tuple[int, int, str, str]:
    """`mistakes.explain`, loaded only where there is a mistake to explain."""
    from tabtool.mistakes import explain  # many patterns to compile

    return explain(piece)


def shapes(text: str | TextSlice[str], start: str) -> list[Any]:
    """What `_Shape` makes of a text; lark's own types know nothing of transformers."""
    made: Any = _lark().parse(text, start=start)
    return list(made)


@cache
def _lark() -> Lark:
    """The grammar, which an installed package carries inside and a checkout beside itself.

    Lark keeps what it made of the grammar in the ``__pycache__`` there, as Python does with
    its own sources; building it anew takes longer than all else a short command does.
    """
    here = os.path.dirname(os.path.abspath(__file__))
    for folder in (os.path.join(here, "grammar"), os.path.join(os.path.dirname(here), "grammar")):
        path = os.path.join(folder, "tab.lark")
        if os.path.exists(path):
            with open(path, encoding="utf-8") as file:
                grammar = file.read()
            start = ["line", "note"]
            kept = _kept(folder)
            return Lark(grammar, parser="lalr", start=start, transformer=_Shape(), cache=kept)
    raise FileNotFoundError("the grammar tab.lark is not part of this installation")


def _kept(folder: str) -> str | bool:
    """Where lark may keep the built grammar; False where nothing may be written."""
    kept = os.path.join(folder, "__pycache__")
    try:
        os.makedirs(kept, exist_ok=True)
    except OSError:
        return False
    return os.path.join(kept, "tab.lark.built") if os.access(kept, os.W_OK) else False
