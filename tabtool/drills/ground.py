"""What a drill stands on: the harp, the key, the player, and the notes there are to use.

A melody is a list of `Step`s: a tone or a rest, and how long, in beats. Notes come from
*ladders*: the notes of a scale as the harp gives them around a target, lowest first. Only
natural notes and the bends the drill is about are used; no other bend, and nothing that is
good for expression only, is ever asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from random import Random
from typing import NamedTuple, TypeVar

from tabtool.harp import Harp, Technique, Tone, Way, position
from tabtool.music import MODES, Key, spell_class
from tabtool.player import Player
from tabtool.tunings import STANDARD_KEYS

T = TypeVar("T")

# Semitones above the tonic: common theory.
SCALES = {
    "blues scale": (0, 3, 5, 6, 7, 10),
    "major pentatonic": (0, 2, 4, 7, 9),
    "minor pentatonic": (0, 3, 5, 7, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    **MODES,
}
_FAVOURITES = {  # what is commonly played in a position: common practice, no source
    1: ("major pentatonic", "major", "blues scale"),
    2: ("blues scale", "major pentatonic", "mixolydian", "minor pentatonic"),
    3: ("dorian", "minor pentatonic", "blues scale"),
    4: ("minor", "minor pentatonic", "harmonic minor"),
    5: ("phrygian", "minor pentatonic", "minor"),
    12: ("lydian", "major pentatonic", "major"),
}
_OTHERS = ("minor pentatonic", "major pentatonic", "blues scale")
_ANY = ("major", "mixolydian", "dorian", "minor", "lydian", "harmonic minor", "phrygian")
ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth",
    "seventh", "eighth", "ninth", "tenth", "eleventh", "twelfth",
)  # fmt: skip
REACH = 11  # semitones a ladder stretches to either side of its target
LEAST_RUNGS = 5


class Step(NamedTuple):
    """A tone (None for a rest) and its length in beats."""

    tone: Tone | None
    beats: Fraction = Fraction(1)
    vibrato: bool = False


class Scale(NamedTuple):
    """A scale in the key of the drill; `classes` are pitch classes."""

    name: str
    classes: frozenset[int]
    bluesy: bool


class Ground(NamedTuple):
    """The harp, the key the drills are in, the player, and the notes drilled (`asked`)."""

    harp: Harp
    key: Key
    player: Player
    asked: tuple[Way, ...]

    @property
    def position(self) -> int:
        return position(self.harp, self.key)

    def name(self, pitch: float) -> str:
        """The pitch as the key spells it."""
        return self.harp.named(pitch, self.key)

    def call(self, way: Way) -> str:
        """``2v2 (F4)``."""
        return f"{way.tone.token} ({self.name(way.pitch)})"

    def naturals(self) -> list[Way]:
        """Natural notes, lowest first, one a pitch; slide in only where there is no other."""
        return self.ladder(self.asked[0], None)

    def ladder(self, target: Way, scale: Scale | None, reach: int | None = None) -> list[Way]:
        """The notes of a scale within reach of a target, lowest first, the target among them.

        Without a scale: every natural note, without the target; without a reach: the whole harp.
        """
        by_pitch: dict[float, Way] = {}
        for way in self.harp.ways:
            if scale is None and way.tone.technique is not Technique.NATURAL:
                continue
            if scale is not None and int(way.pitch) % 12 not in scale.classes:
                continue
            if way.tone.technique is not Technique.NATURAL and way not in self.asked:
                continue
            if way.tone.overbent and not target.tone.overbent:
                continue  # harder than what is drilled here
            if reach is not None and abs(way.pitch - target.pitch) > reach:
                continue
            known = by_pitch.get(way.pitch)
            if known is None or _handy(way, target) < _handy(known, target):
                by_pitch[way.pitch] = way
        if scale is not None:
            by_pitch[target.pitch] = target
        return [by_pitch[pitch] for pitch in sorted(by_pitch)]

    def rungs(self, target: Way, scale: Scale) -> list[Way]:
        """The ladder around a target, with other natural notes put in if it has too few rungs."""
        found = self.ladder(target, scale, REACH)
        if len(found) < LEAST_RUNGS:
            found = self.ladder(target, scale, 2 * REACH)
        if len(found) < LEAST_RUNGS:
            pitches = {way.pitch for way in found}
            extra = [way for way in self.naturals() if way.pitch not in pitches]
            extra.sort(key=lambda way: abs(way.pitch - target.pitch))
            found = sorted(found + extra[: LEAST_RUNGS - len(found)], key=lambda way: way.pitch)
        return found

    def scale(self, target: Way, rng: Random) -> Scale:
        """A scale of the position that holds the target and that the harp can mostly play."""
        favourites = [*_FAVOURITES.get(self.position, _OTHERS), self.mode]
        if self.key.mode != "major":
            favourites.insert(1, self.key.mode)
        for names in (favourites, _ANY):
            fit = [
                scale
                for scale in map(self.named_scale, dict.fromkeys(names))
                if int(target.pitch) % 12 in scale.classes
                and len(self.ladder(target, scale, REACH)) >= LEAST_RUNGS
            ]
            if fit:
                return pick(rng, fit[:2])
        home = self.named_scale(self.mode)
        passing = int(target.pitch) % 12
        if passing in home.classes:
            return home
        name = f"{home.name} with {spell_class(passing, self.key)} in passing"
        return Scale(name, home.classes | {passing}, False)

    def families(self, targets: Sequence[Way], most: int, rng: Random) -> list[list[Way]]:
        """Targets in groups of at most `most`, each group's notes near by and in one scale."""
        left = list(targets)
        found = []
        while left:
            first = left[0]
            near = [way for way in left if abs(way.pitch - first.pitch) <= REACH - 2]
            families = [
                [way for way in near if int(way.pitch) % 12 in self.scale(one, rng).classes]
                for one in near
            ]
            family = max((f for f in families if first in f), key=len, default=[first])[:most]
            found.append(family)
            left = [way for way in left if way not in family]
        return found

    def named_scale(self, name: str) -> Scale:
        tonic = self.key.pitch_class
        classes = frozenset((tonic + step) % 12 for step in SCALES[name])
        word = name if "scale" in name or "penta" in name else f"{name} scale"
        return Scale(
            f"{self.key.tonic} {word}", classes, name in ("blues scale", "minor pentatonic")
        )

    @property
    def mode(self) -> str:
        """The mode the harp's natural notes give on the tonic, as nearly as any does."""
        return natural_mode(self.harp, self.key.pitch_class)


