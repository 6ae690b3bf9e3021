"""What was played, note by note: the alignment's stretches made into visits, and mended.

Conventions: times in seconds of the recording; ``Visit.place`` is the number of the tab's note.

The alignment knows no durations, on purpose.  Where it leaves a choice, the pace of the
neighbours decides: which of several equal notes was left out, whether a long note in a room was
two, whether a note missing here and an extra one there are one wrong note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from typing import Any

import numpy as np

from tabtool.takes.align import SAME, Pitches, State, Stretch, dips
from tabtool.takes.pitchtrack import PitchTrack

SHORTEST_S = 0.045
"""A note heard for less is an accident of the analysis."""

SCRAP_S, SCRAP = 0.085, 0.4
"""Nor is one that is shorter than that (seconds) and than that share of its written time."""

BRIDGED_S = 0.25
"""A note goes on after a drop-out of at most so long."""

MOST_EQUAL = 8
"""Equal notes in a row among which it is decided by pace which were left out."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One playing of one note of the tab: frames first to last (exclusive)."""

    place: int
    state: State
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Heard:
    """``notes``: the playing that counts for each note found, the last one, in order of notes;
    ``again``: earlier playings of the same notes; ``other``: stretches of notes the tab lacks."""

    notes: tuple[Visit, ...]
    again: tuple[Visit, ...]
    other: tuple[Stretch, ...]


def heard(
    track: PitchTrack,
    stretches: Sequence[Stretch],
    targets: Sequence[Pitches],
    tuning: float,
    written: Sequence[tuple[float, float]],
) -> Heard:
    """Visits of a take; ``written`` gives each note's onset and end in seconds as written."""
    visits, other = _visits(track, stretches)
    visits = [visit for visit in visits if _sounds(track, visit, targets, tuning)]
    visits = _grown(track, visits, other, targets, tuning)
    last = {visit.place: number for number, visit in enumerate(visits)}
    again = [v for number, v in enumerate(visits) if last[v.place] != number]
    again = [v for v in again if (v.last - v.first) * track.hop_s >= SCRAP_S]
    found = {v.place: v for number, v in enumerate(visits) if last[v.place] == number}
    _drop(track, found, written)
    _split(track, found, targets, written)
    _shift(track, found, targets, written)
    other = _wrong_after_all(track, found, other, len(targets), written)
    notes = tuple(found[place] for place in sorted(found))
    return Heard(notes, tuple(again), tuple(other))


def _visits(track: PitchTrack, stretches: Sequence[Stretch]) -> tuple[list[Visit], list[Stretch]]:
    """Playings of the tab's notes in order (drop-outs bridged), and stretches of other notes."""
    visits: list[Visit] = []
    other: list[Stretch] = []
    silent = True  # nothing but gaps since the last visit
    for stretch in stretches:
        if stretch.state is State.EXTRA:
            other.append(stretch)
            silent = False
        elif stretch.state is not State.GAP:
            before = visits[-1] if visits else None
            if (
                before is not None
                and silent
                and (before.place, before.state) == (stretch.place, stretch.state)
                and (stretch.first - before.last) * track.hop_s < BRIDGED_S
            ):
                visits[-1] = replace(before, last=stretch.last)
            else:
                visits.append(Visit(stretch.place, stretch.state, stretch.first, stretch.last))
            silent = True
    return visits, other


def _sounds(track: PitchTrack, visit: Visit, targets: Sequence[Pitches], tuning: float) -> bool:
    """Whether the frames of a visit bear it out: long enough, and mostly at one pitch."""
    part = slice(visit.first, visit.last)
    pitch, weight = track.pitch[part], track.weight[part]
    if visit.state is State.NOTE and len(targets[visit.place]) > 1:
        held = (track.periodic[part] > 0.5).sum()
    elif visit.state is State.NOTE:
        away = np.abs(np.nan_to_num(pitch, nan=-99) - (targets[visit.place][0] + tuning))
        held = ((away < 0.75) & (weight > 0.2)).any(axis=1).sum()
    else:
        sure = pitch[:, 0][weight[:, 0] > 0.3]
        held = (np.abs(sure - np.median(sure)) < 0.4).sum() if len(sure) else 0
    return bool(held * track.hop_s >= SHORTEST_S)


def _grown(
    track: PitchTrack,
    visits: Sequence[Visit],
    other: Sequence[Stretch],
    targets: Sequence[Pitches],
    tuning: float,
) -> list[Visit]:
    """Notes drawn out over the faint frames after them that still have their pitch."""
    starts = sorted([v.first for v in visits] + [s.first for s in other] + [len(track.level)])
    grown: list[Visit] = []
    for visit in visits:
        if visit.state is State.NOTE and len(targets[visit.place]) == 1:
            limit = next(start for start in starts if start >= visit.last)
            part = slice(visit.last, limit)
            away = np.abs(np.nan_to_num(track.pitch[part], nan=-99) - targets[visit.place] - tuning)
            holds = ((away < 0.4) & (track.weight[part] > 0.15)).any(axis=1)
            ends = np.flatnonzero(~holds)
            visit = replace(visit, last=int(visit.last + (ends[0] if len(ends) else len(holds))))
        grown.append(visit)
    return grown


