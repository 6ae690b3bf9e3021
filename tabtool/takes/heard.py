"""What was played, note by note: the alignment's stretches made into visits, and mended.

Conventions: times in seconds of the recording; ``Visit.place`` is the number of the tab's note.

Pieces of trouble are read again by ``reread``, which knows the rhythm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tabtool.takes.align import State, Stretch
from tabtool.takes.pitchtrack import Pitches, PitchTrack
from tabtool.takes.reread import Reader
from tabtool.takes.tones import Sound, Visit, Wanted

SHORTEST_S = 0.045
"""A note heard for less is an accident of the analysis."""

SCRAP_S = 0.085
"""Nor does one heard for less than that count as a playing of the note again."""

DROPPED = 12
"""Frames for which a faint note may be lost in noise and still go on."""

BRIDGED_S = 0.25
"""A note goes on after a drop-out of at most so long."""


@dataclass(frozen=True, slots=True)
class Heard:
    """``notes``: the playing that counts for each note found, the last one, in order of notes;
    ``again``: earlier playings of the same notes; ``other``: stretches of notes the tab lacks."""

    notes: tuple[Visit, ...]
    again: tuple[Visit, ...]
    other: tuple[Stretch, ...]


def heard(track: PitchTrack, stretches: Sequence[Stretch], wanted: Wanted, tuning: float) -> Heard:
    """Visits of a take; ``tuning`` in semitones is added to what is wanted."""
    visits, other = _visits(track, stretches)
    visits = [visit for visit in visits if _sounds(track, visit, wanted.targets, tuning)]
    visits = _grown(track, visits, other, wanted.targets, tuning)
    visits, other = Reader(Sound(track, wanted, tuning)).reread(visits, other)
    last = {visit.place: number for number, visit in enumerate(visits)}
    again = [v for number, v in enumerate(visits) if last[v.place] != number]
    again = [v for v in again if (v.last - v.first) * track.hop_s >= SCRAP_S]
    found = {v.place: v for number, v in enumerate(visits) if last[v.place] == number}
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
            held = np.flatnonzero(np.concatenate([[True], holds]))
            breaks = np.flatnonzero(np.diff(held) > DROPPED)
            visit = replace(visit, last=int(visit.last + held[breaks[0] if len(breaks) else -1]))
        grown.append(visit)
    return grown