def natural_mode(harp: Harp, tonic: int) -> str:
    """The mode on a tonic (a pitch class) most of whose notes the harp sounds without bending."""
    classes = {int(way.pitch) % 12 for way in harp.ways if way.tone.technique is Technique.NATURAL}

    def missing(mode: str) -> int:
        return sum((tonic + step) % 12 not in classes for step in MODES[mode])

    return min(MODES, key=missing)  # the first listed among equals


def home_key(harp: Harp, position_wanted: int = 0) -> Key:
    """The key of a position on a harp, with the mode its natural notes give.

    Without a position: the second, in which most bends are played (common practice, no
    source); the first for minor tunings sold by their root and for slide instruments.
    """
    if not position_wanted:
        layout = harp.layout
        first = layout.has_slide or (layout.minor and layout.label == 0)
        position_wanted = 1 if first else 2
    tonic = (harp.root + 7 * (position_wanted - 1)) % 12
    name = next(key for key in STANDARD_KEYS if _class(key) == tonic)
    return Key(name, natural_mode(harp, tonic))


def own_natural(harp: Harp, tone: Tone) -> Way:
    """The reed's own note, unbent; for an overbend the natural note of that hole and breath."""
    plain = tone._replace(technique=Technique.NATURAL, depth=0)
    pitch = harp.reed(tone.hole, tone.breath, tone.slide)
    assert pitch is not None
    return Way(plain, pitch)


def pick(rng: Random, choices: Sequence[T]) -> T:
    """One of several. By `Random.random` alone, whose sequence no Python version may change."""
    return choices[int(rng.random() * len(choices))]


def shuffled(rng: Random, things: Sequence[T]) -> list[T]:
    """In another order, by `Random.random` alone."""
    keys = [rng.random() for _ in things]
    return [things[at] for at in sorted(range(len(things)), key=keys.__getitem__)]


def _class(name: str) -> int:
    return Key(name).pitch_class


def _handy(way: Way, target: Way) -> tuple[bool, bool, bool, int, bool]:
    """How handy a way is beside the target: the target itself, no bend, no slide, near by."""
    return (
        way.tone != target.tone,
        way.tone.technique is not Technique.NATURAL,
        way.tone.slide,
        abs(way.tone.hole - target.tone.hole),
        way.tone.breath is not target.tone.breath,
    )
