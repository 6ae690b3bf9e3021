"""The instrument: reeds in holes, and what follows from them.

Nothing about a bend is typed in. A `Layout` says which note each reed sounds;
a `Harp` is a layout in a key. From the two reeds of a hole follow its bends and
overbends (published rule, Harp-L 1994-09 and 2005-03):

* the higher reed bends down to a semitone above the lower; where the two lie a
  semitone apart nothing but a microtonal *sag* is left, good for expression only;
* blown or drawn hard against the rule, the reed of the *other* breath opens and
  sounds a semitone above its own natural note: an overblow where the draw reed is
  the higher, an overdraw where the blow reed is.

Valves change that. A half-valved hole has a valve on its higher reed, so the lower
reed speaks alone and can be bent by itself, while the overbend is lost; the higher
reed bends as before. A fully valved instrument (the chromatic) bends each reed alone.
"""

from __future__ import annotations

from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

from tabtool.music import Key, pitch_class, spell, spell_class

# Raising an overbend more than a whole tone is past the usual musical maximum
# (a builder's report, quoted in the published facts).
OVERBEND_RAISE = 2
# How far a sag or a "bend" of a lower reed goes, in semitones: about a quarter tone
# (Harp-L 1996-12-04 measured up to 90 cents on one instrument and calls a quarter
# tone the conventional figure).
SAG = 0.5


class Breath(StrEnum):
    """Which way the air goes: BLOW out, DRAW in."""

    BLOW = "blow"
    DRAW = "draw"

    @property
    def other(self) -> Breath:
        return Breath.DRAW if self is Breath.BLOW else Breath.BLOW


class Technique(StrEnum):
    """How a reed is made to speak."""

    NATURAL = "natural"
    BEND = "bend"
    OVERBLOW = "overblow"
    OVERDRAW = "overdraw"


class Tone(NamedTuple):
    """One hole, played one way; its pitch depends on the harp.

    `depth` is in semitones: downwards for a bend, upwards from the overbend's own
    note for an overblow or overdraw, 0 for a natural note.
    """

    hole: int
    breath: Breath
    technique: Technique = Technique.NATURAL
    depth: float = 0
    slide: bool = False

    @property
    def overbent(self) -> bool:
        return self.technique in (Technique.OVERBLOW, Technique.OVERDRAW)

    def __str__(self) -> str:
        """As a player says it: ``2 draw bent 2``, ``6 overblow``."""
        slid = " slide in" if self.slide else ""
        if self.overbent:
            raised = f" raised {self.depth:g}" if self.depth else ""
            return f"{self.hole} {self.technique}{raised}{slid}"
        bent = f" bent {self.depth:g}" if self.technique is Technique.BEND else ""
        return f"{self.hole} {self.breath}{bent}{slid}"

    @property
    def token(self) -> str:
        """As the notation writes it: ``2v2``, ``6^^``, ``3v*``."""
        return f"{self.hole}{self.arrow}"

    @property
    def arrow(self) -> str:
        """The token without its hole."""
        sign = "^" if self.breath is Breath.BLOW else "v"
        depth = f"{self.depth:g}" if self.depth else ""
        return sign * (2 if self.overbent else 1) + depth + ("*" if self.slide else "")


class Valves(StrEnum):
    """Which reeds of an instrument are valved."""

    NONE = "none"
    HALF = "half"  # the higher reed of each hole
    FULL = "full"  # every reed


class Layout(NamedTuple):
    """Which note each reed sounds, in semitones above the root: what players call a tuning.

    `label` is how many semitones the key printed on the cover lies above the root
    (some layouts are sold by their second-position key). `slide_blow` and
    `slide_draw` are the reeds heard with the slide in, None on an instrument
    without one. `valved_bend` is how many semitones a valved reed bends alone.
    """

    name: str
    blow: tuple[int, ...]
    draw: tuple[int, ...]
    label: int = 0
    minor: bool = False
    slide_blow: tuple[int, ...] | None = None
    slide_draw: tuple[int, ...] | None = None
    valves: Valves = Valves.NONE
    valved_bend: int = 0
    source: str = ""

    @property
    def holes(self) -> int:
        return len(self.blow)

    @property
    def has_slide(self) -> bool:
        return self.slide_blow is not None


class Way(NamedTuple):
    """One way to sound a pitch."""

    tone: Tone
    pitch: float


class _Harp(NamedTuple):
    layout: Layout
    root: int
    key: str


