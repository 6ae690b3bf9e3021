"""A melody made ready for choosing its holes, on any harp and for any player.

Pitches are MIDI numbers, or semitones above a harp's root where that is said; times are
seconds from the start of one sound to the start of the next.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Hashable, Sequence
from typing import NamedTuple

TOLERANCE = 1e-9  # seconds; times are sums of floats


class Want(NamedTuple):
    """What is to sound at once: the pitches of a note or chord, and of a shake's other note.

    `octaves` allows it an octave higher or lower where it cannot be played as it is.
    """

    pitches: tuple[float, ...]
    shake: float | None = None
    octaves: bool = False

    def moved(self, semitones: float) -> Want:
        shake = None if self.shake is None else self.shake + semitones
        return Want(tuple([pitch + semitones for pitch in self.pitches]), shake, self.octaves)


class Passage:
    """A melody made ready for choosing, on any harp: what is wanted, and what follows what.

    `times` are seconds from each sound to the next (infinite: no link between them; the
    last may be left out), `marks` the semitones of expressive bend on each. Sounds with
    the same `written` are one note in the text and get one grip.
    """

    def __init__(
        self,
        wants: Sequence[Want],
        times: Sequence[float] | None = None,
        marks: Sequence[int] | None = None,
        written: Sequence[Hashable] | None = None,
    ) -> None:
        numbers: dict[Want, int] = {}
        self.sounds = [numbers.setdefault(want, len(numbers)) for want in wants]
        self.wants = list(numbers)
        if times is not None and len(times) < len(wants) - 1:
            raise ValueError(f"{len(wants)} sounds, but only {len(times)} times between them")
        self.times = [1.0] * len(wants) if times is None else [*times, 1.0][: len(wants)]
        self.marks = list(marks) if marks is not None else [0] * len(wants)
        self.written = written
        # By number of want, how many notes of the text ask for it.
        self.written_counts = [0] * len(self.wants)
        every = range(len(wants)) if written is None else written
        for sound, _ in dict.fromkeys(zip(self.sounds, every, strict=True)):
            self.written_counts[sound] += 1
        self._notes: dict[int, list[int]] = {}
        self._joined: dict[tuple[int, tuple[float, ...]], _Joined] = {}

    def __len__(self) -> int:
        return len(self.sounds)

    def notes(self, phrase: int) -> list[int]:
        """For each sound the number of the first it must be fingered like."""
        if phrase not in self._notes:
            self._notes[phrase] = _alike(self.sounds, self.written, phrase)
        return self._notes[phrase]

    def joined(self, phrase: int, paces: tuple[float, ...]) -> _Joined:
        """The passage counted up, for phrases of that length and a player's paces."""
        key = phrase, paces
        if key not in self._joined:
            self._joined[key] = _join(self, phrase, paces)
        return self._joined[key]


class _Joined(NamedTuple):
    """A passage counted up: how often each thing is wanted, and what follows what, at which pace.

    Each entry is given twice: for all its places together, which serves where there is
    nothing to choose, and note by note.
    """

    wanted: list[tuple[int, list[tuple[int, int]], list[tuple[int, int, int]]]]
    # want; (expressive bend, count); (note, expressive bend, count)
    steps: list[tuple[int, int, list[tuple[int, int]], list[tuple[int, int, int, int]]]]
    # want, next want; (pace, count); (note, next note, pace, count)


def _join(passage: Passage, phrase: int, paces: tuple[float, ...]) -> _Joined:
    notes, sounds = passage.notes(phrase), passage.sounds
    paced = [bisect_right(paces, time + TOLERANCE) for time in passage.times]
    links = Counter(
        (sounds[i], sounds[i + 1], notes[i], notes[i + 1], paced[i])
        for i in range(len(sounds) - 1)
        if passage.times[i] != math.inf
    )
    steps: dict[tuple[int, int], list[tuple[int, int, int, int]]] = {}
    for (one, two, note, after, pace), count in links.items():
        steps.setdefault((one, two), []).append((note, after, pace, count))
    wanted: dict[int, list[tuple[int, int, int]]] = {}
    counted = Counter(zip(sounds, notes, passage.marks, strict=True))
    for (want, note, mark), count in counted.items():
        wanted.setdefault(want, []).append((note, mark, count))
    return _Joined(
        [(want, _summed(entries), entries) for want, entries in wanted.items()],
        [(one, two, _summed(entries), entries) for (one, two), entries in steps.items()],
    )


def _summed(entries: Sequence[tuple[int, ...]]) -> list[tuple[int, int]]:
    """Entries that end in a kind and a count, added up by kind."""
    sums: Counter[int] = Counter()
    for *_, kind, count in entries:
        sums[kind] += count
    return list(sums.items())


def _alike(sounds: list[int], written: Sequence[Hashable] | None, phrase: int) -> list[int]:
    """The first sound each is to be fingered like: one note as written, or one place of a phrase.

    Two places belong together where runs of `phrase` equal sounds, taken at both, agree.
    """
    first = list(range(len(sounds)))

    def root(at: int) -> int:
        while first[at] != at:
            first[at] = first[first[at]]
            at = first[at]
        return at

    def join(one: int, other: int) -> None:
        one, other = root(one), root(other)
        if one != other:
            first[max(one, other)] = min(one, other)

    seen: dict[Hashable, int] = {}
    if written is not None:
        for at, note in enumerate(written):
            before = seen.setdefault(note, at)
            if before != at:
                join(before, at)
    runs: dict[tuple[int, ...], int] = {}
    joined_up_to = -1  # places before this one are joined with the run that ends there
    joined_with = 0
    for at in range(len(sounds) - phrase + 1):
        before = runs.setdefault(tuple(sounds[at : at + phrase]), at)
        if before == at:
            continue
        # Where the run goes on as the one before it did, only its last place is new.
        new = phrase - 1 if joined_up_to == at - 1 and joined_with == before - 1 else 0
        for step in range(new, phrase):
            join(before + step, at + step)
        joined_up_to, joined_with = at, before
    return [root(at) for at in range(len(sounds))]
