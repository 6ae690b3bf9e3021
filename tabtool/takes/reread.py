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

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from tabtool.takes.align import SAME, Floats, Pitches, State, Stretch, dips
from tabtool.takes.pitchtrack import PitchTrack

WRONG, EXTRA, SKIP, OPTIONAL = 7.0, 6.0, 7.0, 0.5
"""Costs: of a wrong, an extra and a skipped note; of leaving out a grace note.  A wrong note is
less than an extra and a skipped one, two wrong ones are more."""

EXTRA_WHOLE_S = 0.1
"""A tone shorter than that costs less to leave over, as it may be none."""

TOO_LONG, TOO_LATE = 12.0, 3.0
"""The most that one length, and one distance, may cost: players hurry and wait."""

LONGER, SHORTER, FILLED = 0.2, 0.35, 0.2
"""Standard deviations of the logarithm of a note's length, against what is written: where it is
longer; where it is shorter, as notes are cut short; where it has to fill its time."""

LATE_S, LATE = 0.05, 0.15
"""Standard deviation of a distance between onsets: seconds, and a share of the distance."""

UNPARTED, PARTED = 8.0, 0.35
"""Cost of parting a tone without any evidence; the share of the dip usual between two notes in
this take from which it costs nothing."""

NOWHERE = 12.0
"""Cost of parting a tone where nothing at all parts it."""

KINK, STEP, LEAP = 5.0, 3, 80.0
"""Cents of a sudden step of the pitch that count as a decibel of dip: a reed that speaks again
starts flat, and few lips are as quick; frames that it takes; cents from which it is another
pitch."""

RESTLESS, USUAL = 0.1, 6.0
"""Decibels: the least unrest inside notes; the usual dip between equal notes, where few tell."""

LEAST_THIRD, FEW = 6, 4
"""Frames in the middle third of a note whose unrest is measured; notes that are enough."""

ECHO_DB, SPOKEN_DB = 12.0, 6.0
"""A tone of the pitch of the one before that is so much softer, and does not rise by that much,
is its echo in the room, no note."""

JOINED, JOINED_MOST = 2.0, 9.0
"""Cost of taking two tones for one note interrupted, and what it grows to in a deep dip."""

SET_APART = 3.0
"""Decibels of dip from which two stretches of one pitch are two tones."""

CUT = 5.0
"""Decibels of dip at which a tone is cut in two, as ``listen`` does; more where the dips between
notes are usually deeper."""

OWN, SCOOP, SCOOP_S = 0.6, 1.4, 0.1
"""Semitones within which a frame bears out a note's pitch; by which a reed may speak flat, and
for how many seconds at most."""

ADORNED = 3.3
"""Semitones under a note to which a scoop, dip or fall may reach: the deepest bend."""

LIKE, UNLIKE = 0.6, 0.2
"""Shares of a tone's later frames that make it surely that note, and surely another."""

PART_S = 0.2
"""A part of a note that is unlike it costs as a wrong note does if it lasts so long."""

LENGTHS = (0.45, 1.5, 0.75)
"""A note found is in doubt if it lasts less or more than these shares of its time; two equal ones
without a silence between, if they last less than that together."""

WIDEST, ASIDE = 40, 8
"""Most notes or tones in one piece of trouble, and by how many the tones may run ahead of the
notes or behind: beyond that nothing is won by reading again."""

TURN = 4
"""Notes before and after a going back that are looked at to place it."""

