"""What to aim at: the exact pitch of every note of a harp, and how to check it by ear.

A *target* is a way to sound a note with its frequency in Hz, its deviation in cents from
twelve equal semitones at the same A4, and a *reference*: a natural note of the same harp
that sounds the same note, or an octave of it, or else the natural note nearest by.

Two notes nearly in unison beat as often a second as their frequencies differ. In an octave
the second partial of the lower beats with the upper, so the rate is that of the upper note
(textbook acoustics). Beats are heard only while both sound: on one harp that is a split of
two natural notes of one breath; a bend needs the reference from elsewhere (a second harp, a
drone, a recording), or from memory.
"""

from __future__ import annotations

from typing import NamedTuple

from tabtool.checks.mouth import WIDEST_SPLIT
from tabtool.harp import Harp, Technique, Tone, Way
from tabtool.temperament import A4_STANDARD, Temperament, named

CENTS_APART = 5.0  # the difference the beat rate is given for: about the least one hears
INTERVALS = (  # by semitones, up to the octave
    "unison", "semitone", "whole tone", "minor third", "major third", "fourth", "tritone",
    "fifth", "minor sixth", "major sixth", "minor seventh", "major seventh", "octave",
)  # fmt: skip


class Reference(NamedTuple):
    """A natural note to check a target by; `semitones` is how far it lies above the target."""

    tone: Tone
    pitch: float
    semitones: int

    @property
    def same_note(self) -> bool:
        """Whether it sounds the target's own note: unison or octaves."""
        return self.semitones % 12 == 0

    def __str__(self) -> str:
        """``5 draw, an octave above``."""
        return f"{self.tone}, {interval(self.semitones)}"


class Target(NamedTuple):
    """A note of a harp to be played in tune.

    `cents` counts from equal temperament at the same A4, `hz` is the frequency. `reference`
    is None only on a harp of one reed. `beats` is the number a second heard when target and
    reference sound together `CENTS_APART` cents apart; None where the reference is another
    note. `split` is the tab that sounds both at once, empty where one mouth cannot.
    """

    tone: Tone
    pitch: float
    hz: float
    cents: float
    reference: Reference | None
    beats: float | None
    split: str


def targets(
    harp: Harp,
    temperament: Temperament | None = None,
    a4: float = A4_STANDARD,
    overbends: bool = False,
) -> tuple[Target, ...]:
    """Every natural and bent note of a harp in order of hole; overblows and overdraws if asked.

    `a4` in Hz; `temperament` is equal where None, and counts from the harp's own root.
    """
    return tuple(
        target(harp, way, temperament or named("equal"), a4)
        for way in harp.ways
        if overbends or not way.tone.overbent
    )


def target(harp: Harp, way: Way, temperament: Temperament, a4: float = A4_STANDARD) -> Target:
    """One way to sound a note, as a target."""
    hz = temperament.hz(way.pitch, harp.root, a4)
    cents = temperament.cents(way.pitch, harp.root)
    reference = reference_for(harp, way)
    if reference is None or not reference.same_note:
        return Target(way.tone, way.pitch, hz, cents, reference, None, "")
    upper = max(hz, temperament.hz(reference.pitch, harp.root, a4))
    beats = upper * (2 ** (CENTS_APART / 1200) - 1)
    return Target(
        way.tone, way.pitch, hz, cents, reference, beats, _split(way.tone, reference.tone)
    )


def reference_for(harp: Harp, way: Way) -> Reference | None:
    """The natural note by which to check a note: its unison, else the nearest octave of it,
    else the natural note nearest in pitch (the player hears how far the target lies from it).

    Among equals the lower octave's, another reed than the one that is bent, the nearer hole.
    """
    own = way.tone
    found = [
        Reference(other.tone, other.pitch, int(other.pitch - way.pitch))
        for other in harp.ways
        if other.tone.technique is Technique.NATURAL and other.tone != own
    ]

    def order(reference: Reference) -> tuple[bool, int, bool, bool, int]:
        tone = reference.tone
        return (
            not reference.same_note,
            abs(reference.semitones),
            tone.slide,
            (tone.hole, tone.breath) == (own.hole, own.breath),
            abs(tone.hole - own.hole) * 2 + (reference.semitones > 0),
        )

    return min(found, key=order, default=None)


def interval(semitones: int) -> str:
    """An interval in words, counted from the target: ``an octave above``, ``a semitone below``."""
    size = abs(semitones)
    if not size:
        return "in unison"
    side = "above" if semitones > 0 else "below"
    octaves, rest = divmod(size, 12)
    if size > 12:
        many = f"{octaves} octaves" if octaves > 1 else "an octave"
        return f"{many} {side}" if not rest else f"{many} and {_a(INTERVALS[rest])} {side}"
    return f"{_a(INTERVALS[size])} {side}"


def _a(word: str) -> str:
    return ("an " if word[0] in "aeio" else "a ") + word


def _split(one: Tone, two: Tone) -> str:
    """The tab of two natural notes that one mouth can sound at once."""
    natural = one.technique is two.technique is Technique.NATURAL
    if not natural or one.breath is not two.breath or one.slide is not two.slide:
        return ""
    low, high = sorted((one.hole, two.hole))
    if not 0 < high - low < WIDEST_SPLIT:
        return ""
    return f"{low}+{high}{one.arrow}"
