"""A melody as a score gives it: bars of timed pitches, before any harp is chosen.

Readers of scores make `Melody` values and `notate` turns them into tab. Onsets count
from the start of the bar; onsets, durations and lengths are in quarter notes, exact.
Pitches are MIDI numbers. Repeats are as written; `play_out` lays them end to end.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from tabtool.music import Key, Meter
from tabtool.tune import PLAIN, Marks


class Sounded(NamedTuple):
    """One note, chord or rest (no `pitches`) in a bar.

    `tied` says that it goes on from the note before without a new attack. `lyrics` has
    one syllable a verse, ending in ``-`` where the word goes on, ``_`` where the syllable
    before is held, empty where there is none. `tab` is a note of tab the source carries.
    """

    onset: Fraction
    duration: Fraction
    pitches: tuple[float, ...] = ()
    tied: bool = False
    lyrics: tuple[str, ...] = ()
    marks: Marks = PLAIN
    grace: tuple[float, ...] = ()
    tab: str = ""


class Change(NamedTuple):
    """What begins with a bar; None or empty where nothing does.

    `tempo` is in quarter notes a minute.
    """

    meter: Meter | None = None
    tempo: Fraction | None = None
    key: Key | None = None
    section: str = ""
    feel: str = ""
    harp: str = ""  # the harp to take, where a tune is written for one

    def over(self, before: Change) -> Change:
        """Both changes together, this one last."""
        return Change(
            self.meter or before.meter,
            self.tempo or before.tempo,
            self.key or before.key,
            self.section or before.section,
            self.feel or before.feel,
            self.harp or before.harp,
        )

    def since(self, before: Change) -> Change:
        """What of this is not so already."""
        return Change(
            self.meter if self.meter != before.meter else None,
            self.tempo if self.tempo != before.tempo else None,
            self.key if self.key != before.key else None,
            self.section,
            self.feel if self.feel != before.feel else "",
            self.harp if self.harp != before.harp else "",
        )


NO_CHANGE = Change()


class SignKind(Enum):
    """The signs of a jump, by the words for them."""

    SEGNO = "Segno"
    CODA = "Coda"
    TO_CODA = "To Coda"
    FINE = "Fine"
    DA_CAPO = "D.C."
    DAL_SEGNO = "D.S."


class Sign(NamedTuple):
    """A sign of a jump, `at` a place in its bar.

    `until` tells where a D.C. or D.S. leads at last, at a Fine or a Coda, if it says so.
    """

    kind: SignKind
    at: Fraction
    until: SignKind | None = None

    def __str__(self) -> str:
        return self.kind.value + (f" al {self.until.value}" if self.until else "")


class Measure(NamedTuple):
    """A bar as written. `endings` are the passes it is played on; empty means on all.

    `times` is how often the passage that goes back here is played in all. Signs of jumps are
    followed, or told, by `jumps.written_out` as soon as a score is read.
    """

    length: Fraction
    meter: Meter
    notes: tuple[Sounded, ...] = ()
    symbols: tuple[tuple[Fraction, str], ...] = ()  # accompaniment chords and their onsets
    change: Change = NO_CHANGE
    opens: bool = False
    closes: bool = False
    times: int = 2
    endings: tuple[int, ...] = ()
    double: bool = False
    final: bool = False
    signs: tuple[Sign, ...] = ()

    @property
    def beats(self) -> Fraction:
        """The length in beats of its meter; a fraction where it ends within a beat."""
        return self.length / self.meter.beat_quarters

    @property
    def whole(self) -> bool:
        return self.beats.denominator == 1

    @property
    def full(self) -> Fraction | None:
        """How long a bar of this meter is, in quarter notes; None in free meter."""
        return None if self.meter.beats is None else self.meter.beats * self.meter.beat_quarters


class Melody(NamedTuple):
    """One voice of a score. `lost` tells in plain words what of it could not be carried.

    `sections` names its sections in the order they are played, where that is given apart from
    the bars; like signs of jumps, `jumps.written_out` follows it.
    """

    measures: tuple[Measure, ...]
    title: str = ""
    composer: str = ""
    part: str = ""
    lost: tuple[str, ...] = ()
    sections: tuple[str, ...] = ()

    def pitches(self) -> Iterable[float]:
        """Every pitch that is struck, as written."""
        for measure in self.measures:
            for note in measure.notes:
                if not note.tied:
                    yield from note.pitches


class RepeatError(ValueError):
    """Repeat signs or endings that lead nowhere."""


def order(measures: Sequence[Measure]) -> list[int]:
    """The indices of the bars in the order they are played; `RepeatError` if that has no end."""
    played: list[int] = []
    start, play, index = 0, 1, 0
    while index < len(measures):
        if len(played) > 50 * len(measures):
            raise RepeatError("the repeats never come to an end")
        measure = measures[index]
        if measure.opens and index != start:
            start, play = index, 1
        if measure.endings and play not in measure.endings:
            index = _after_ending(measures, index)
            continue
        played.append(index)
        if measure.closes and play < _passes(measures, start, index):
            play, index = play + 1, start
            continue
        in_last = bool(measure.endings) and play >= max(measure.endings)
        leaves = index + 1 < len(measures) and not measures[index + 1].endings
        index += 1
        if measure.closes or (in_last and leaves):
            start, play = index, 1
    return played


def _after_ending(measures: Sequence[Measure], index: int) -> int:
    """The first bar behind the ending that begins at `index`."""
    own = measures[index].endings
    while index < len(measures) and measures[index].endings == own:
        index += 1
        if measures[index - 1].closes:
            break
    return index


def _passes(measures: Sequence[Measure], start: int, index: int) -> int:
    following = measures[index + 1].endings if index + 1 < len(measures) else ()
    numbers = [n for m in measures[start : index + 1] for n in m.endings]
    return max(measures[index].times, *following, *numbers, 2)


def play_out(measures: Sequence[Measure]) -> list[Measure]:
    """The bars as they are played, each pass of a repeat written out; no repeat signs left.

    A change of meter, tempo, key or section is stated again where a repeat goes back past it.
    """
    return laid_out(measures, order(measures))


def laid_out(
    measures: Sequence[Measure], indices: Iterable[int], state: Change = NO_CHANGE
) -> list[Measure]:
    """These of the bars one behind the other, without repeat signs, where `state` holds before."""
    states = states_at(measures)
    out: list[Measure] = []
    for index in indices:
        measure = said_again(measures[index], states[index], state)
        state = states[index]
        out.append(measure._replace(opens=False, closes=False, times=2, endings=(), double=False))
    return out


def said_again(measure: Measure, holds: Change, before: Change) -> Measure:
    """The bar saying all that holds at it and did not before."""
    change = holds.since(before)._replace(section=measure.change.section)
    return measure._replace(change=change)


def states_at(measures: Sequence[Measure]) -> list[Change]:
    """What holds at each bar, everything said so far added up."""
    states: list[Change] = []
    state = NO_CHANGE
    for measure in measures:
        state = measure.change.over(state)._replace(section="")
        states.append(state)
    return states


Stream = list[tuple[Fraction, Fraction, tuple[float, ...]]]


def stream(measures: Sequence[Measure]) -> Stream:
    """What is heard: onset from the first note, duration and pitches of every note played.

    Ties are joined, rests and repeats are in the times; two melodies that sound alike
    have equal streams.
    """
    heard: Stream = []
    now = Fraction(0)
    for index in order(measures):
        for note in measures[index].notes:
            if note.tied and heard and note.pitches == heard[-1][2]:
                onset, duration, pitches = heard[-1]
                heard[-1] = onset, duration + note.duration, pitches
            elif note.pitches:
                heard.append((now + note.onset, note.duration, note.pitches))
        now += measures[index].length
    first = heard[0][0] if heard else Fraction(0)
    return [(onset - first, duration, pitches) for onset, duration, pitches in heard]


def filled(measure: Measure) -> Measure:
    """The bar with a rest in every gap, so that its notes cover all of its length."""
    notes: list[Sounded] = []
    now = Fraction(0)
    for note in measure.notes:
        if note.onset > now:
            notes.append(Sounded(now, note.onset - now))
        notes.append(note)
        now = note.onset + note.duration
    if now < measure.length:
        notes.append(Sounded(now, measure.length - now))
    return measure._replace(notes=tuple(notes))
