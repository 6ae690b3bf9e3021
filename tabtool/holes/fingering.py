"""Which holes to play a melody on: what each way costs, and the cheapest way of all.

What a player finds hard is one table (`costs.CostTable`); a melody is a `Passage`.

A pitch is played in the easiest kind of tone there is for it: no bend where a natural note
sounds it, no overbend where a bend does. Among the ways left the choice is the exact minimum
(see `minimum`), ties going to the way that is easier by itself and then to the lower hole.
It keeps two promises besides: a note written once has one fingering however often it is
played, and a phrase of `PHRASE` notes or more that comes again at the same pitches is played
on the same holes.

Pitches are MIDI numbers, times seconds from the start of one note to the start of the next.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise, product
from typing import NamedTuple

from tabtool.harp import OVERBEND_RAISE, Breath, Harp, Layout, Technique, Tone
from tabtool.holes.costs import costs_for
from tabtool.holes.minimum import Network
from tabtool.holes.passage import TOLERANCE, Passage, Want
from tabtool.player import Player

PHRASE = 4  # notes; shorter runs than this are no phrase, and may be played either way
LIMIT = 40_000  # combinations weighed in one step; see `Hands.choose`
FASTEST_CHANGE = 0.1  # seconds, as the check of quick changes has it
WIDEST_CHORD, WIDEST_SPLIT = 5, 6  # holes, as the check of a mouth's reach has it


class Grip(NamedTuple):
    """One way to play a `Want`: its tones, from the lowest hole up, and its cost in points.

    `octave` is 0, or 12 or -12 semitones where it sounds an octave away.
    """

    tones: tuple[Tone, ...]
    shake: Tone | None
    points: int
    octave: int = 0

    @property
    def all_tones(self) -> tuple[Tone, ...]:
        return self.tones if self.shake is None else (*self.tones, self.shake)


class Choice(NamedTuple):
    """The grips chosen, None where this player has no way; `cost` is of all that is played."""

    grips: tuple[Grip | None, ...]
    cost: int


class _Solved(NamedTuple):
    """The least cost; the way taken by each note that has several; the ways of each want; and
    how long a phrase was."""

    cost: int
    values: dict[int, int]
    grips: list[tuple[Grip, ...]]
    phrase: int


class Hands:
    """One player with one kind of harp: the ways to play each pitch, and what they cost.

    Pitches here are semitones above the root of the layout, so one `Hands` serves every
    key; `hands` keeps the last few.
    """

    def __init__(self, layout: Layout, player: Player = Player()) -> None:  # noqa: B008
        self.harp = Harp(layout, 0, "C")
        self.player = player
        self.costs = costs_for(player)
        fastest = player.fastest_change or FASTEST_CHANGE
        self.paces = (fastest, 1.5 * fastest, 3 * fastest)
        self._grips: dict[Want, tuple[Grip, ...]] = {}
        self._changes: dict[tuple[Want, Want], list[list[list[int]]]] = {}

    def grips(self, want: Want) -> tuple[Grip, ...]:
        """The ways offered: all of the easiest kind, the easiest by itself first, then by hole."""
        found = self._grips.get(want)
        if found is None:
            every = self.every_grip(want)
            if not every and want.octaves:
                every = (*self._ways(want.moved(12), 12), *self._ways(want.moved(-12), -12))
                every = tuple(sorted(every, key=_order))
            easiest = min(map(_kind, every), default=0)
            found = self._grips[want] = tuple(g for g in every if _kind(g) == easiest)
        return found

    def every_grip(self, want: Want) -> tuple[Grip, ...]:
        """Every way this player has at exactly these pitches, in the same order."""
        return tuple(sorted(self._ways(want, 0), key=_order))

    def every_tone(self, pitch: float) -> tuple[Tone, ...]:
        """Every tone of this player at a pitch, quarter tones and raised overbends included."""
        harp, player = self.harp, self.player
        found = [way.tone for way in harp.ways_by_pitch.get(pitch, ())]
        for hole in range(1, harp.holes + 1):
            over = harp.overbend(hole)
            if over is not None and 0 < pitch - over.pitch <= OVERBEND_RAISE:
                found.append(over.tone._replace(depth=pitch - over.pitch))
            if pitch % 1:
                slides = (False, True) if harp.layout.has_slide else (False,)
                for breath, slide in product(Breath, slides):
                    reed = harp.reed(hole, breath, slide)
                    assert reed is not None
                    if 0 < reed - pitch <= harp.bend_limit(hole, breath, slide):
                        found.append(Tone(hole, breath, Technique.BEND, reed - pitch, slide))
        return tuple(
            tone
            for tone in found
            if (tone.technique is not Technique.BEND or player.can_bend(tone.depth))
            and not (tone.overbent and player.can_overbend is False)
        )

    def _ways(self, want: Want, octave: int) -> list[Grip]:
        """The grips at exactly these pitches."""
        choices = [self.every_tone(pitch) for pitch in want.pitches]
        found = []
        for tones in product(*choices):
            held = tuple(sorted(tones))
            if len(held) > 1 and not _one_mouth(held, self.player):
                continue
            if want.shake is None:
                found.append(self._grip(held, None, octave))
                continue
            for other in self.every_tone(want.shake):
                if (
                    len(held) == 1
                    and other.breath is held[0].breath
                    and (other.hole != held[0].hole and other.slide == held[0].slide)
                ):
                    found.append(self._grip(held, other, octave))
        return list(dict.fromkeys(found))

    def _grip(self, tones: tuple[Tone, ...], shake: Tone | None, octave: int) -> Grip:
        costs = self.costs
        points = sum(self.tone_cost(tone) for tone in tones)
        if len(tones) > 1:
            points += costs.chord_note.points * (len(tones) - 1)
            points += costs.split.points * (_gaps(tones) > 0)
            points += costs.chord_bend.points * any(tone.depth for tone in tones)
        if shake is not None:
            points += self.tone_cost(shake)
            points += costs.wide_shake.points * (abs(shake.hole - tones[0].hole) - 1)
        return Grip(tones, shake, points + (costs.octave.points if octave else 0), octave)

    def tone_cost(self, tone: Tone) -> int:
        """Points of one tone by itself."""
        costs = self.costs
        if tone.overbent:
            blown = tone.technique is Technique.OVERBLOW
            own = costs.overblow if blown else costs.overdraw
            return own.points + math.ceil(tone.depth) * costs.raise_.points
        if tone.technique is not Technique.BEND:
            return 0
        points = costs.first_bend.points + (math.ceil(tone.depth) - 1) * costs.further_bend.points
        high = tone.breath is Breath.BLOW and not self.harp.layout.has_slide
        return points + (costs.high_bend.points if high else 0)

    def mark_cost(self, grip: Grip, bend: int) -> int:
        """Points for an expressive bend of that many semitones, where the reed cannot give it."""
        if not bend or all(self.gives(tone, bend) for tone in grip.tones):
            return 0
        return self.costs.lost_mark.points

    def gives(self, tone: Tone, bend: int) -> bool:
        """Whether a tone can be pulled that many semitones; one means as far as it goes."""
        if tone.overbent:
            gives: float = tone.depth
        else:
            limit = self.harp.expressive_limit(tone.hole, tone.breath, tone.slide)
            gives = limit - tone.depth
        return gives > 0 and (bend == 1 or bend <= gives)

    def change_cost(self, one: Grip, two: Grip, seconds: float) -> int:
        """Points for getting from one grip to another in that time."""
        return self._change(one, two)[bisect_right(self.paces, seconds + TOLERANCE)]

    def _change(self, one: Grip, two: Grip) -> list[int]:
        """Points for getting from one grip to another, at each pace, quickest first."""
        costs = self.costs
        # A shake ends and begins on its first tone.
        a, b = one.tones, two.tones
        points = (
            costs.hole.points * (abs(a[0].hole - b[0].hole) + abs(a[-1].hole - b[-1].hole)) // 2
        )
        if a[0].breath is not b[0].breath:
            points += costs.breath_change.points
        if a[0].slide != b[0].slide:
            points += costs.slide_change.points
        placed = over = False
        if a != b and any(tone.technique is not Technique.NATURAL for tone in a + b):
            before, after = _pulled(a), _pulled(b)
            placed = (before.technique, before.depth) != (after.technique, after.depth)
            over = before.overbent or after.overbent
            if over:
                points += costs.overbend_change.points
            elif before.depth and after.depth:
                points += costs.bend_to_bend.points
            else:
                points += costs.bend_change.points
        late = costs.too_quick.points if placed else 0
        # Unless the player says otherwise an overbend takes half as long again to place.
        later = late if over and not self.player.fastest_change else 0
        breakneck, quick, brisk, leisurely = costs.factors
        return [
            points * breakneck + late, points * quick + later, points * brisk, points * leisurely
        ]  # fmt: skip

    def changes(self, one: Want, two: Want) -> list[list[list[int]]]:
        """`change_cost` of all grips of one want to all of another: [pace][grip][grip]."""
        key = one, two
        found = self._changes.get(key)
        if found is None:
            costs = [[self._change(a, b) for b in self.grips(two)] for a in self.grips(one)]
            found = self._changes[key] = [
                [[cell[pace] for cell in row] for row in costs] for pace in range(4)
            ]
        return found

    def choose(self, passage: Passage, root: int = 0) -> Choice:
        """The cheapest grips for a passage on a harp of this layout with that root.

        Where phrases overlap so densely that no exact answer is found in bounded work
        (`LIMIT`), only phrases of twice the length are kept alike, and so on.
        """
        solved = self._solve(passage, root)
        notes = passage.notes(solved.phrase)
        chosen = [
            ways[solved.values.get(note, 0)] if (ways := solved.grips[want]) else None
            for want, note in zip(passage.sounds, notes, strict=True)
        ]
        return Choice(tuple(chosen), solved.cost)

    def rate(self, passage: Passage, root: int = 0) -> tuple[int, int]:
        """How many written notes of a passage have no way here, and what the rest costs at best."""
        solved = self._solve(passage, root)
        missing = sum(
            count
            for ways, count in zip(solved.grips, passage.written_counts, strict=True)
            if not ways
        )
        return missing, solved.cost

    def _solve(self, passage: Passage, root: int) -> _Solved:
        phrase = PHRASE
        while True:
            last = phrase > len(passage)
            solved = self._try(passage, root, phrase, None if last else LIMIT)
            if solved is not None:
                return solved
            phrase *= 2

    def _try(self, passage: Passage, root: int, phrase: int, limit: int | None) -> _Solved | None:
        wants = [want.moved(-root) for want in passage.wants]
        grips = [self.grips(want) for want in wants]
        joined = passage.joined(phrase, self.paces)
        network = Network()
        cost = 0
        for want, marks, noted in joined.wanted:
            ways = grips[want]
            if len(ways) == 1:
                for mark, count in marks:
                    cost += count * (ways[0].points + self.mark_cost(ways[0], mark))
                continue
            for note, mark, count in noted if ways else ():
                own = [count * (way.points + self.mark_cost(way, mark)) for way in ways]
                if note in network.own:
                    network.add(note, own)
                else:
                    network.choice(note, own)
        for one, two, paces, stepped in joined.steps:
            if not grips[one] or not grips[two]:
                continue
            changes = self.changes(wants[one], wants[two])
            free = len(grips[one]) > 1, len(grips[two]) > 1
            if free == (False, False):
                for pace, count in paces:
                    cost += count * changes[pace][0][0]
                continue
            for note, after, pace, count in stepped:
                rows = changes[pace]
                if free == (True, False):
                    network.add(note, [count * row[0] for row in rows])
                elif free == (False, True):
                    network.add(after, [count * change for change in rows[0]])
                elif note == after:
                    network.add(note, [count * rows[i][i] for i in range(len(rows))])
                else:
                    network.link(note, after, [[count * change for change in row] for row in rows])
        solved = network.solve(limit)
        if solved is None:
            return None
        least, values = solved
        return _Solved(cost + least, values, grips, phrase)

    def cost(self, passage: Passage, grips: Sequence[Grip | None]) -> int:
        """Points of a passage played with given grips (None: not played)."""
        return sum(self.costs_along(passage, grips))

    def costs_along(self, passage: Passage, grips: Sequence[Grip | None]) -> list[int]:
        """Points of each sound with given grips: the grip itself, and getting there."""
        points = []
        before: Grip | None = None
        seconds = math.inf
        for grip, mark, after in zip(grips, passage.marks, passage.times, strict=True):
            here = 0
            if grip is not None:
                here = grip.points + self.mark_cost(grip, mark)
                if before is not None and seconds != math.inf:
                    here += self.change_cost(before, grip, seconds)
            points.append(here)
            before, seconds = grip, after
        return points

    def grip_of(self, tones: tuple[Tone, ...], shake: Tone | None = None) -> Grip:
        """A grip as written, whether or not it is one of the ways offered."""
        return self._grip(tuple(sorted(tones)), shake, 0)


@lru_cache(maxsize=32)
def hands(layout: Layout, player: Player = Player()) -> Hands:  # noqa: B008 (immutable)
    """The `Hands` of a player on a layout, kept for the next time."""
    return Hands(layout, player)


def choose(
    pitches: Sequence[float],
    harp: Harp,
    player: Player = Player(),  # noqa: B008 (immutable)
    times: Sequence[float] | None = None,
) -> list[Tone | None]:
    """The tones to play a single-line melody with, None where this player has no way.

    `times` are seconds from each note to the next, the last of which may be left out;
    without them every note has a second.

    >>> from tabtool.tunings import make_harp
    >>> cross, straight = (67, 71, 74, 71, 67), (60, 64, 67, 72, 67)
    >>> [[tone.token for tone in choose(line, make_harp("C"))] for line in (cross, straight)]
    [['2v', '3v', '4v', '3v', '2v'], ['1^', '2^', '3^', '4^', '3^']]
    """
    passage = Passage([Want((pitch,)) for pitch in pitches], times)
    choice = hands(harp.layout, player).choose(passage, harp.root)
    return [grip.tones[0] if grip else None for grip in choice.grips]


def _pulled(tones: tuple[Tone, ...]) -> Tone:
    """The tone whose bend or overbend has to be placed."""
    return max(tones, key=lambda tone: (tone.overbent, tone.depth))


def _kind(grip: Grip) -> int:
    """How hard a kind of grip is: natural, bent, overbent, with an overbend raised."""

    def kind(tone: Tone) -> int:
        if tone.overbent:
            return 3 if tone.depth else 2
        return int(tone.technique is Technique.BEND)

    return max(map(kind, grip.all_tones))


def _order(grip: Grip) -> tuple[object, ...]:
    """The easiest by itself first, then the lowest hole, blow before draw."""
    tones = [(tone.hole, tone.breath, tone.depth, tone.slide) for tone in grip.all_tones]
    return grip.points, -grip.octave, tones


def _one_mouth(tones: tuple[Tone, ...], player: Player) -> bool:
    """Whether one mouth can play these tones, lowest hole first, at once."""
    holes = [tone.hole for tone in tones]
    gaps = _gaps(tones)
    return (
        len(set(holes)) == len(holes)
        and len({(tone.breath, tone.slide) for tone in tones}) == 1
        and not any(tone.overbent for tone in tones)
        and gaps <= (0 if player.tongue_blocking is False else 1)
        and holes[-1] - holes[0] < (WIDEST_SPLIT if gaps else WIDEST_CHORD)
    )


def _gaps(tones: tuple[Tone, ...]) -> int:
    return sum(two.hole - one.hole > 1 for one, two in pairwise(tones))
