"""What a check is given and what it hands back.

A *note check* looks at one figure on one harp; its verdict is kept for every place the
same figure stands. A *passage check* looks at the notes in the order they are played.
Both are plain functions; a check's docstring is its explanation.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from tabtool.diagnostics import Diagnostic, Level, Rule
from tabtool.events import NoteEvent
from tabtool.harp import Harp, Technique, Tone
from tabtool.header import Setting
from tabtool.player import Player
from tabtool.tune import Figure


class Finding(NamedTuple):
    """What a note check found; `level` where it differs from the rule's own."""

    message: str
    help: str = ""
    level: Level | None = None


class Look(NamedTuple):
    """One figure under the glass."""

    figure: Figure
    harp: Harp
    setting: Setting
    player: Player

    def name(self, pitch: float) -> str:
        return self.setting.name(pitch)

    def reed_name(self, tone: Tone) -> str:
        """``5 draw is F5``, the reed of this hole and breath at rest."""
        reed = self.harp.reed(tone.hole, tone.breath, tone.slide)
        assert reed is not None
        return f"{tone.hole} {tone.breath} is {self.name(reed)}"

    def elsewhere(self, tone: Tone) -> str:
        """Where the pitch this tone asks for does sound: ``E5 itself is 5 blow (5^)``.

        Empty for a quarter tone, which is looked for nowhere else.
        """
        pitch = self.harp.intended(tone)
        if pitch is None or pitch % 1:
            return ""
        ways = [way.tone for way in self.harp.ways_by_pitch.get(pitch, ()) if way.tone != tone]
        if ways:
            return f"{self.name(pitch)} itself is " + " or ".join(
                f"{way} ({way.token})" for way in sorted(ways, key=_ease)
            )
        return f"{self.name(pitch)} is not on this harp"


def _ease(tone: Tone) -> tuple[int, float]:
    order = (Technique.NATURAL, Technique.BEND, Technique.OVERBLOW, Technique.OVERDRAW)
    return order.index(tone.technique), tone.depth


class NoteCheck(NamedTuple):
    """A rule and the function that judges one figure by it."""

    rule: Rule
    look: Callable[[Look], Iterator[Finding]]


class PassageCheck(NamedTuple):
    """A rule and the function that judges the notes in played order by it."""

    rule: Rule
    look: Callable[[Rule, tuple[NoteEvent, ...], Player], Iterator[Diagnostic]]


def note_check(
    name: str, level: Level
) -> Callable[[Callable[[Look], Iterator[Finding]]], NoteCheck]:
    """Make a function a note check; its docstring becomes the rule's meaning."""
    return lambda look: NoteCheck(Rule(name, level, _meaning(look.__doc__)), look)


def passage_check(
    name: str, level: Level
) -> Callable[
    [Callable[[Rule, tuple[NoteEvent, ...], Player], Iterator[Diagnostic]]], PassageCheck
]:
    """Make a function a passage check; its docstring becomes the rule's meaning."""
    return lambda look: PassageCheck(Rule(name, level, _meaning(look.__doc__)), look)


def _meaning(docstring: str | None) -> str:
    return " ".join((docstring or "").split())
