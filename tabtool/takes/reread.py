"""Where a slip shows, the notes around it read again, with the rhythm as a further witness.

Conventions: frames of the track; times in seconds; costs in nats, as in ``align``.

The alignment knows no durations, on purpose: it survives any tempo.  So it cannot tell which of
several equal notes was left out, takes a note that goes on for a wrong one in the place of the
next, and a wrong note for an extra one beside a skipped one.  All of these are troubles of a few
notes between others that stand firm.  There the sound is cut into tones (one pitch each), and
tones are given to notes anew at the least cost, each way of doing so judged by pitch, by the
lengths and distances that the tab asks for at the pace of the firm notes around, and by what in
the sound parts one tone in two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tabtool.takes.align import State, Stretch
from tabtool.takes.giver import Giver, Place
from tabtool.takes.tones import PARTED, Sound, Visit

LENGTHS = (0.45, 1.5, 0.75)
"""A note found is in doubt if it lasts less or more than these shares of its time; two equal ones
without a silence between, if they last less than that together."""

WIDEST = 40
"""Most notes or tones in one piece of trouble: beyond that nothing is won by reading again."""

TURN = 4
"""Notes before and after a going back that are looked at to place it."""

NEAR = 8
"""Steps from note to note whose pace is taken for that of the notes between."""


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads pieces of trouble of one take again."""

    sound: Sound

    def reread(
        self, visits: Sequence[Visit], other: Sequence[Stretch]
    ) -> tuple[list[Visit], list[Stretch]]:
        """The visits (in order of time) and the stretches of other notes, mended."""
        mended, left = list[Visit](), list(other)
        self.sound.weigh(visits)
        whole = self._pace(visits, 0, 0, len(visits) * 2)
        visits = self._turned(visits, whole)
        for start, end in _sections(visits):
            section = visits[start:end]
            done = 0
            edges = (start == 0, end == len(visits))
            for a, b in self._troubles(section, left, edges):
                low = section[a].last if a >= 0 else 0
                high = section[b].first if b < len(section) else len(self.sound.track.level)
                places = range(
                    section[a].place + 1 if a >= 0 else 0,
                    section[b].place if b < len(section) else len(self.sound.wanted.targets),
                )
                inside = [s for s in left if s.first >= low - 2 and s.last <= high + 2]
                tones = self.sound.tones([*section[a + 1 : b], *inside])
                if len(places) > WIDEST or len(tones) > WIDEST:
                    continue
                slope = self._pace(section, a + 1, b) or whole
                before = Place(section[a].first, section[a].place) if a >= 0 else None
                after = Place(section[b].first, section[b].place) if b < len(section) else None
                giver = Giver(self.sound, tones, places, slope)
                found, extras = giver.best(before, after)
                mended += [*section[done : a + 1], *found]
                done = b
                left = [s for s in left if s not in inside] + [
                    Stretch(State.EXTRA, places.stop, tone.first, tone.last) for tone in extras
                ]
            mended += section[done:]
        left.sort(key=lambda stretch: stretch.first)
        return mended, left

    def _turned(self, visits: Sequence[Visit], slope: float) -> list[Visit]:
        """Where the player went back, the rhythm says between which notes: by pitch alone the
        notes around may as well be the last ones of before as the first ones of after."""
        result = list(visits)
        for _, k in _sections(visits)[:-1]:
            before, after = result[k - 1].place, result[k].place
            best, least = 0, self._turn(result, k, 0, before, after, slope)
            for way in (-1, 1):
                shift = way
                while self._alike(result, k, shift, before, after):
                    cost = self._turn(result, k, shift, before, after, slope)
                    if cost < least:
                        best, least = shift, cost
                    shift += way
            for number in range(min(k, k + best), max(k, k + best)):
                place = after + number - k if best < 0 else before + 1 + number - k
                result[number] = replace(result[number], place=place)
        return result

    def _alike(self, visits: Sequence[Visit], k: int, shift: int, before: int, after: int) -> bool:
        """Whether the turn may as well lie so many notes later, the one before being possible."""
        number = k + shift if shift < 0 else k + shift - 1
        other = (after if shift < 0 else before + 1) + number - k
        if not 0 < number < len(visits) - 1:
            return False
        own = (before + 1 if shift < 0 else after) + number - k
        visit = visits[number]
        return (
            visit.place == own and visit.state is State.NOTE and self.sound.wanted.same(own, other)
        )

    def _turn(
        self, visits: Sequence[Visit], k: int, shift: int, before: int, after: int, slope: float
    ) -> float:
        """Seconds by which the distances of notes around a turn miss what is written, the turn
        lying before visit ``k + shift``."""
        missed = 0.0
        for number in range(max(1, k - TURN), min(len(visits), k + TURN + 1)):
            if number == k + shift:
                continue
            start = before + 1 if number < k + shift else after
            place = start + number - k
            if not 0 < place < len(self.sound.wanted.written):
                continue
            due = slope * self.sound.wanted.apart_s(place - 1, place)
            played = (visits[number].first - visits[number - 1].first) * self.sound.track.hop_s
            missed += min(abs(played - due), 0.5)
        return missed

    def _troubles(
        self, section: Sequence[Visit], other: Sequence[Stretch], edges: tuple[bool, bool]
    ) -> list[tuple[int, int]]:
        """Pairs of firm visits (−1 and the length stand for the ends) with trouble between."""
        count = len(section)
        firm = [self._firm(section, k) for k in range(count)]
        spans = [(k - 1, k + 1) for k in range(count) if not firm[k]]
        spans += [(k - 1, k + 1) for k in range(1, count) if self._weakly_parted(section, k)]
        for k in range(0 if edges[0] else 1, count + 1 if edges[1] else count):
            low = section[k - 1].place + 1 if k else 0
            high = section[k].place if k < count else len(self.sound.wanted.targets)
            since = section[k - 1].last if k else 0
            until = section[k].first if k < count else len(self.sound.track.level)
            skipped = any(place not in self.sound.wanted.optional for place in range(low, high))
            twice = low > high
            if skipped or twice or any(s.first >= since - 2 and s.last <= until + 2 for s in other):
                spans.append((k - 1, k))
        least, most = (-1 if edges[0] else 0), (count if edges[1] else count - 1)
        merged: list[tuple[int, int]] = []
        for a, b in sorted(spans):
            # the note beside the trouble is read again with it; the next firm one holds
            a, b = a - 1, b + 1
            while a > least and not self._holds(section, firm, a, +1):
                a -= 1
            while b < most and not self._holds(section, firm, b, -1):
                b += 1
            a, b = max(a, least), min(b, most)
            if merged and a < merged[-1][1]:
                a, b = merged[-1][0], max(b, merged.pop()[1])
            if a < b:
                merged.append((a, b))
        return merged

    def _holds(self, section: Sequence[Visit], firm: Sequence[bool], k: int, towards: int) -> bool:
        """Whether a visit can stand as the border of a piece of trouble."""
        place = section[k].place
        return firm[k] and not self.sound.wanted.same(place, place + towards)

    def _weakly_parted(self, section: Sequence[Visit], k: int) -> bool:
        """Whether a visit goes on with the pitch of the one before, and little parts them."""
        one, two = section[k - 1], section[k]
        if two.first - one.last > 2 or not self.sound.wanted.same(one.place, two.place):
            return False
        border = self.sound.parting[max(0, two.first - 4) : two.first + 5].max()
        if border < PARTED * self.sound.usual / 2:
            return True
        # two that together last no longer than one should may be one
        slope = self._pace(section, k, k + 1)
        begins, ends = (
            self.sound.wanted.written[one.place][0],
            self.sound.wanted.written[two.place][1],
        )
        return (two.last - one.first) * self.sound.track.hop_s < LENGTHS[2] * slope * (
            ends - begins
        )

    def _firm(self, section: Sequence[Visit], k: int) -> bool:
        visit = section[k]
        if visit.state is not State.NOTE:
            return False
        if visit.place in self.sound.wanted.free or visit.place in self.sound.wanted.optional:
            return True
        slope = self._pace(section, k, k + 1)
        begins, ends = self.sound.wanted.written[visit.place]
        if not slope or ends <= begins:
            return True
        share = (visit.last - visit.first) * self.sound.track.hop_s / (slope * (ends - begins))
        return LENGTHS[0] < share < LENGTHS[1]

    def _pace(self, visits: Sequence[Visit], a: int, b: int, reach: int = NEAR) -> float:
        """Seconds played for a second written, from notes next to a…b (exclusive); 0 unknown."""
        slopes = []
        for side in (range(a - 1, 0, -1), range(b, len(visits) - 1)):
            taken = 0
            for k in side:
                one, two = (visits[k - 1], visits[k]) if k < a else (visits[k], visits[k + 1])
                step = self.sound.wanted.apart_s(one.place, two.place)
                if two.place == one.place + 1 and step > 0:
                    slopes.append((two.first - one.first) * self.sound.track.hop_s / step)
                    taken += 1
                if taken == reach // 2:
                    break
        return float(np.median(slopes)) if len(slopes) >= 3 else 0.0


def _sections(visits: Sequence[Visit]) -> list[tuple[int, int]]:
    """Runs of visits that go forward through the tab."""
    cuts = [k for k in range(1, len(visits)) if visits[k].place < visits[k - 1].place]
    return list(zip([0, *cuts], [*cuts, len(visits)], strict=True)) if visits else []
