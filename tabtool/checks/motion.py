"""Checks of getting from note to note, and of breath over a passage.

The times are common practice, no source: what a good amateur manages cleanly.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from tabtool.checks.look import passage_check
from tabtool.diagnostics import Diagnostic, Level, Rule
from tabtool.events import NoteEvent
from tabtool.harp import Breath, Tone
from tabtool.player import Player

SECONDS_A_HOLE = 0.03  # moving sideways, for each hole beyond the neighbouring one
BEND_CHANGE = 0.1  # seconds from one bent pitch to another, or to or from a bend
OVERBEND_CHANGE = 0.15  # seconds to or from an overbend
LONGEST_BREATH = 15.0  # seconds of one breath direction
BREATHING_REST = 0.5  # seconds of rest that let a player breathe


def leap_seconds(distance: int) -> float:
    """The least time in seconds to cross that many holes cleanly; 0 to the neighbouring one."""
    return max(0, distance - 1) * SECONDS_A_HOLE


def change_seconds(before: Tone, after: Tone, player: Player) -> float:
    """The least time in seconds from one tone to the next in tune; 0 where no bend changes."""
    if before.depth == after.depth and before.technique is after.technique:
        return 0.0
    over = before.overbent or after.overbent
    return player.fastest_change or (OVERBEND_CHANGE if over else BEND_CHANGE)


@passage_check("leap-too-quick", Level.CAUTION)
def leap_too_quick(
    rule: Rule, events: tuple[NoteEvent, ...], player: Player
) -> Iterator[Diagnostic]:
    """A leap over more holes than can be crossed cleanly in the time there is."""
    for one, two in pairwise(events):
        distance = _distance(one, two)
        if distance < 2 or None in one.pitches or None in two.pitches:
            continue
        time = two.start_s - one.start_s
        needed = leap_seconds(distance)
        if time < needed - 1e-9:
            yield rule.at(
                two.note.span,
                f"from {_holes(one)} to {_holes(two)} in {time:.2f} s: {distance} holes need about "
                f"{needed:.2f} s",
                f"{_slower(two, time / needed)}, or look for the note nearer by",
            )


@passage_check("change-too-quick", Level.CAUTION)
def change_too_quick(
    rule: Rule, events: tuple[NoteEvent, ...], player: Player
) -> Iterator[Diagnostic]:
    """A change of bend quicker than it can be placed in tune."""
    for one, two in pairwise(events):
        before, after = one.figure.tones[0], two.figure.tones[0]
        needed = change_seconds(before, after, player)
        time = two.start_s - one.start_s
        if time < needed - 1e-9:
            limit = "this player needs" if player.fastest_change else "a clean change needs about"
            yield rule.at(
                two.note.span,
                f"from {before} to {after} in {time:.2f} s: {limit} {needed:.2f} s",
                _slower(two, time / needed),
                Level.ERROR if player.fastest_change else None,
            )


@passage_check("long-breath", Level.CAUTION)
def long_breath(rule: Rule, events: tuple[NoteEvent, ...], player: Player) -> Iterator[Diagnostic]:
    """A long run of one breath with no rest in it and no note of the other breath."""
    run: list[NoteEvent] = []

    def judge() -> Iterator[Diagnostic]:
        seconds = run[-1].end_s - run[0].start_s
        if seconds > LONGEST_BREATH:
            beats = run[-1].onset + run[-1].duration - run[0].onset
            word = "out" if _breath(run[0]) is Breath.BLOW else "in"
            yield rule.at(
                run[0].note.span,
                f"{float(beats):g} beats ({seconds:.1f} s) of {_breath(run[0])} from here, all "
                f"breathing {word} (over {LONGEST_BREATH:g} s)",
                "put in a rest to breathe, or play it faster; if you feel light-headed, stop",
            )

    for event in events:
        if run and (
            _breath(event) is not _breath(run[0]) or event.start_s - run[-1].end_s >= BREATHING_REST
        ):
            yield from judge()
            run = []
        run.append(event)
    if run:
        yield from judge()


def _breath(event: NoteEvent) -> Breath:
    return event.note.figure.tones[0].breath


def _distance(one: NoteEvent, two: NoteEvent) -> int:
    """Holes between the nearest edges of two notes; 0 if they share a hole."""
    a, b = one.note.figure.tones, two.note.figure.tones
    if len(a) == 1 == len(b):
        return abs(a[0].hole - b[0].hole)
    return min(abs(x.hole - y.hole) for x in a for y in b)


def _holes(event: NoteEvent) -> str:
    tones: tuple[Tone, ...] = event.note.figure.tones
    return "+".join(str(tone.hole) for tone in tones) + f" {tones[0].breath}"


def _slower(event: NoteEvent, share: float) -> str:
    """The tempo that leaves time enough, `share` of the present one."""
    tempo = math.floor(float(event.setting.tempo) * share + 1e-6)
    return f"play it at tempo {tempo} or slower"


CHECKS = (leap_too_quick, change_too_quick, long_breath)
