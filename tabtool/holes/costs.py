"""What a player finds hard, in one table of whole points.

Ten points are one change of breath at leisure. The figures are common practice, no source:
they are set so that the choices of `fingering` come out as good players make them, and tests
say which choices those are. A `Player` changes the table.
"""

from __future__ import annotations

from typing import NamedTuple

from tabtool.player import Player


class Weight(NamedTuple):
    """A number of points, and what they stand for."""

    points: int
    words: str


class CostTable(NamedTuple):
    """All that the choice of holes weighs."""

    breath_change: Weight = Weight(10, "turning the breath round between two notes")
    hole: Weight = Weight(4, "each hole the mouth moves sideways")
    first_bend: Weight = Weight(20, "a bend of up to a semitone")
    further_bend: Weight = Weight(8, "each further semitone of a bend")
    high_bend: Weight = Weight(6, "more for a blow bend, small reeds being stiff")
    overblow: Weight = Weight(150, "an overblow: hard to sound, and not on every instrument")
    overdraw: Weight = Weight(170, "an overdraw, harder still")
    raise_: Weight = Weight(60, "each semitone an overbend is bent further up")
    bend_change: Weight = Weight(4, "into or out of a bend between two notes")
    bend_to_bend: Weight = Weight(8, "from one bend to another: two pitches to find by ear alone")
    overbend_change: Weight = Weight(12, "into or out of an overbend")
    slide_change: Weight = Weight(12, "pressing or letting go the slide")
    chord_note: Weight = Weight(2, "each further note of a chord")
    split: Weight = Weight(12, "a split: the tongue on the holes between")
    chord_bend: Weight = Weight(60, "a bend in a chord, which pulls at every reed of it")
    wide_shake: Weight = Weight(40, "a shake across holes that are no neighbours, each hole")
    lost_mark: Weight = Weight(30, "an expressive bend (scoop, fall, dip) the reed cannot give")
    octave: Weight = Weight(100, "a note an octave away, where that is allowed")
    too_quick: Weight = Weight(40, "a change of bend quicker than it can be placed")
    leisurely: Weight = Weight(1, "times the cost of a change with three times the fastest to do")
    brisk: Weight = Weight(2, "times it, from one and a half times the fastest")
    quick: Weight = Weight(3, "times it, from the fastest change on")
    breakneck: Weight = Weight(5, "times it, quicker than that")

    @property
    def factors(self) -> tuple[int, int, int, int]:
        """How often a change counts at each pace, quickest first."""
        return (
            self.breakneck.points, self.quick.points, self.brisk.points, self.leisurely.points
        )  # fmt: skip


COSTS = CostTable()


def costs_for(player: Player) -> CostTable:
    """The table for one player.

    Who states how far he bends has those bends in hand: a quarter less. Who overbends: a third.
    Who tongue-blocks: a third of a split. Who states his fastest change cannot go below it.
    (What a player cannot do at all is no matter of cost: it is not offered.)
    """
    table = COSTS

    def scaled(weight: Weight, share: float) -> Weight:
        return weight._replace(points=round(weight.points * share))

    if player.bends:
        table = table._replace(
            first_bend=scaled(table.first_bend, 0.75), further_bend=scaled(table.further_bend, 0.75)
        )
    if player.overbends:
        table = table._replace(
            overblow=scaled(table.overblow, 1 / 3),
            overdraw=scaled(table.overdraw, 1 / 3),
            raise_=scaled(table.raise_, 1 / 3),
        )
    if player.tongue_blocking:
        table = table._replace(split=scaled(table.split, 1 / 3))
    if player.fastest_change:
        table = table._replace(too_quick=scaled(table.too_quick, 5))
    return table
