"""Checks of what one mouth can cover: chords, splits, shakes.

The limits are common practice, no source.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from tabtool.checks.look import Finding, Look, note_check
from tabtool.diagnostics import Level
from tabtool.harp import Technique

WIDEST_CHORD = 5  # neighbouring holes under one mouth
WIDEST_SPLIT = 6  # holes from the lowest to the highest of a split, those blocked included


@note_check("chord-reach", Level.ERROR)
def chord_reach(look: Look) -> Iterator[Finding]:
    """No mouth can play this chord: the holes lie too far apart, or in more than two groups."""
    holes = sorted(tone.hole for tone in look.figure.tones)
    gaps = _gaps(holes)
    span = holes[-1] - holes[0] + 1
    if gaps > 1:
        yield Finding(
            f"holes {_listed(holes)} in one breath: the tongue can block one gap, not {gaps}",
            "write neighbouring holes, or two notes with the holes between them blocked",
        )
    elif span > (WIDEST_SPLIT if gaps else WIDEST_CHORD):
        most = WIDEST_SPLIT if gaps else WIDEST_CHORD
        yield Finding(
            f"holes {_listed(holes)} in one breath cover {span} holes; a mouth covers {most}",
            "play them one after the other" if len(holes) == 2 else "leave out the outer notes",
        )


@note_check("tongue-split", Level.HINT)
def tongue_split(look: Look) -> Iterator[Finding]:
    """A split: the tongue must block the holes between."""
    holes = sorted(tone.hole for tone in look.figure.tones)
    if _gaps(holes) != 1 or holes[-1] - holes[0] >= WIDEST_SPLIT:
        return
    if look.player.tongue_blocking is True:
        return
    blocked = [hole for hole in range(holes[0], holes[-1]) if hole not in holes]
    level = Level.ERROR if look.player.tongue_blocking is False else None
    said = "; this player does not tongue-block" if level else ""
    lowest, highest = look.figure.tones[0], look.figure.tones[-1]
    yield Finding(
        f"the split {_listed(holes)} needs the tongue on {_holes(blocked)}{said}",
        f"without tongue blocking play {lowest.token} or {highest.token} alone" if level else "",
        level,
    )


@note_check("chord-bend", Level.CAUTION)
def chord_bend(look: Look) -> Iterator[Finding]:
    """A chord with a bent reed: the mouth that bends one reed pulls at all of them."""
    if len(look.figure.tones) < 2:
        return
    over = [tone for tone in look.figure.tones if tone.overbent]
    bent = [tone for tone in look.figure.tones if tone.technique is Technique.BEND]
    if over:
        yield Finding(
            f"{over[0]} in a chord: an overbend needs one hole alone",
            f"write {over[0].token} by itself, or the chord without it",
            Level.ERROR,
        )
    elif bent:
        others = [tone for tone in look.figure.tones if tone not in bent]
        stays = "stays where it is" if len(others) == 1 else "stay where they are"
        rest = f" while {' and '.join(map(str, others))} {stays}" if others else ""
        yield Finding(
            f"{' and '.join(map(str, bent))} in a chord{rest}: the mouth that bends one reed "
            "pulls at them all",
            f"play {bent[0].token} alone, or the chord unbent",
        )


@note_check("shake", Level.CAUTION)
def shake(look: Look) -> Iterator[Finding]:
    """A shake between holes that are no neighbours, or on an overbend."""
    other = look.figure.shake
    if other is None:
        return
    first = look.figure.tones[0]
    if abs(first.hole - other.hole) > 1:
        beside = first.hole + (1 if other.hole > first.hole else -1)
        yield Finding(
            f"a shake between {first.hole} and {other.hole} crosses the holes between",
            f"shake neighbouring holes, such as {first.hole}~{beside}{first.arrow}",
        )
    if first.overbent or other.overbent:
        yield Finding("a shake on an overbend hardly speaks", "play the overbend alone")


def _gaps(holes: list[int]) -> int:
    return sum(two - one > 1 for one, two in itertools.pairwise(holes))


def _listed(holes: list[int]) -> str:
    return "+".join(map(str, holes))


def _holes(holes: list[int]) -> str:
    if len(holes) == 1:
        return f"hole {holes[0]}"
    return f"holes {holes[0]} {'and' if len(holes) == 2 else 'to'} {holes[-1]}"


CHECKS = (chord_reach, tongue_split, chord_bend, shake)
