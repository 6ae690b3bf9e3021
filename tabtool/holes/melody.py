"""What a score wants to sound, apart from the holes it is written on.

Chords and shakes are one sound, grace notes sounds of their own that come quickly before.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from tabtool.events import NoteEvent
from tabtool.expression import GRACE_S
from tabtool.harp import Harp
from tabtool.holes.passage import Passage, Want
from tabtool.tune import Figure


class Melody(NamedTuple):
    """Sounds in the order they are played. `places` says where each stands: its event, and
    which of its grace notes it is, their number standing for the note itself. `unknown` are
    the figures with a hole that does not exist, which have no pitch and are not in `passage`.
    """

    passage: Passage
    places: tuple[tuple[NoteEvent, int], ...]
    unknown: tuple[tuple[NoteEvent, Figure], ...]


def melody(
    events: Sequence[NoteEvent],
    by: float = 0,
    octaves: bool = False,
    breaks: frozenset[int] = frozenset(),
) -> Melody:
    """The sounds of events, moved by semitones; `octaves` as in `Want`.

    No link leads from the event before those numbered in `breaks`: another harp was in the
    mouth meanwhile. Events on no harp have no pitch.
    """
    wants: list[Want] = []
    times: list[float] = []
    marks: list[int] = []
    places: list[tuple[NoteEvent, int]] = []
    unknown: list[tuple[NoteEvent, Figure]] = []
    known: dict[tuple[int, int], Want | None] = {}  # by figure and harp, both kept by identity
    for number, event in enumerate(events):
        harp, figure = event.setting.harp, event.figure
        if times:
            since = event.start_s - places[-1][0].start_s
            since = max(0.0, since - GRACE_S * len(figure.grace))
            times[-1] = math.inf if number in breaks else since
        for place, part in enumerate((*figure.grace, figure)):
            key = id(part), id(harp)
            if key not in known:
                known[key] = None if harp is None else sounded(part, harp, by, octaves)
            want = known[key]
            if want is None:
                unknown.append((event, part))
                continue
            wants.append(want)
            times.append(GRACE_S)
            marks.append(part.marks.bends)
            places.append((event, place))
    written = [(event.note.span, place) for event, place in places]
    return Melody(Passage(wants, times, marks, written), tuple(places), tuple(unknown))


def sounded(figure: Figure, harp: Harp, by: float = 0, octaves: bool = False) -> Want | None:
    """What a figure asks of a harp, moved by semitones; None where a hole does not exist."""
    pitches = [harp.intended(tone) for tone in figure.tones]
    shake = None if figure.shake is None else harp.intended(figure.shake)
    known = [pitch + by for pitch in pitches if pitch is not None]
    if len(known) < len(pitches) or (figure.shake is not None and shake is None):
        return None
    return Want(tuple(known), None if shake is None else shake + by, octaves)
