"""What a tune asks of its player, counted: bends, overbends, turns of the breath, the hardest bar.

Counted as played, repeats included; points are those of `fingering.CostTable`.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import NamedTuple

from tabtool.fingering import Grip, hands
from tabtool.harp import Technique
from tabtool.player import Player
from tabtool.resolve import NoteEvent, Score


class Tally(NamedTuple):
    """Counts over a tune; `hardest` is the number of the bar that costs most, None if none does."""

    notes: int
    bends: int
    overbends: int
    breath_changes: int
    impossible: int
    cost: int
    hardest: int | None


def tally(score: Score, player: Player = Player()) -> Tally:  # noqa: B008 (immutable)
    """Count what a score asks of a player."""
    events = score.events
    by_bar: dict[int, int] = {}
    for event, points in zip(events, costs(score, player), strict=True):
        by_bar[event.bar] = by_bar.get(event.bar, 0) + points
    passes: dict[int, set[int]] = {}
    for event in events:
        passes.setdefault(event.bar, set()).add(event.play)
    # A bar played twice is no harder than the same bar played once.
    weights = {bar: points / len(passes[bar]) for bar, points in by_bar.items()}
    hardest = max(weights, key=lambda bar: (weights[bar], -bar), default=None)
    tones = [tone for event in events for tone in event.figure.all_tones]
    return Tally(
        notes=len(events),
        bends=sum(tone.technique is Technique.BEND for tone in tones),
        overbends=sum(tone.overbent for tone in tones),
        breath_changes=sum(
            one.figure.tones[0].breath is not two.figure.tones[0].breath
            for one, two in pairwise(events)
        ),
        impossible=sum(not event.possible for event in events),
        cost=sum(by_bar.values()),
        hardest=hardest if hardest is not None and weights[hardest] else None,
    )


def costs(score: Score, player: Player = Player()) -> Iterable[int]:  # noqa: B008
    """Points of each event: the note itself, and getting to it from the one before."""
    before: tuple[NoteEvent, Grip] | None = None
    for event in score.events:
        if event.setting.harp is None:
            before = None
            yield 0
            continue
        played = hands(event.setting.harp.layout, player)
        figure = event.figure
        grip = played.grip_of(figure.tones, figure.shake)
        points = grip.points + played.mark_cost(grip, figure.marks.bends)
        if before is not None and before[0].setting.harp == event.setting.harp:
            points += played.change_cost(before[1], grip, event.start_s - before[0].start_s)
        before = event, grip
        yield points
