"""What a tune asks of its player, counted: bends, overbends, turns of the breath, the hardest bar.

Counted as played, repeats included; points are those of `fingering.CostTable`.
"""

from __future__ import annotations

from itertools import groupby, pairwise
from typing import NamedTuple

from tabtool.events import Score
from tabtool.harp import Technique
from tabtool.holes.fingering import hands
from tabtool.holes.melody import melody
from tabtool.player import Player


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
    for harp, run in groupby(events, lambda event: event.setting.harp):
        if harp is None:
            continue
        tune = melody(tuple(run))
        played = hands(harp.layout, player)
        figures = [(*event.figure.grace, event.figure)[place] for event, place in tune.places]
        grips = [played.grip_of(figure.tones, figure.shake) for figure in figures]
        points = played.costs_along(tune.passage, grips)
        for (event, _), here in zip(tune.places, points, strict=True):
            by_bar[event.bar] = by_bar.get(event.bar, 0) + here
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
