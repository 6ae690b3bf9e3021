"""A voice of an ABC tune: its bars, and what the text says at each of their notes.

Clauses named are those of the ABC standard 2.1.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from tabtool.readers.abc_pitch import Accidentals, Signature
from tabtool.scores.measures import NO_CHANGE, Change, Sign


class Place(NamedTuple):
    """One note or rest: what the text says there besides pitch and length.

    `whole_bar` is a rest that lasts as long as the bar does, whatever that is; `ties`
    tells that a tie leads from the note to the next (4.11). In a tuplet or a broken rhythm
    it lasts `ratio` of what is written (4.4, 4.13). It sounds `shift` semitones higher.
    """

    rest: bool = False
    symbol: str = ""
    tab: str = ""
    words: tuple[str, ...] = ()
    change: Change = NO_CHANGE
    whole_bar: bool = False
    ties: bool = False
    ratio: Fraction = Fraction(1)
    signs: tuple[Sign, ...] = ()
    shift: int = 0


class BarText(NamedTuple):
    """The places between two bar lines, and what the bar lines say (4.8 to 4.10).

    Signs of jumps, here and at places, are not yet at their time in the bar.
    """

    places: tuple[Place, ...]
    opens: bool = False
    closes: bool = False
    times: int = 2
    endings: tuple[int, ...] = ()
    double: bool = False
    final: bool = False
    signs: tuple[Sign, ...] = ()  # behind its last note


class Voice(NamedTuple):
    """The bars of one voice, what it is called, and its notes alone, for music21."""

    name: str
    bars: tuple[BarText, ...]
    notes_only: str


class Start(NamedTuple):
    """What the head says of every voice: the unit of length, the key line and the tempo.

    `reach` is how far accidentals hold (11.3).
    """

    unit: str
    reach: str
    signature: Signature
    change: Change


class Writing:
    """A voice in the making: what is read is added at its end."""

    def __init__(self, name: str, start: Start) -> None:
        self.name = name
        self.outward = f"X:1\nL:{start.unit}\nK:C\n"
        self.accidentals = Accidentals(start.signature.signs, start.reach)
        self.shift = start.signature.shift
        self.change = start.change  # from the next note on
        self.ratio = Fraction(1)  # of the tuplet being read
        self.tuplet_left = 0  # its notes still to come
        self.overlaid = False  # in a second voice of the bar being read
        self.broken = ""  # the sign of a broken rhythm whose second note is still to come
        self.places: list[Place] = []  # of all bars
        self.bars: list[BarText] = []
        self.start = 0  # the first place of the bar being read
        self.opens = False
        self.signs: list[Sign] = []  # since the last note
        self.endings: tuple[int, ...] = ()
        self.line: list[int] = []  # the places of the notes in the last line of music
        self.bar_ends: list[tuple[int, int]] = []  # place reached, bar, for words to skip to

    @property
    def has_notes(self) -> bool:
        return any(not place.rest for place in self.places)

    def bar_line(self, token: str, passes: str) -> None:
        token = token.replace("[|]", "|")  # not to be seen, and no end of a part
        first, last = token.find("|"), token.rfind("|")
        closing = token[:first] if first >= 0 else token[: len(token) // 2]
        opening = token[last + 1 :] if last >= 0 else token[len(token) // 2 :]
        closes, opens = ":" in closing, ":" in opening
        ends = closes or "||" in token or "[" in token or "]" in token
        if len(self.places) > self.start:
            self.bars.append(
                BarText(
                    (), self.opens, closes, closing.count(":") + 1 if closes else 2, self.endings,
                    "||" in token, "]" in token or "[" in token, self.taken_signs(),
                )
            )  # fmt: skip
            self.bar_ends.append((len(self.places), len(self.bars)))
            self.start = len(self.places)
            self.accidentals.bar_line()
            self.opens = False
        elif closes and self.bars:
            self.bars[-1] = self.bars[-1]._replace(closes=True)
        self.opens = self.opens or opens
        if ends or opens:
            self.endings = ()
        if passes:
            self.ending(passes)

    def taken_signs(self) -> tuple[Sign, ...]:
        taken, self.signs = tuple(self.signs), []
        return taken

    def ending(self, passes: str) -> None:
        numbers: list[int] = []
        for part in passes.strip("[").split(","):
            low, _, high = part.partition("-")
            if low:
                numbers += range(int(low), min(int(high or low), int(low) + 20) + 1)
        self.endings = tuple(numbers)

    def finished(self) -> Voice:
        if len(self.places) > self.start:
            self.bar_line("|", "")
        bars, start = [], 0
        for (end, _), bar in zip(self.bar_ends, self.bars, strict=True):
            bars.append(bar._replace(places=tuple(self.places[start:end])))
            start = end
        return Voice(self.name, tuple(bars), self.outward)


def shared(voices: Sequence[Voice]) -> Iterator[Voice]:
    """The voices with what only another of as many bars says of tempo, meter, parts and jumps."""
    for voice in voices:
        for other in voices:
            if other is voice or len(other.bars) != len(voice.bars):
                continue
            for name in ("section", "tempo", "meter"):
                said = [getattr(place.change, name) for bar in voice.bars for place in bar.places]
                if not any(said[1:]):
                    voice = _with_changes(voice, other, name)
            if not any(bar.signs or any(p.signs for p in bar.places) for bar in voice.bars):
                voice = _with_signs(voice, other)
        yield voice


def _with_changes(voice: Voice, other: Voice, name: str) -> Voice:
    bars = []
    for bar, theirs in zip(voice.bars, other.bars, strict=True):
        value = next((v for p in theirs.places if (v := getattr(p.change, name))), None)
        first = bar.places[0]
        if value:
            first = first._replace(change=first.change._replace(**{name: value}))
        bars.append(bar._replace(places=(first, *bar.places[1:])))
    return voice._replace(bars=tuple(bars))


def _with_signs(voice: Voice, other: Voice) -> Voice:
    """The signs of the other voice, those within a bar behind its last note."""
    bars = []
    for bar, theirs in zip(voice.bars, other.bars, strict=True):
        first = bar.places[0]._replace(signs=theirs.places[0].signs)
        inside = tuple(sign for place in theirs.places[1:] for sign in place.signs)
        bars.append(bar._replace(places=(first, *bar.places[1:]), signs=(*inside, *theirs.signs)))
    return voice._replace(bars=tuple(bars))