PIECES = 4
"""Most notes that one tone is parted in, or tones that one note is joined from."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One playing of one note of the tab: frames first to last (exclusive)."""

    place: int
    state: State
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the tab asks for, note by note.

    ``targets``: the pitches that sound together or in turn, one for an ordinary note;
    ``written``: onset and end in seconds as written, which say nothing of notes that are
    ``free``; ``optional`` ones (grace notes) may be left out; ``adorned`` ones have a scoop, dip
    or fall, so that other pitches below belong to them.
    """

    targets: Sequence[Pitches]
    written: Sequence[tuple[float, float]]
    optional: Collection[int] = ()
    free: Collection[int] = ()
    adorned: Collection[int] = ()


class Tone(NamedTuple):
    """A stretch at one pitch, in frames."""

    first: int
    last: int


class _Step(NamedTuple):
    """What was done last on the way to a state, and the state before; ``visits`` of the tab's
    notes or one tone left over."""

    before: _Key | None
    visits: tuple[Visit, ...]
    extra: Tone | None


class _Key(NamedTuple):
    """Tones and places behind us, and the last note found (its onset in frames, −1 if none)."""

    tones: int
    places: int
    onset: float
    place: int


@dataclass(slots=True)
class Reader:
    """Reads pieces of trouble of one take again."""

    track: PitchTrack
    wanted: Wanted
    tuning: float
    depth: Floats = field(init=False)
    parting: Floats = field(init=False)
    seen: dict[tuple[Tone, int, float], float] = field(default_factory=dict)
    unrest: float = RESTLESS
    usual: float = USUAL

    def __post_init__(self) -> None:
        self.depth = dips(self.track, least=0.0)
        self.parting = self.depth

    # Where trouble lies.

    def reread(
        self, visits: Sequence[Visit], other: Sequence[Stretch]
    ) -> tuple[list[Visit], list[Stretch]]:
        """The visits (in order of time) and the stretches of other notes, mended."""
        mended, left = list[Visit](), list(other)
        self._weigh(visits)
        whole = self._pace(visits, 0, 0, len(visits) * 2)
        visits = self._turned(visits, whole)
        for start, end in _sections(visits):
            section = visits[start:end]
            done = 0
            edges = (start == 0, end == len(visits))
            for a, b in list(self._troubles(section, left, edges)):
                low = section[a].last if a >= 0 else 0
                high = section[b].first if b < len(section) else len(self.track.level)
                places = range(
                    section[a].place + 1 if a >= 0 else 0,
                    section[b].place if b < len(section) else len(self.wanted.targets),
                )
                inside = [s for s in left if s.first >= low - 2 and s.last <= high + 2]
                tones = self._tones([*section[a + 1 : b], *inside])
                if len(places) > WIDEST or len(tones) > WIDEST:
                    continue
                slope = self._pace(section, a + 1, b) or whole
                before = (section[a].first, section[a].place) if a >= 0 else (-1, -1)
                after = (section[b].first, section[b].place) if b < len(section) else None
                found, extras = self._best(tones, places, before, after, slope)
                mended += [*section[done : a + 1], *found]
                done = b
                left = [s for s in left if s not in inside] + [
                    Stretch(State.EXTRA, places.stop, tone.first, tone.last) for tone in extras
                ]
            mended += section[done:]
        left.sort(key=lambda stretch: stretch.first)
        return mended, left

    def _weigh(self, visits: Sequence[Visit]) -> None:
        """What parts notes in this take: dips and kinks beyond those inside notes, and how deep
        they usually are between equal ones."""
        steps = kinks(self.track) / KINK
        inside, between = [], []
        for one, two in pairwise(visits):
            third = (one.last - one.first) // 3
            if one.state is State.NOTE and third >= LEAST_THIRD:
                middle = slice(one.first + third, one.last - third)
                inside.append((self.depth[middle].max(), steps[middle].max()))
            if two.place == one.place + 1 and self._same(one.place, two.place):
                between.append(slice(max(0, two.first - 4), two.first + 5))
        unrest = np.full(2, RESTLESS)
        if len(inside) >= FEW:
            unrest = np.maximum(unrest, np.percentile(inside, 90, axis=0))
        self.unrest = float(unrest[0])
        self.parting = np.maximum(np.maximum(self.depth - unrest[0], steps - unrest[1]), 0)
        if len(between) >= FEW:
            usual = float(np.median([self.parting[border].max() for border in between]))
            self.usual = max(2 * self.unrest, usual)

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
        return visit.place == own and visit.state is State.NOTE and self._same(own, other)

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
            if not 0 < place < len(self.wanted.written):
                continue
            due = slope * (self.wanted.written[place][0] - self.wanted.written[place - 1][0])
            played = (visits[number].first - visits[number - 1].first) * self.track.hop_s
            missed += min(abs(played - due), 0.5)
        return missed

    def _same(self, one: int, two: int) -> bool:
        """Whether two notes of the tab have the same pitch; what lies outside has none."""
        targets = self.wanted.targets
        inside = min(one, two) >= 0 and max(one, two) < len(targets)
        return inside and abs(targets[one][0] - targets[two][0]) < SAME

    def _troubles(
        self, section: Sequence[Visit], other: Sequence[Stretch], edges: tuple[bool, bool]
    ) -> Iterator[tuple[int, int]]:
        """Pairs of firm visits (−1 and the length stand for the ends) with trouble between."""
        count = len(section)
        firm = [self._firm(section, k) for k in range(count)]
        spans = [(k - 1, k + 1) for k in range(count) if not firm[k]]
        spans += [(k - 1, k + 1) for k in range(1, count) if self._weakly_parted(section, k)]
        for k in range(0 if edges[0] else 1, count + 1 if edges[1] else count):
            low = section[k - 1].place + 1 if k else 0
            high = section[k].place if k < count else len(self.wanted.targets)
            since = section[k - 1].last if k else 0
            until = section[k].first if k < count else len(self.track.level)
            skipped = any(place not in self.wanted.optional for place in range(low, high))
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
        return iter(merged)

    def _holds(self, section: Sequence[Visit], firm: Sequence[bool], k: int, towards: int) -> bool:
        """Whether a visit can stand as the border of a piece of trouble."""
        place = section[k].place
        return firm[k] and not self._same(place, place + towards)

    def _weakly_parted(self, section: Sequence[Visit], k: int) -> bool:
        """Whether a visit goes on with the pitch of the one before, and little parts them."""
        one, two = section[k - 1], section[k]
        if two.first - one.last > 2 or not self._same(one.place, two.place):
            return False
        border = self.parting[max(0, two.first - 4) : two.first + 5].max()
        if border < PARTED * self.usual / 2:
            return True
        # two that together last no longer than one should may be one
        slope = self._pace(section, k, k + 1)
        begins, ends = self.wanted.written[one.place][0], self.wanted.written[two.place][1]
        return (two.last - one.first) * self.track.hop_s < LENGTHS[2] * slope * (ends - begins)

    def _firm(self, section: Sequence[Visit], k: int) -> bool:
        visit = section[k]
        if visit.state is not State.NOTE:
            return False
        if visit.place in self.wanted.free or visit.place in self.wanted.optional:
            return True
        slope = self._pace(section, k, k + 1)
        begins, ends = self.wanted.written[visit.place]
        if not slope or ends <= begins:
            return True
        share = (visit.last - visit.first) * self.track.hop_s / (slope * (ends - begins))
        return LENGTHS[0] < share < LENGTHS[1]

    def _pace(self, visits: Sequence[Visit], a: int, b: int, reach: int = 8) -> float:
        """Seconds played for a second written, from notes next to a…b (exclusive); 0 unknown."""
        slopes = []
        for side in (range(a - 1, 0, -1), range(b, len(visits) - 1)):
            taken = 0
            for k in side:
                one, two = (visits[k - 1], visits[k]) if k < a else (visits[k], visits[k + 1])
                step = self.wanted.written[two.place][0] - self.wanted.written[one.place][0]
                if two.place == one.place + 1 and step > 0:
                    slopes.append((two.first - one.first) * self.track.hop_s / step)
                    taken += 1
                if taken == reach // 2:
                    break
        return float(np.median(slopes)) if len(slopes) >= 3 else 0.0

    # The tones in it.

    def _tones(self, pieces: Sequence[Visit | Stretch]) -> list[Tone]:
        """Pieces cut where the pitch leaps, and joined where one tone goes on."""
        found: list[tuple[Tone, float]] = []
        for piece in sorted(pieces, key=lambda piece: piece.first):
            for tone in self._cut(piece):
                pitch = self._pitch(tone, piece)
                if not np.isfinite(pitch):
                    continue
                if found:
                    before, other = found[-1]
                    between = self.depth[max(0, before.last - 2) : tone.first + 3]
                    if (
                        tone.first - before.last <= 4
                        and abs(other - pitch) < 0.5
                        and between.max(initial=0) < SET_APART
                    ):
                        found[-1] = (Tone(before.first, tone.last), other)
                        continue
                found.append((tone, pitch))
        tones = [part for tone, _ in found for part in self._parts(tone)]
        return [t for k, t in enumerate(tones) if not (k and self._echoes(tones[k - 1], t))]

    def _echoes(self, before: Tone, tone: Tone) -> bool:
        """Whether a tone is but the room's answer to the one before."""
        one, two = (self.track.level[t.first : t.last] for t in (before, tone))
        softer = two.max() < one.max() - ECHO_DB and two.max() < two[0] + SPOKEN_DB
        alike = abs(self._middle(before) - self._middle(tone)) < OWN
        return bool(softer and alike and tone.first - before.last < 5)

    def _middle(self, tone: Tone) -> float:
        return float(np.nanmedian(self.track.pitch[tone.first : tone.last, 0]))

    def _parts(self, tone: Tone) -> list[Tone]:
        """A tone cut where the level dips as it does between notes."""
        deep = max(CUT, PARTED * self.usual)
        inside = self.depth[tone.first + 3 : tone.last - 3]
        at = [tone.first, *(np.flatnonzero(inside >= deep) + tone.first + 3).tolist(), tone.last]
        return [Tone(a, b) for a, b in pairwise(at)]

    def _cut(self, piece: Visit | Stretch) -> list[Tone]:
        if piece.state is State.NOTE:
            return [Tone(piece.first, piece.last)]
        pitch = self.track.pitch[piece.first : piece.last, 0]
        good = self.track.weight[piece.first : piece.last, 0] > 0.25
        leaps = np.abs(np.diff(pitch)) > 0.7
        leaps |= ~good[1:] | ~good[:-1]
        cuts = [0, *(np.flatnonzero(leaps) + 1).tolist(), len(pitch)]
        tones = [Tone(piece.first + a, piece.first + b) for a, b in pairwise(cuts)]
        return [tone for tone in tones if tone.last - tone.first >= 3]

    def _pitch(self, tone: Tone, piece: Visit | Stretch) -> float:
        """Median over its later part."""
        first = tone.first + (tone.last - tone.first) * 2 // 5
        pitch = self.track.pitch[first : tone.last]
        if piece.state is State.NOTE:
            target = self.wanted.targets[piece.place][0] + self.tuning
            near = np.abs(np.nan_to_num(pitch, nan=-99) - target).argmin(axis=1)[:, None]
            return float(np.nanmedian(np.take_along_axis(pitch, near, 1)))
        sure = pitch[:, 0][self.track.weight[first : tone.last, 0] > 0.25]
        return float(np.median(sure)) if len(sure) else float("nan")

    def _unlikeness(self, tone: Tone, place: int, below: float = OWN) -> float:
        """0 where most of the later frames of a tone bear out a note, 1 where few do; frames so
        many semitones ``below`` it do."""
        key = (tone, place, below)
        if key not in self.seen:
            first = tone.first + (tone.last - tone.first) * 2 // 5
            each = np.nan_to_num(self.track.pitch[first : tone.last], nan=-99) - self.tuning
            pitches = np.array(self.wanted.targets[place])
            above = pitches[:, None, None] - each
            near = ((above > -OWN) & (above < below)).any(axis=0)
            near &= self.track.weight[first : tone.last] > 0.15
            share = float(near.any(axis=1).mean())
            self.seen[key] = float(np.clip((LIKE - share) / (LIKE - UNLIKE), 0, 1))
        return self.seen[key]

    # Which tone is which note.

    def _best(
        self,
        tones: Sequence[Tone],
        places: range,
        before: tuple[int, int],
        after: tuple[int, int] | None,
        slope: float,
    ) -> tuple[list[Visit], list[Tone]]:
        """The cheapest way to give tones to notes: dynamic programming, tone by tone."""
        start = _Key(0, 0, *before)
        costs: dict[_Key, float] = {start: 0.0}
        steps: dict[_Key, _Step] = {start: _Step(None, (), None)}
        rows: list[list[_Key]] = [[] for _ in range(len(tones) + len(places) + 1)]
        rows[0].append(start)

        def reach(key: _Key, cost: float, step: _Step) -> None:
            if key not in costs:
                rows[key.tones + key.places].append(key)
            if cost < costs.get(key, np.inf):
                costs[key], steps[key] = cost, step

        for row in rows:
            for key in row:
                cost, j, i = costs[key], key.tones, key.places
                if abs(j - i * len(tones) / max(1, len(places))) > ASIDE:
                    continue
                if i < len(places):
                    skip = OPTIONAL if places[i] in self.wanted.optional else SKIP
                    reach(key._replace(places=i + 1), cost + skip, _Step(key, (), None))
                if j < len(tones):
                    lasts = (tones[j].last - tones[j].first) * self.track.hop_s
                    extra = EXTRA * min(1.0, lasts / EXTRA_WHOLE_S)
                    left = _Step(key, (), tones[j])
                    reach(key._replace(tones=j + 1), cost + extra, left)
                if j == len(tones) or i == len(places):
                    continue
                for many in range(1, PIECES + 1):
                    if i + many <= len(places):
                        more, visits = self._given(key, tones, places, tones[j], 1, many, slope)
                        state = _Key(j + 1, i + many, visits[-1].first, visits[-1].place)
                        reach(state, cost + more, _Step(key, visits, None))
                    if many > 1 and j + many <= len(tones):
                        whole = Tone(tones[j].first, tones[j + many - 1].last)
                        more, visits = self._given(key, tones, places, whole, many, 1, slope)
                        state = _Key(j + many, i + 1, visits[-1].first, visits[-1].place)
                        reach(state, cost + more, _Step(key, visits, None))
        ends = [key for key in rows[-1] if key.tones == len(tones)]

        def whole_cost(key: _Key) -> float:
            if after is None:
                return costs[key]
            return costs[key] + self._distance(key, tones, *after, slope)

        last: _Key | None = min(ends, key=whole_cost)
        given, extras = list[Visit](), list[Tone]()
        while last is not None:
            step = steps[last]
            given[:0] = step.visits
            if step.extra is not None:
                extras.insert(0, step.extra)
            last = step.before
        return given, extras

    def _given(
        self,
        key: _Key,
        tones: Sequence[Tone],
        places: range,
        tone: Tone,
        joined: int,
        many: int,
        slope: float,
    ) -> tuple[float, tuple[Visit, ...]]:
        """Cost of giving a tone (of so many joined) to so many notes, and the visits."""
        taken = places[key.places : key.places + many]
        cost = 0.0
        for k in range(joined - 1):
            one, two = tones[key.tones + k], tones[key.tones + k + 1]
            dip = self.depth[max(0, one.last - 3) : two.first + 4].max(initial=0)
            silent = (two.first - one.last) * self.track.hop_s
            dip = max(0.0, dip - self.unrest)
            cost += min(JOINED_MOST, JOINED + 0.3 * dip + 10 * silent)
        if joined > 1:
            parts = tones[key.tones : key.tones + joined]
            for part in parts:
                lasts = (part.last - part.first) * self.track.hop_s
                scooped = part is not parts[-1] and lasts < SCOOP_S
                below = SCOOP if scooped else OWN
                below = ADORNED if taken[0] in self.wanted.adorned else below
                off = self._unlikeness(part, taken[0], below)
                cost += WRONG * off * min(1.0, lasts / PART_S)
        borders = [tone.first]
        for k in range(1, many):
            more, cut = self._parted(tone, taken, k)
            cost += more
            borders.append(max(cut, borders[-1] + 1))
        borders.append(max(tone.last, borders[-1] + 1))
        visits = []
        for number, place in enumerate(taken):
            off = self._unlikeness(tone, place)
            cost += WRONG * off
            state = State.NOTE if off < 0.5 else State.WRONG
            visits.append(Visit(place, state, borders[number], borders[number + 1]))
            cost += self._length(visits[-1], slope, filled=number < many - 1 or many > 1)
        return cost + self._distance(key, tones, tone.first, taken[0], slope), tuple(visits)

    def _parted(self, tone: Tone, taken: range, k: int) -> tuple[float, int]:
        """Cost and frame of the best cut before note k of those taken."""
        begins, ends = self.wanted.written[taken[0]][0], self.wanted.written[taken[-1]][1]
        share = (self.wanted.written[taken[k]][0] - begins) / max(ends - begins, 1e-6)
        lasts = tone.last - tone.first
        if lasts < 8:
            return NOWHERE, tone.first + lasts // 2
        due = tone.first + share * lasts
        at = np.arange(tone.first + 3, tone.last - 3)
        evidence = self.parting[at] / (PARTED * self.usual)
        cost = np.where(evidence <= 0, NOWHERE, UNPARTED * np.clip(1 - evidence, 0, 1))
        cost += 0.5 * ((at - due) / (0.1 * lasts / len(taken) + 3)) ** 2
        best = int(cost.argmin())
        return float(min(cost[best], NOWHERE)), int(at[best])

    def _length(self, visit: Visit, slope: float, filled: bool) -> float:
        begins, ends = self.wanted.written[visit.place]
        if not slope or ends <= begins or visit.place in self.wanted.free:
            return 0.0
        level = self.track.level[visit.first : visit.last]
        lasts = (int(np.flatnonzero(level >= level.max() - ECHO_DB)[-1]) + 1) * self.track.hop_s
        least = most = slope * (ends - begins)
        if visit.place + 1 < len(self.wanted.written):
            # over a rest a note may ring on
            most = max(least, slope * (self.wanted.written[visit.place + 1][0] - begins))
        away = float(np.log(max(lasts, 0.01) / np.clip(lasts, least, most)))
        width = LONGER if away > 0 else FILLED if filled else SHORTER
        return min(TOO_LONG, 0.5 * (away / width) ** 2)

    def _distance(
        self, key: _Key, tones: Sequence[Tone], onset: int, place: int, slope: float
    ) -> float:
        """Cost of the time from the last note found to this one.

        A skipped note may leave its time silent or not, an extra one put off what follows or not.
        """
        if key.place < 0 or not slope or place in self.wanted.free or key.place in self.wanted.free:
            return 0.0
        played = (onset - key.onset) * self.track.hop_s
        since = self.wanted.written[place][0] - self.wanted.written[key.place][0]
        skipped = since - (
            self.wanted.written[key.place + 1][0] - self.wanted.written[key.place][0]
        )
        between = [t for t in tones[: key.tones] if t.first > key.onset and t.last <= onset]
        taken = [t for t in between if t.first >= key.onset + 3]
        extra = (onset - taken[0].first) * self.track.hop_s if taken else 0.0
        misses = []
        for late in {0.0, extra}:
            for early in {0.0, skipped}:
                due = slope * (since - early) + late
                misses.append((played - due) / (LATE_S + LATE * max(due, 0.0)))
        return min(TOO_LATE, 0.5 * min(miss * miss for miss in misses))


