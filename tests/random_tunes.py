"""Random tunes for the tests: written as text, and resolved by a slow, obvious reference.

A tune is a plain tree made here, never read back from the text: the text is written from
it, and `reference` says from it alone what sounds and when. Nothing here imports parse or
resolve. Reeds come from the layouts as data; what follows from them is worked out anew.
"""

from __future__ import annotations

import math
from fractions import Fraction
from random import Random
from typing import NamedTuple

from tabtool.harp import Layout
from tabtool.tunings import TUNINGS

# The lowest note (1 blow) of the harps a shop calls G to F#, as MIDI numbers: OEIS A291810 gives
# the C harp's C4 = 60; the others lie around it, G lowest (Richter-tuned harmonica, encyclopaedia).
ROOTS = {
    "G": 55, "Ab": 56, "A": 57, "Bb": 58, "B": 59, "C": 60,
    "Db": 61, "D": 62, "Eb": 63, "E": 64, "F": 65, "F#": 66,
    "low F": 53, "low D": 50, "high G": 67,
}  # fmt: skip
METERS = {"4/4": 4, "3/4": 3, "2/2": 2, "6/8": 2, "9/8": 3, "5/4": 5, "7/8": 7, "free": None}
FEELS = {"straight": Fraction(1, 2), "shuffle": Fraction(2, 3), "swing 3:2": Fraction(3, 5)}
# Layouts whose printed key is their root, so that ROOTS serves them all.
LAYOUTS = [layout for layout in TUNINGS.values() if layout.label == 0 and not layout.minor]


class Tone(NamedTuple):
    hole: int
    arrow: str  # ^ v ^^ vv
    depth: str  # as written, may be empty
    slide: bool


class Note(NamedTuple):
    tones: tuple[Tone, ...]
    shake: Tone | None
    before: str  # grace notes and scoop, as written
    after: str  # marks, as written

    @property
    def text(self) -> str:
        """In canonical form: one arrow for all its holes, which all have the same."""
        holes = [tone.hole for tone in (*self.tones, self.shake) if tone]
        joined = ("~" if self.shake else "+").join(map(str, holes))
        one = self.tones[0]
        return f"{self.before}{joined}{one.arrow}{one.depth}{'*' if one.slide else ''}{self.after}"


class Rest(NamedTuple):
    text: str = "."


class Hold(NamedTuple):
    text: str = "-"


class Group(NamedTuple):
    parts: tuple[object, ...]


class Passage(NamedTuple):
    """Bars played once (no endings, not repeated), or a repeat with or without endings."""

    body: tuple[tuple[object, ...], ...]  # bars of beats
    repeated: bool
    endings: tuple[tuple[tuple[object, ...], ...], ...]
    verses: int  # lyric lines under the body


class Section(NamedTuple):
    harp: str
    layout: Layout
    tempo: int
    meter: str
    feel: str
    passages: tuple[Passage, ...]


class Sounding(NamedTuple):
    """What the reference says of one note."""

    token: str
    bar: int
    play: int
    onset: Fraction
    duration: Fraction
    start_s: float
    end_s: float
    pitches: tuple[float | None, ...]
    lyric: str


def random_note(rng: Random, layout: Layout) -> Note:
    kind = rng.choice(("plain", "plain", "plain", "bend", "over", "chord", "split", "shake"))
    arrow = rng.choice("^v")
    depth = ""
    slid = layout.has_slide and rng.random() < 0.5
    if kind == "bend":
        depth = rng.choice(("1", "2", "3", "0.5", "1.5"))
    elif kind == "over":
        arrow, depth, slid = 2 * arrow, rng.choice(("", "", "1")), False
    hole = rng.randint(1, layout.holes)
    tones = [Tone(hole, arrow, depth, slid)]
    shake = None
    if kind == "chord":
        last = min(layout.holes, hole + rng.randint(1, 3))
        tones = [Tone(h, arrow, depth, slid) for h in range(hole, last + 1)]
    elif kind == "split" and hole + 3 <= layout.holes:
        tones.append(Tone(hole + 3, arrow, depth, slid))
    elif kind == "shake" and hole < layout.holes:
        shake = Tone(hole + 1, arrow, depth, slid)
    before = rng.choice(("", "", "", "", "/", "//", "{5v}", "{4^,5^}", "{3v1}/"))
    after = rng.choice(("", "", "", "~", "!", ";", "@", "\\", "\\\\", "\\/", "\\\\/~!;@\\"))
    return Note(tuple(tones), shake, before, after)


