"""Where else on its harp each note of a tune sounds, and what that would cost there."""

from __future__ import annotations

from typing import NamedTuple

from tabtool.diagnostics import Level, Span
from tabtool.events import NoteEvent
from tabtool.harp import Technique
from tabtool.holes.fingering import Grip, Hands, hands
from tabtool.holes.melody import sounded
from tabtool.holes.out_of_reach import nearest_ways
from tabtool.load import Loaded
from tabtool.player import Player
from tabtool.tune import Figure, Note


class Elsewhere(NamedTuple):
    """One way to sound a note: `cents` away from it, for `cost` points more than as written.

    Where the written way cannot be played the points are those of this way alone.
    """

    token: str
    technique: Technique
    cents: int
    cost: int


class Whereabouts(NamedTuple):
    """A written note and its other ways, the nearest and easiest first.

    `pitch` is spelled for the key of the tune, the notes of a chord joined by +; empty where
    the harp has no such hole. `possible` is false where the reeds or the player forbid the note.
    """

    note: Note
    pitch: str
    possible: bool
    ways: tuple[Elsewhere, ...]


def whereabouts(
    loaded: Loaded,
    player: Player = Player(),  # noqa: B008 (immutable)
    problems: bool = False,
) -> list[Whereabouts]:
    """Every written note, or with `problems` those that `loaded` tells an error or caution of.

    Costs are averaged over the passes in which a note is played. Notes on no harp are left out.
    """
    hard = {found.span for found in loaded.diagnostics if found.level is not Level.HINT}
    passes: dict[Span, list[int]] = {}
    for number, event in enumerate(loaded.score.events):
        if event.setting.harp is not None and (not problems or event.note.span in hard):
            passes.setdefault(event.note.span, []).append(number)
    found = [_whereabouts(loaded, numbers, player) for numbers in passes.values()]
    return sorted(found, key=lambda place: place.note.span)


def _whereabouts(loaded: Loaded, numbers: list[int], player: Player) -> Whereabouts:
    event = loaded.score.events[numbers[0]]
    harp, figure = event.setting.harp, event.figure
    assert harp is not None
    played = hands(harp.layout, player)
    want = sounded(figure, harp)
    if want is None:
        return Whereabouts(event.note, "", False, ())
    written = played.grip_of(figure.tones, figure.shake)
    every = played.every_grip(want.moved(-harp.root))
    possible = any(grip.all_tones == written.all_tones for grip in every)
    here = sum(_in_place(loaded, number, written, played) for number in numbers)

    def way(grip: Grip, cents: int) -> Elsewhere:
        points = sum(_in_place(loaded, number, grip, played) for number in numbers)
        cost = round((points - here * possible) / len(numbers))
        pulled = max(grip.all_tones, key=lambda tone: (tone.overbent, tone.depth))
        token = Figure(grip.tones, shake=grip.shake).token
        return Elsewhere(token, pulled.technique, cents, cost)

    plain = [grip for grip in every if not _raised(grip)] or every
    ways = [way(grip, 0) for grip in plain if grip.all_tones != written.all_tones]
    if not possible and len(want.pitches) == 1 and want.shake is None:
        (pitch,) = want.pitches
        for _, grip in nearest_ways(pitch, harp, played):
            sounds = harp.intended(grip.tones[0])
            assert sounds is not None
            ways.append(way(grip, round((sounds - pitch) * 100)))
    ways.sort(key=lambda one: (abs(one.cents), one.cost, one.token))
    pitches = want.pitches if want.shake is None else (*want.pitches, want.shake)
    name = "+".join(event.setting.name(pitch) for pitch in pitches)
    return Whereabouts(event.note, name, possible, tuple(ways))


def _in_place(loaded: Loaded, number: int, grip: Grip, played: Hands) -> int:
    """Points of a grip at one event, the ways there from the event before and on to the next."""
    events = loaded.score.events
    event = events[number]
    points = grip.points + played.mark_cost(grip, event.figure.marks.bends)
    if number and _joined(events[number - 1], event):
        before = events[number - 1]
        points += played.change_cost(_grip(before, played), grip, event.start_s - before.start_s)
    if number + 1 < len(events) and _joined(event, events[number + 1]):
        after = events[number + 1]
        points += played.change_cost(grip, _grip(after, played), after.start_s - event.start_s)
    return points


def _raised(grip: Grip) -> bool:
    """Whether an overbend in it is bent further up: a last resort, listed only as such."""
    return any(tone.overbent and tone.depth for tone in grip.all_tones)


def _joined(one: NoteEvent, two: NoteEvent) -> bool:
    return one.setting.harp == two.setting.harp


def _grip(event: NoteEvent, played: Hands) -> Grip:
    return played.grip_of(event.figure.tones, event.figure.shake)