def kinks(track: PitchTrack) -> Floats:
    """Cents by which the pitch steps within ``STEP`` frames, beyond how it moves before and
    after."""
    pitch = np.nan_to_num(track.pitch[:, 0])
    found = np.zeros(len(pitch), np.float32)
    if len(pitch) <= 3 * STEP:
        return found
    step = 100 * (pitch[STEP:] - pitch[:-STEP])
    sudden = np.abs(step[STEP:-STEP] - 0.5 * (step[: -2 * STEP] + step[2 * STEP :]))
    sounds = np.convolve(track.weight[:, 0] > 0.3, np.ones(3 * STEP + 1), "valid") > 3 * STEP
    leaps = np.abs(step) > LEAP
    leaps = leaps[: -2 * STEP] | leaps[STEP:-STEP] | leaps[2 * STEP :]
    middle = STEP + STEP // 2
    found[middle : middle + len(sudden)] = np.where(sounds & ~leaps, sudden, 0)
    return found


def _sections(visits: Sequence[Visit]) -> list[tuple[int, int]]:
    """Runs of visits that go forward through the tab."""
    cuts = [k for k in range(1, len(visits)) if visits[k].place < visits[k - 1].place]
    return list(zip([0, *cuts], [*cuts, len(visits)], strict=True)) if visits else []