def random_beat(rng: Random, layout: Layout, depth: int = 0) -> object:
    """One beat, or one share of it: a note, a rest, a hold, or a group of these."""
    if depth < 2 and rng.random() < 0.3:
        count = rng.randint(2, 3 if depth else 5)
        return Group(tuple(random_beat(rng, layout, depth + 1) for _ in range(count)))
    leaf = rng.choice((Hold(), Hold(), Rest(), None, None, None, None, None, None))
    return leaf or random_note(rng, layout)


def random_bars(rng: Random, layout: Layout, meter: str) -> tuple[tuple[object, ...], ...]:
    size = METERS[meter] or rng.randint(1, 6)
    return tuple(
        tuple(random_beat(rng, layout) for _ in range(size)) for _ in range(rng.randint(1, 2))
    )


def random_tune(rng: Random) -> tuple[Section, ...]:
    """One to three sections of one to three passages; each section says all of its setting."""
    made = []
    for _ in range(rng.randint(1, 3)):
        layout, meter = rng.choice(LAYOUTS), rng.choice(list(METERS))
        passages = []
        for _ in range(rng.randint(1, 3)):
            repeated = rng.random() < 0.5
            endings = rng.choice((0, 0, 2, 3)) if repeated else 0
            passages.append(
                Passage(
                    random_bars(rng, layout, meter),
                    repeated,
                    tuple(random_bars(rng, layout, meter) for _ in range(endings)),
                    rng.randint(0, 2),
                )
            )
        harp, tempo, feel = rng.choice(list(ROOTS)), rng.randint(40, 200), rng.choice(list(FEELS))
        made.append(Section(harp, layout, tempo, meter, feel, tuple(passages)))
    return tuple(made)


def beat_text(beat: object, whole: bool = True) -> str:
    if isinstance(beat, Group):
        inner = ",".join(beat_text(part, False) for part in beat.parts)
        return inner if whole else f"({inner})"
    assert isinstance(beat, (Note, Rest, Hold))
    return beat.text


def bar_text(bar: tuple[object, ...]) -> str:
    return " ".join(beat_text(beat) for beat in bar)


def text_of(tune: tuple[Section, ...]) -> str:
    """The tune in the notation."""
    lines = ["title: random"]
    for number, section in enumerate(tune):
        lines += [
            f"[section {number}]",
            f"harp: {section.harp}",
            f"tuning: {section.layout.name}",
            f"tempo: {section.tempo}",
            f"meter: {section.meter}",
            f"feel: {section.feel}",
        ]
        for place, passage in enumerate(section.passages):
            body = " | ".join(bar_text(bar) for bar in passage.body)
            opening = "|: " if passage.repeated else "| "
            closing = " :|" if passage.repeated and not passage.endings else " ||"
            lines.append(opening + body + ("" if passage.endings else closing))
            for verse in range(passage.verses):
                words = (
                    syllable(number, place, verse, index) for index in range(count_notes(passage))
                )
                lines.append("lyric: " + " ".join(words))
            for count, ending in enumerate(passage.endings, start=1):
                last = " ||" if count == len(passage.endings) else " :|"
                bars = " | ".join(bar_text(bar) for bar in ending)
                lines.append(f"|{count} {bars}{last}")
    return "\n".join(lines) + "\n"


def syllable(section: int, place: int, verse: int, index: int) -> str:
    return f"la{section}.{place}.{verse}.{index}"


def leaves(
    beat: object, at: Fraction = Fraction(0), length: Fraction = Fraction(1)
) -> list[tuple[Fraction, Fraction, object]]:
    """The undivided shares of a beat with their offset and length in beats."""
    if not isinstance(beat, Group):
        return [(at, length, beat)]
    each = length / len(beat.parts)
    return [
        leaf
        for index, part in enumerate(beat.parts)
        for leaf in leaves(part, at + index * each, each)
    ]


def count_notes(passage: Passage) -> int:
    return sum(
        isinstance(leaf, Note) for bar in passage.body for beat in bar for *_, leaf in leaves(beat)
    )