def pace(
    track: PitchTrack,
    found: dict[int, Visit],
    written: Sequence[tuple[float, float]],
    low: int,
    high: int,
    reach: int = 4,
) -> tuple[float, float] | None:
    """The line from written to played onsets around the notes low…high (exclusive), by the
    found notes next to them: (seconds a written second, second of written time 0); None if there
    are too few, or they do not go forward."""
    before = [p for p in sorted(found) if p < low][-reach:]
    after = [p for p in sorted(found) if p >= high][:reach]
    known = before + after
    if len(known) < 3:
        return None
    x = np.array([written[p][0] for p in known])
    y = np.array([found[p].first for p in known]) * track.hop_s + track.start_s
    if np.ptp(x) < 1e-6:
        return None
    slope, base = np.polyfit(x, y, 1)
    return (float(slope), float(base)) if 0.1 < slope < 10 else None


def _runs(targets: Sequence[Pitches]) -> list[tuple[int, int]]:
    """Runs of two or more equal notes in the tab, as (first, past the last)."""
    runs: list[tuple[int, int]] = []
    first = 0
    for i in range(1, len(targets) + 1):
        if i == len(targets) or abs(targets[i][0] - targets[first][0]) >= SAME:
            if i - first > 1:
                runs.append((first, i))
            first = i
    return runs


def _drop(track: PitchTrack, found: dict[int, Visit], written: Any) -> None:
    """A scrap of a note, much shorter than its place in the music asks, was none."""
    for place in list(found):
        lasts = (found[place].last - found[place].first) * track.hop_s
        if lasts >= SCRAP_S:
            continue
        line = pace(track, found, written, place, place + 1)
        if line and lasts < SCRAP * line[0] * (written[place][1] - written[place][0]):
            del found[place]


def _split(
    track: PitchTrack, found: dict[int, Visit], targets: Sequence[Pitches], written: Any
) -> None:
    """A note as long as itself and a missing equal neighbour was both, if the level agrees."""
    depth = dips(track, least=0.0)
    for first, end in _runs(targets):
        for lost in range(first, end):
            if lost in found:
                continue
            for near in (lost - 1, lost + 1):
                if not first <= near < end or near not in found:
                    continue
                visit = found[near]
                line = pace(track, found, written, min(lost, near), max(lost, near) + 1)
                if line is None or visit.state is not State.NOTE:
                    continue
                a, b = min(lost, near), max(lost, near)
                lasts = (visit.last - visit.first) * track.hop_s
                if lasts < 0.8 * line[0] * (written[b][1] - written[a][0]):
                    continue
                share = (written[b][0] - written[a][0]) / (written[b][1] - written[a][0])
                middle = visit.first + share * (visit.last - visit.first)
                around = round(0.2 * (visit.last - visit.first))
                low = max(visit.first + 3, round(middle) - around)
                high = min(visit.last - 3, round(middle) + around + 1)
                if high - low < 2:
                    continue
                cut = low + int(np.argmax(depth[low:high]))
                if depth[cut] < 0.7:
                    continue
                found[a] = replace(visit, place=a, last=cut)
                found[b] = replace(visit, place=b, first=cut)
                break


def _shift(
    track: PitchTrack, found: dict[int, Visit], targets: Sequence[Pitches], written: Any
) -> None:
    """Of equal notes in a row some are missing: which ones, the pace tells best."""
    for first, end in _runs(targets):
        there = [p for p in range(first, end) if p in found and found[p].state is State.NOTE]
        taken = [p for p in range(first, end) if p in found]
        size = end - first
        if len(taken) in (0, size) or there != taken or size > MOST_EQUAL:
            continue
        line = pace(track, found, written, first, end)
        if line is None:
            continue
        played = np.array([found[p].first for p in taken]) * track.hop_s + track.start_s
        lasted = np.array([found[p].last - found[p].first for p in taken]) * track.hop_s
        due = np.array([line[0] * written[p][0] + line[1] for p in range(first, end)])
        length = np.array([line[0] * (b - a) for a, b in written[first:end]])

        best = min(
            combinations(range(size), len(taken)),
            key=partial(_misfit, due, length, played, lasted),
        )
        visits = [found.pop(p) for p in taken]
        for place, visit in zip(best, visits, strict=True):
            found[first + place] = replace(visit, place=first + place)


def _misfit(due: Any, length: Any, played: Any, lasted: Any, chosen: tuple[int, ...]) -> float:
    """Seconds by which onsets and lengths miss what is written for the chosen notes of a run."""
    at = list(chosen)
    return float(np.abs(due[at] - played).sum() + np.abs(length[at] - lasted).sum())


def _wrong_after_all(
    track: PitchTrack,
    found: dict[int, Visit],
    other: Sequence[Stretch],
    count: int,
    written: Any,
) -> list[Stretch]:
    """A missing note and one other note between the same neighbours are one wrong note."""
    left = list(other)
    place = 0
    while place < count:
        if place in found:
            place += 1
            continue
        end = place
        while end < count and end not in found:
            end += 1
        after = found[place - 1].last if place else 0
        before = found[end].first if end < count else len(track.level)
        between = [s for s in left if s.first >= after - 2 and s.last <= before + 2]
        between = [s for s in between if (s.last - s.first) * track.hop_s >= SHORTEST_S]
        if len(between) == end - place:
            for offset, stretch in enumerate(between):
                found[place + offset] = Visit(
                    place + offset, State.WRONG, stretch.first, stretch.last
                )
                left.remove(stretch)
        place = end
    return left