class Harp(_Harp):
    """A layout in a key. `root` is the MIDI number of interval 0, `key` the name on the cover.

    `key` may carry a register: ``low F``, ``high G``.
    """

    # No __slots__: the derived tables below are computed once per harp and kept.

    @property
    def tuning(self) -> str:
        return self.layout.name

    @property
    def holes(self) -> int:
        return self.layout.holes

    @property
    def spelling(self) -> Key:
        """The key by which this harp's own notes are named: the major key of its root."""
        label = self.key.split()[-1].removesuffix("m")
        if self.layout.label == 0:
            return Key(label)
        return Key(spell_class(self.root % 12, Key(label)))

    def __str__(self) -> str:
        return f"{self.key} harp, {self.layout.name} tuning"

    @property
    def called(self) -> str:
        """As in a sentence: ``an A harp, Richter tuning``."""
        vowel = self.key[0] in "AEF"  # F is said "eff"
        return f"{'an' if vowel else 'a'} {self}"

    def reed(self, hole: int, breath: Breath, slide: bool = False) -> int | None:
        """The resting pitch of a reed; None where the harp has no such hole or slide."""
        if not 1 <= hole <= self.layout.holes:
            return None
        if slide:
            row = self.layout.slide_blow if breath is Breath.BLOW else self.layout.slide_draw
            return None if row is None else self.root + row[hole - 1]
        row = self.layout.blow if breath is Breath.BLOW else self.layout.draw
        return self.root + row[hole - 1]

    def room(self, hole: int, breath: Breath, slide: bool = False) -> int:
        """Semitones this reed stands above the other reed of its hole; negative if below."""
        own, other = self.reed(hole, breath, slide), self.reed(hole, breath.other, slide)
        if own is None or other is None:
            raise ValueError(f"no hole {hole} on this harp")
        return own - other

    def bend_limit(self, hole: int, breath: Breath, slide: bool = False) -> int:
        """How many whole semitones this reed bends as a melody note; 0 where it does not."""
        valves = self.layout.valves
        if valves is Valves.FULL:
            return self.layout.valved_bend
        room = self.room(hole, breath, slide)
        if room < 0 and valves is Valves.HALF:
            return self.layout.valved_bend
        return max(0, room - 1)

    def expressive_limit(self, hole: int, breath: Breath, slide: bool = False) -> float:
        """How far this reed can be pulled for expression, in semitones.

        The melodic limit where there is one; a quarter tone for a reed whose partner
        lies a semitone below; 0 for the lower reed of an open hole.
        """
        limit = self.bend_limit(hole, breath, slide)
        if limit or self.layout.valves is Valves.FULL:
            return limit
        return SAG if self.room(hole, breath, slide) > 0 else 0

    def overbend(self, hole: int) -> Way | None:
        """The overblow or overdraw of a hole, at its own note; None where there is none."""
        if self.layout.valves is not Valves.NONE:
            return None
        draw_above = self.room(hole, Breath.DRAW)
        if draw_above == 0:
            return None
        breath = Breath.BLOW if draw_above > 0 else Breath.DRAW
        technique = Technique.OVERBLOW if breath is Breath.BLOW else Technique.OVERDRAW
        other = self.reed(hole, breath.other)
        assert other is not None
        return Way(Tone(hole, breath, technique), other + 1)

    def intended(self, tone: Tone) -> float | None:
        """The pitch the tab asks for, played or not; None where no reed stands there.

        A bend counts down from its own reed, an overblow up from a semitone above
        the draw reed, an overdraw from a semitone above the blow reed.
        """
        slide = tone.slide
        if tone.overbent:
            other = self.reed(tone.hole, tone.breath.other, slide)
            return None if other is None else other + 1 + tone.depth
        own = self.reed(tone.hole, tone.breath, slide)
        return None if own is None else own - tone.depth

    def can_play(self, tone: Tone) -> bool:
        """Whether the reeds allow this tone at all, whoever plays."""
        if self.reed(tone.hole, tone.breath, tone.slide) is None:
            return False
        if tone.overbent:
            way = self.overbend(tone.hole)
            return (
                way is not None
                and way.tone.technique is tone.technique
                and not tone.slide
                and tone.depth <= OVERBEND_RAISE
            )
        return tone.depth <= self.bend_limit(tone.hole, tone.breath, tone.slide)

    def bends(self, hole: int) -> tuple[Way, ...]:
        """The whole-semitone bends of a hole, shallowest first, without the slide."""
        return tuple(
            Way(way.tone, way.pitch)
            for way in self.ways
            if way.tone.hole == hole and way.tone.technique is Technique.BEND and not way.tone.slide
        )

    @cached_property
    def ways(self) -> tuple[Way, ...]:
        """Every way to sound a whole-semitone pitch, in order of hole: natural, bent, overbent."""
        found = []
        for hole in range(1, self.holes + 1):
            for slide in (False, True) if self.layout.has_slide else (False,):
                for breath in Breath:
                    reed = self.reed(hole, breath, slide)
                    assert reed is not None
                    found.append(Way(Tone(hole, breath, slide=slide), reed))
                    for depth in range(1, self.bend_limit(hole, breath, slide) + 1):
                        tone = Tone(hole, breath, Technique.BEND, depth, slide)
                        found.append(Way(tone, reed - depth))
            over = self.overbend(hole)
            if over is not None:
                found.append(over)
        return tuple(found)

    @cached_property
    def ways_by_pitch(self) -> dict[float, tuple[Way, ...]]:
        """The ways of `ways`, by pitch."""
        table: dict[float, tuple[Way, ...]] = {}
        for way in self.ways:
            table[way.pitch] = (*table.get(way.pitch, ()), way)
        return table

    def named(self, pitch: float, key: Key | None = None) -> str:
        """A pitch spelled for the tune's key, or for the harp's own where none is given."""
        return spell(pitch, key or self.spelling)


def position(harp: Harp, key: Key) -> int:
    """Which position a tune in `key` is on this harp: 1-12 along the circle of fifths.

    Counted from the root of the layout, so a harp sold by its second-position key
    is in second position in that key (FACTS: circle of fifths, Harp-L 1994-07).
    """
    return 7 * (pitch_class(key.tonic) - harp.root) % 12 + 1


def find(harp: Harp, pc: int, pitch: int | None = None) -> list[tuple[Way, int]]:
    """The ways to sound a pitch class and how many octaves from `pitch` each lies, nearest first.

    `pitch` is a MIDI number of that class; without one, every octave counts as none away.
    """
    order = tuple(Technique)
    ways = [way for way in harp.ways if way.pitch % 12 == pc]
    pairs = [(way, 0 if pitch is None else int(way.pitch - pitch) // 12) for way in ways]
    return sorted(
        pairs,
        key=lambda pair: (
            abs(pair[1]),
            pair[0].pitch,
            order.index(pair[0].tone.technique),
            pair[0].tone.depth,
            pair[0].tone.hole,
        ),
    )