def pitch_of(tone: Tone, root: int, layout: Layout) -> float:
    """A bend lowers its own reed; an overbend sounds a semitone above the other one."""
    blow = layout.slide_blow if tone.slide else layout.blow
    draw = layout.slide_draw if tone.slide else layout.draw
    assert blow is not None
    assert draw is not None
    blown, drawn = root + blow[tone.hole - 1], root + draw[tone.hole - 1]
    depth = float(tone.depth or 0)
    return {
        "^": blown - depth,
        "v": drawn - depth,
        "^^": drawn + 1 + depth,
        "vv": blown + 1 + depth,
    }[tone.arrow]


def played_order(tune: tuple[Section, ...]) -> list[tuple[Section, int, int, tuple[object, ...]]]:
    """Every bar as played, with its section, its written number and the pass it is played in,
    and the lyric lines that lie under it."""
    order = []
    number = 1
    for section in tune:
        for passage in section.passages:
            first = number
            starts = []
            number += len(passage.body)
            for ending in passage.endings:
                starts.append(number)
                number += len(ending)
            passes = len(passage.endings) or (2 if passage.repeated else 1)
            for play in range(1, passes + 1):
                order += [(section, first + i, play, bar) for i, bar in enumerate(passage.body)]
                if passage.endings:
                    order += [
                        (section, starts[play - 1] + i, play, bar)
                        for i, bar in enumerate(passage.endings[play - 1])
                    ]
    return order


def words_of(tune: tuple[Section, ...]) -> dict[int, list[list[str]]]:
    """For each bar by its number, the syllables of each note in it, one a verse."""
    found: dict[int, list[list[str]]] = {}
    number = 1
    for which, section in enumerate(tune):
        for place, passage in enumerate(section.passages):
            index = 0
            for bar in passage.body:
                found[number] = []
                for beat in bar:
                    for *_, leaf in leaves(beat):
                        if isinstance(leaf, Note):
                            found[number].append(
                                [
                                    syllable(which, place, verse, index)
                                    for verse in range(passage.verses)
                                ]
                            )
                            index += 1
                number += 1
            number += sum(len(ending) for ending in passage.endings)
    return found


def reference(tune: tuple[Section, ...]) -> list[Sounding]:
    """What sounds, and when: every share in turn, one after the other."""
    words = words_of(tune)
    found: list[Sounding] = []
    goes_on = False  # whether the last note can still be held
    beat_start = Fraction(0)
    beat_start_s = 0.0
    harp_now: tuple[str, str] | None = None
    for section, number, play, bar in played_order(tune):
        if (section.harp, section.layout.name) != harp_now:
            harp_now = section.harp, section.layout.name
            goes_on = False
        beat_s = 60 / section.tempo
        count = 0
        for beat in bar:
            parts = leaves(beat)
            even = all(math.log2(length.denominator).is_integer() for _, length, _ in parts)
            swing = FEELS[section.feel] if even else Fraction(1, 2)
            for at, length, leaf in parts:
                start_s = beat_start_s + beat_s * swung(at, swing)
                end_s = beat_start_s + beat_s * swung(at + length, swing)
                if isinstance(leaf, Rest):
                    goes_on = False
                elif isinstance(leaf, Hold):
                    if goes_on:
                        last = found[-1]
                        found[-1] = last._replace(duration=last.duration + length, end_s=end_s)
                else:
                    assert isinstance(leaf, Note)
                    verses = words[number][count] if number in words else []
                    count += 1
                    found.append(
                        Sounding(
                            leaf.text,
                            number,
                            play,
                            beat_start + at,
                            length,
                            start_s,
                            end_s,
                            tuple(
                                pitch_of(tone, ROOTS[section.harp], section.layout)
                                for tone in leaf.tones
                            ),
                            verses[min(play, len(verses)) - 1] if verses else "",
                        )
                    )
                    goes_on = True
            beat_start += 1
            beat_start_s += beat_s
    return found


def swung(at: Fraction, swing: Fraction) -> float:
    """Where in the time of a beat a place in it falls: its first half takes `swing` of it."""
    if at < Fraction(1, 2):
        return float(2 * at * swing)
    return float(1 - 2 * (1 - at) * (1 - swing))
