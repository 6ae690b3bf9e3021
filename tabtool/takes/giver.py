"""Tones given to the notes of the tab at the least cost, where the alignment leaves it open.

Conventions: frames of the track; times in seconds; costs in nats, as in ``align``.

Dynamic programming over tones and notes.  A tone may be one note, several equal ones that little
parts, or left over; a note may be one tone, several with an interruption, or skipped.  Each way
is judged by pitch, by what in the sound parts tones, and by the lengths and distances that the
tab asks for at the pace of the notes around.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf, log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tabtool.takes.align import State
from tabtool.takes.tones import OWN, PARTED, Sound, Tone, Visit

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

PUT_OFF = 0.5
"""Cost of a note put off by extra ones: they rather come before a note that begins afresh."""

UNPARTED, NOWHERE = 9.0, 12.0
"""Cost of parting a tone with hardly any evidence, and where nothing at all parts it."""

JOINED, JOINED_MOST = 2.0, 9.0
"""Cost of taking two tones for one note interrupted, and what it grows to in a deep dip."""

SCOOP, SCOOP_S, ADORNED = 1.4, 0.1, 3.3
"""Semitones by which a reed may speak flat, and for how many seconds; semitones under a note to
which a scoop, dip or fall that is written may reach: the deepest bend."""

PART_S = 0.2
"""A part of a note that is unlike it costs as a wrong note does if it lasts so long."""

SLIVER = 3
"""Frames that a part of a tone lasts at least."""

PIECES = 4
"""Most notes that one tone is parted in, or tones that one note is joined from."""

ASIDE = 8
"""Tones by which they may run ahead of the notes or behind: beyond that nothing is won."""


class Place(NamedTuple):
    """A note found: the frame in which it begins, and its number in the tab."""

    onset: int
    place: int


class _Key(NamedTuple):
    """Tones and notes behind us, and the last note found, if any."""

    tones: int
    notes: int
    last: Place | None


class _Step(NamedTuple):
    """What was done last on the way to a state, and the state before: notes found, or one tone
    left over."""

    before: _Key | None
    visits: tuple[Visit, ...] = ()
    extra: Tone | None = None


@dataclass(slots=True)
class Giver:
    """Gives ``tones`` to the notes ``places``; ``slope`` is the seconds played for a second
    written, 0 where it is unknown."""

    sound: Sound
    tones: Sequence[Tone]
    places: range
    slope: float
    fits: dict[tuple[int, int, int, int], tuple[float, tuple[Visit, ...]]] = field(
        default_factory=dict
    )

    def best(self, before: Place | None, after: Place | None) -> tuple[list[Visit], list[Tone]]:
        """Notes found and tones left over, at the least cost; ``before`` and ``after`` are the
        firm notes around."""
        start = _Key(0, 0, before)
        costs: dict[_Key, float] = {start: 0.0}
        steps: dict[_Key, _Step] = {start: _Step(None)}
        rows: list[list[_Key]] = [[] for _ in range(len(self.tones) + len(self.places) + 1)]
        rows[0].append(start)
        for row in rows:
            for key in row:
                for reached, more, step in self._ways(key):
                    if reached not in costs:
                        rows[reached.tones + reached.notes].append(reached)
                    if costs[key] + more < costs.get(reached, inf):
                        costs[reached], steps[reached] = costs[key] + more, step
        ends = [key for key in rows[-1] if key.tones == len(self.tones)]
        last: _Key | None = min(
            ends, key=lambda key: costs[key] + (self._distance(key, after) if after else 0.0)
        )
        found, extras = list[Visit](), list[Tone]()
        while last is not None:
            step = steps[last]
            found[:0] = step.visits
            if step.extra is not None:
                extras.insert(0, step.extra)
            last = step.before
        return found, extras

    def _ways(self, key: _Key) -> Iterator[tuple[_Key, float, _Step]]:
        """Ways on from a state: the state reached, its cost, and what was done."""
        j, i, _ = key
        tones, notes = len(self.tones), len(self.places)
        if abs(j - i * tones / max(1, notes)) > ASIDE:
            return
        if i < notes:
            optional = self.places[i] in self.sound.wanted.optional
            yield key._replace(notes=i + 1), OPTIONAL if optional else SKIP, _Step(key)
        if j < tones:
            cost = EXTRA * min(1.0, self._seconds(self.tones[j]) / EXTRA_WHOLE_S)
            yield key._replace(tones=j + 1), cost, _Step(key, extra=self.tones[j])
        if j == tones or i == notes:
            return
        for joined, many in self._shapes(j, i):
            cost, visits = self._fit(j, i, joined, many)
            first = Place(visits[0].first, visits[0].place)
            cost += self._distance(key, first)
            last = Place(visits[-1].first, visits[-1].place)
            yield _Key(j + joined, i + many, last), cost, _Step(key, visits)

    def _shapes(self, j: int, i: int) -> Iterator[tuple[int, int]]:
        """How many tones may be how many notes: a tone is parted, and tones are joined, only
        where one of them is like one of the notes."""
        yield 1, 1
        parts = (self.tones[j].last - self.tones[j].first) // (2 * SLIVER)
        for many in range(2, min(PIECES, parts, len(self.places) - i) + 1):
            places = self.places[i : i + many]
            if any(self.sound.unlikeness(self.tones[j], place) < 1 for place in places):
                yield 1, many
        for joined in range(2, min(PIECES, len(self.tones) - j) + 1):
            tones = self.tones[j : j + joined]
            if any(self.sound.unlikeness(tone, self.places[i]) < 1 for tone in tones):
                yield joined, 1

    def _fit(self, j: int, i: int, joined: int, many: int) -> tuple[float, tuple[Visit, ...]]:
        """Cost of giving some tones to some notes, but for the distance, and the visits."""
        key = (j, i, joined, many)
        if key not in self.fits:
            tones, taken = self.tones[j : j + joined], self.places[i : i + many]
            whole = Tone(tones[0].first, tones[-1].last)
            cost = self._joined(tones, taken[0]) if joined > 1 else 0.0
            more, cuts = self._parted(whole, taken) if many > 1 else (0.0, [])
            cost += more
            borders = [whole.first, *cuts, whole.last]
            visits = []
            for number, place in enumerate(taken):
                off = self.sound.unlikeness(whole, place)
                part = Tone(borders[number], borders[number + 1])
                cost += WRONG * off + self._length(part, place, filled=many > 1)
                visits.append(Visit(place, State.NOTE if off < 0.5 else State.WRONG, *part))
            self.fits[key] = cost, tuple(visits)
        return self.fits[key]

    def _seconds(self, tone: Tone) -> float:
        return (tone.last - tone.first) * self.sound.track.hop_s

    def _joined(self, tones: Sequence[Tone], place: int) -> float:
        """Cost of taking several tones for one note."""
        cost = 0.0
        for one, two in pairwise(tones):
            dip = self.sound.depth[max(0, one.last - 3) : two.first + 4].max(initial=0)
            silent = (two.first - one.last) * self.sound.track.hop_s
            beyond = max(0.0, float(dip) - self.sound.unrest)
            cost += min(JOINED_MOST, JOINED + 0.3 * beyond + 10 * silent)
        adorned = place in self.sound.wanted.adorned
        for part in tones:
            lasts = self._seconds(part)
            scooped = part is not tones[-1] and lasts < SCOOP_S
            below = ADORNED if adorned else SCOOP if scooped else OWN
            off = self.sound.unlikeness(part, place, below)
            cost += WRONG * off * min(1.0, lasts / PART_S)
        return cost

    def _parted(self, tone: Tone, taken: range) -> tuple[float, list[int]]:
        """Cost and frames of the best cuts between several notes in one tone."""
        written = self.sound.wanted.written
        begins, ends = written[taken[0]][0], written[taken[-1]][1]
        at = np.arange(tone.first + SLIVER, tone.last - SLIVER + 1)
        evidence = self.sound.parting[at] / (PARTED * self.sound.usual)
        weak = np.where(evidence <= 0, NOWHERE, UNPARTED * np.maximum(1 - evidence, 0))
        width = 0.1 * (tone.last - tone.first) / len(taken) + SLIVER
        index = np.arange(len(at))
        earlier = np.maximum(index - SLIVER, 0)
        total = np.zeros(len(at))
        sources: list[NDArray[np.intp]] = []
        for k in taken[1:]:
            # the best cut before it, at least a sliver earlier
            least = np.minimum.accumulate(total)
            source = np.maximum.accumulate(np.where(total == least, index, 0))[earlier]
            before = np.where(index >= SLIVER, least[earlier], inf) if sources else 0.0
            share = (written[k][0] - begins) / max(ends - begins, 1e-6)
            due = tone.first + share * (tone.last - tone.first)
            total = np.minimum(weak + 0.5 * ((at - due) / width) ** 2, NOWHERE) + before
            sources.append(source)
        last = int(total.argmin())
        cost, cuts = float(total[last]), [int(at[last])]
        for source in reversed(sources[1:]):
            last = int(source[last])
            cuts.insert(0, int(at[last]))
        return cost, cuts

    def _length(self, tone: Tone, place: int, filled: bool) -> float:
        """Cost of a note's length; one that is ``filled`` goes right up to the next."""
        wanted = self.sound.wanted
        begins, ends = wanted.written[place]
        if not self.slope or ends <= begins or place in wanted.free:
            return 0.0
        lasts = max(self.sound.lasts(tone), 0.01)
        least = most = self.slope * (ends - begins)
        if place + 1 < len(wanted.written):
            # over a rest a note may ring on
            most = max(least, self.slope * (wanted.written[place + 1][0] - begins))
        away = log(lasts / min(max(lasts, least), most))
        width = LONGER if away > 0 else FILLED if filled else SHORTER
        return min(TOO_LONG, 0.5 * (away / width) ** 2)

    def _distance(self, key: _Key, to: Place) -> float:
        """Cost of the time from the last note found to this one.

        A skipped note may leave its time silent or not, an extra one put off what follows or not.
        """
        wanted, last = self.sound.wanted, key.last
        if last is None or not self.slope or {to.place, last.place} & set(wanted.free):
            return 0.0
        played = (to.onset - last.onset) * self.sound.track.hop_s
        since = wanted.apart_s(last.place, to.place)
        skipped = wanted.apart_s(last.place + 1, to.place)
        extra = next((t for t in self.tones[: key.tones] if t.first >= last.onset + 3), None)
        late = (to.onset - extra.first) * self.sound.track.hop_s if extra else 0.0
        costs = []
        for put_off in {0.0, late}:
            for left_out in {0.0, skipped}:
                due = self.slope * (since - left_out) + put_off
                miss = (played - due) / (LATE_S + LATE * max(due, 0.0))
                costs.append(0.5 * miss * miss + (PUT_OFF if put_off else 0.0))
        return min(TOO_LATE, *costs)
