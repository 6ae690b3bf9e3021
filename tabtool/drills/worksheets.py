"""Worksheets: which note is it, and where else does it sound? With a separate answer sheet."""

from __future__ import annotations

from random import Random
from typing import NamedTuple

from tabtool.drills.ground import shuffled
from tabtool.harp import Harp, Technique, Tone, Way
from tabtool.player import Player
from tabtool.report import table

BLANK = "_" * 10


class Question(NamedTuple):
    """A way to sound a note, and every other: the way and how many octaves away it sounds.

    Where `named` the note is given and the ways are asked for, else the other way about.
    """

    way: Way
    elsewhere: tuple[tuple[Tone, int], ...]
    named: bool


class Worksheet(NamedTuple):
    """Questions on one harp; the same `seed` asks the same."""

    harp: Harp
    questions: tuple[Question, ...]
    seed: int


def worksheet(
    harp: Harp,
    player: Player = Player(),  # noqa: B008 (immutable)
    count: int = 20,
    seed: int = 1,
) -> Worksheet:
    """As many questions as asked for, or as the harp has notes within the player's reach.

    Two in three give the tab and ask for its note, the others give the note and ask for the
    tab. Overbends are asked of players who have them.
    """
    rng = Random(f"{seed}/worksheet")
    ways = [way for way in harp.ways if _reaches(player, way.tone)]
    chosen = shuffled(rng, ways)[:count]
    asked = []
    for number, way in enumerate(chosen):
        others = [
            (other.tone, int(other.pitch - way.pitch) // 12)
            for other in ways
            if other.tone != way.tone and (other.pitch - way.pitch) % 12 == 0
        ]
        others.sort(key=lambda other: (abs(other[1]), other[1], other[0].hole))
        asked.append(Question(way, tuple(others), number % 3 == 2))
    return Worksheet(harp, tuple(asked), seed)


def as_questions(sheet: Worksheet) -> str:
    """The sheet with blanks."""
    return _page(sheet, answers=False)


def as_answers(sheet: Worksheet) -> str:
    """The same sheet filled in."""
    return _page(sheet, answers=True)


def _page(sheet: Worksheet, answers: bool) -> str:
    head = f"{sheet.harp}, worksheet {sheet.seed}{', answers' if answers else ''}"
    harp = sheet.harp
    by_tab: list[tuple[str, ...]] = []
    by_name: list[tuple[str, ...]] = []
    for question in sheet.questions:
        way = question.way
        name = harp.named(way.pitch)
        places = ", ".join(_place(tone, octaves) for tone, octaves in question.elsewhere)
        if question.named:
            here = [way.tone, *(tone for tone, octaves in question.elsewhere if not octaves)]
            tabs = " or ".join(tone.token for tone in here)
            far = ", ".join(_place(t, o) for t, o in question.elsewhere if o) or "nowhere else"
            number = f"{len(by_name) + 1}."
            row = (tabs, far) if answers else (BLANK, BLANK * 3)
            by_name.append((number, name, *row))
        else:
            number = f"{len(by_tab) + 1}."
            row = (name, places or "nowhere else") if answers else (BLANK, BLANK * 3)
            by_tab.append((number, way.tone.token, *row))
    parts = [head, ""]
    if by_tab:
        parts.append("Which note is it, and where else does it sound?")
        parts += [table(("", "tab", "note", "also at, and how many octaves away"), by_tab), ""]
    if by_name:
        parts.append("How is it played, and where are its octaves?")
        parts += [table(("", "note", "tab", "also at, and how many octaves away"), by_name), ""]
    return "\n".join(parts)


def _place(tone: Tone, octaves: int) -> str:
    """``5v (+1)``: the tab, and the octaves it lies above."""
    return f"{tone.token} ({octaves:+d})" if octaves else f"{tone.token} (same)"


def _reaches(player: Player, tone: Tone) -> bool:
    if tone.overbent:
        return player.overbends is True
    return tone.technique is Technique.NATURAL or player.can_bend(tone.depth)
