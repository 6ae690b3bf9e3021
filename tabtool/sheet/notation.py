"""The staff over a row: engraved by verovio, its notes moved over the columns of the tab.

Verovio engraves the bars of a row on one long system; each note with what hangs on it is
then moved over its tap, and whatever spans several notes (beams, ties) is bent along. The
staff lines and bar lines are our own. Sole importer of verovio.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cache, lru_cache
from itertools import groupby
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement

import verovio

from tabtool.music import FIFTHS, pitch_class
from tabtool.scores.measures import NO_CHANGE, Change, Measure, Melody, Sounded
from tabtool.scores.staff import Staff
from tabtool.scores.values import values
from tabtool.sheet.drawing import BLACK, CURVE, Box, Command, Path, around, line
from tabtool.sheet.outline import commands
from tabtool.sheet.places import Places
from tabtool.sheet.rows import Fragment, Row
from tabtool.sheet.style import Style
from tabtool.writers import musicxml

SPACE = 180.0  # between two staff lines, in verovio's units
STAFF_SPACE = 0.25  # the same on the page, in heights of a hole number
HEADER, SIGN, METER = 5.2, 1.1, 2.6  # widths of clef, one sign of the key, the meter: in spaces
DASH = 130.0  # of a broken line
LEFT, RIGHT = 80.0, 310.0  # the reach of ledger lines, left and right of a head's left edge

_OPTIONS = {
    "breaks": "none",
    "adjustPageHeight": True,
    "adjustPageWidth": True,
    "pageMarginTop": 0,
    "pageMarginBottom": 0,
    "pageMarginLeft": 0,
    "pageMarginRight": 0,
    "header": "none",
    "footer": "none",
    "font": "Leipzig",
}
_SVG = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
_EVENTS = ("note", "chord", "rest", "mRest")
_SKIPPED = ("barLine", "clef", "keySig", "meterSig", "mNum", "tempo", "harm", "verse")
# An octave line (8va) stands over notes that lie above the staff, where one of them would need
# four ledger lines; common practice, no source.
_ABOVE, _HIGH = 79.0, 89.0  # G5, F6
_ACCIDENTALS = {
    0.0: "natural", 1.0: "sharp", -1.0: "flat", 2.0: "double-sharp", -2.0: "flat-flat",
    0.5: "quarter-sharp", -0.5: "quarter-flat",
    1.5: "three-quarters-sharp", -1.5: "three-quarters-flat",
}  # fmt: skip


class Notation:
    """`engrave.Staves` for one tune; `first_number` is the number of its first bar."""

    def __init__(self, staff: Staff, first_number: int) -> None:
        self.staff, self.first_number = staff, first_number
        # A tune names its key and meter where they begin; a row has to know what holds.
        self.holds: list[Change] = []
        so_far = NO_CHANGE
        for measure in staff.melody.measures:
            so_far = measure.change.over(so_far)
            self.holds.append(so_far)

    def indent(self, h: float) -> float:
        """The room that clef, key signature and meter take before the widest row, in mm."""
        signs = max(abs(held.key.fifths) if held.key else 0 for held in self.holds)
        return (HEADER + SIGN * signs + METER) * STAFF_SPACE * h

    def draw(self, row: Row, places: Places, style: Style) -> tuple[tuple[Path, ...], Box]:
        """The staff of a row, and the box it takes."""
        scale = STAFF_SPACE * style.h / SPACE
        bars, onsets = self.bars(row)
        ahead = self.ahead(row)
        engraving = _engraved(_xml(self.staff, (*bars, *ahead)))
        stops = _stops(engraving.events[: len(onsets)], onsets, places, scale)
        end = engraving.events[len(onsets)] if ahead else None
        bend = _Bend(stops, scale, end, places.right)
        left = places.left - style.indent
        before = _Shift(left - engraving.left * scale, scale)
        items = [shape.drawn(before) for shape in engraving.header]
        items += [shape.drawn(bend) for bar in engraving.music[: len(bars)] for shape in bar]
        ys = [y * scale for y in engraving.lines]
        items += [line(left, y, places.right, y, 0.02 * style.h) for y in ys]
        for x in {x for pair in places.bars for x in pair if x > places.left}:
            items.append(line(x, ys[0], x, ys[-1], 0.05 * style.h))
        box = around(items)
        return tuple(items), box

    def bars(self, row: Row) -> tuple[list[Measure], list[Fraction | None]]:
        """The bars of a row, and the place of each printed note in taps; None for a grace note."""
        bars: list[Measure] = []
        onsets: list[Fraction | None] = []
        for fragment in row.fragments:
            index = fragment.measure.number - self.first_number
            change = self.shown(index, fragment) if not bars else NO_CHANGE
            beat = self.staff.melody.measures[index].meter.beat_quarters
            start = (fragment.first - fragment.measure.first) * beat
            bars.append(self.part(index, start, fragment.taps * beat, change))
            for value in values(bars[-1]):
                onsets += [None] * (len(value.note.grace) * value.first)
                onsets.append(fragment.first + value.onset / beat)
        return bars, onsets

    def ahead(self, row: Row) -> tuple[Measure, ...]:
        """The note behind a row, where one is tied over to it, so that the tie is engraved."""
        last = row.fragments[-1]
        index = last.measure.number - self.first_number
        beat = self.staff.melody.measures[index].meter.beat_quarters
        start = (row.end - last.measure.first) * beat
        if last.ends:
            index, start = index + 1, Fraction(0)
        if index >= len(self.staff.melody.measures):
            return ()
        rest = self.staff.melody.measures[index].length - start
        if rest <= 0:
            return ()
        part = self.part(index, start, rest, NO_CHANGE)
        first = part.notes[0]
        if not first.tied or not first.pitches:
            return ()
        return (part._replace(notes=(first,), length=first.duration),)

    def part(self, index: int, start: Fraction, length: Fraction, change: Change) -> Measure:
        """A bar or a part of it (in quarter notes), bare of all but its notes."""
        measure = self.staff.melody.measures[index]
        notes = []
        for note in measure.notes:
            onset = max(note.onset, start)
            end = min(note.onset + note.duration, start + length)
            if onset < end:
                cut = note.onset < start
                notes.append(
                    Sounded(
                        onset - start, end - onset, note.pitches, note.tied or cut,
                        grace=() if cut else note.grace,
                    )
                )  # fmt: skip
        return Measure(length, measure.meter, tuple(notes), change=change)

    def shown(self, index: int, fragment: Fragment) -> Change:
        """The signatures at the beginning of a row: the key always, the meter where it is new."""
        meter = self.staff.melody.measures[index].change.meter if fragment.starts else None
        return Change(meter=meter, key=self.holds[index].key)


class _Shift:
    """Everything moved alike: for what stands before the notes."""

    def __init__(self, left: float, scale: float) -> None:
        self.left, self.scale = left, scale

    def x(self, x: float) -> float:
        return self.left + x * self.scale


class _Bend:
    """Each note moved over its tap with what hangs on it; between notes evenly stretched.

    Where something leads on to the `end` of the row, nothing goes further than that.
    """

    def __init__(
        self, stops: Sequence[tuple[float, float]], scale: float, end: float | None, right: float
    ) -> None:
        self.scale = scale
        self.knots: list[tuple[float, float]] = []
        for (own, place), following in zip(stops, (*stops[1:], None), strict=True):
            reach = own + RIGHT
            if following is not None:  # where notes stand close, what lies between is shared
                reach = min(reach, max(own, (own + RIGHT + following[0] - LEFT) / 2))
            start = own - LEFT
            if self.knots:
                start = min(own, max(start, self.knots[-1][0]))
            self.knots.append((start, place + (start - own) * scale))
            self.knots.append((reach, place + (reach - own) * scale))
        self.right = float("inf") if end is None else right
        if end is not None:
            self.knots.append((max(end, self.knots[-1][0] + 1), right))

    def x(self, x: float) -> float:
        index = bisect_right(self.knots, (x, float("inf")))
        if index == 0 or index == len(self.knots):
            own, place = self.knots[0 if index == 0 else -1]
            return min(place + (x - own) * self.scale, self.right)
        (own, place), (after, goal) = self.knots[index - 1], self.knots[index]
        if after == own:
            return place
        return place + (x - own) / (after - own) * (goal - place)


def _stops(
    events: Sequence[float], onsets: Sequence[Fraction | None], places: Places, scale: float
) -> list[tuple[float, float]]:
    """Where each note stands in the engraving and where it goes; graces go before their note."""
    stops: list[tuple[float, float]] = []
    graces: list[float] = []
    for own, onset in zip(events, onsets, strict=True):
        if onset is None:
            graces.append(own)
            continue
        place = places.x(onset)
        first = graces[0] if graces else own
        stops += [(x, place + (x - first) * scale) for x in (*graces, own)]
        graces = []
    return stops


class _Shape(NamedTuple):
    """A drawn thing in verovio's units, as path data; `width` is that of its stroke.

    A glyph stands at `x`, `y`, enlarged by `size`, its own y upwards; other data are where
    they are. What hangs on a note moves as that note does, which stands at `anchor`; what
    has none is bent along. A level line may be `broken` into dashes.
    """

    data: str
    glyph: bool
    x: float = 0.0
    y: float = 0.0
    size: float = 1.0
    width: float = 0.0
    filled: bool = True
    anchor: float | None = None
    broken: bool = False

    def drawn(self, bend: _Shift | _Bend) -> Path:
        """It in millimetres."""
        scale = bend.scale

        anchor = self.x if self.anchor is None and self.glyph else self.anchor

        def place(x: float, y: float) -> tuple[float, float]:
            if self.glyph:
                x, y = self.x + x * self.size, self.y - y * self.size
            if anchor is None:
                return bend.x(x), y * scale
            return bend.x(anchor) + (x - anchor) * scale, y * scale

        drawn = commands(self.data, place)
        return Path(
            _dashes(drawn, DASH * scale) if self.broken else drawn,
            fill=BLACK if self.filled else None,
            stroke=BLACK if self.width else None,
            width=self.width * scale,
        )


def _dashes(line: tuple[Command, ...], length: float) -> tuple[Command, ...]:
    """A level line from left to right, cut into dashes of that length and gaps as long."""
    (x, y), (end, _) = (step[1] for step in line)
    dashes: list[Command] = []
    while x < end:
        dashes += [("M", (x, y)), ("L", (min(x + length, end), y))]
        x += 2 * length
    return tuple(dashes)


class _Engraving(NamedTuple):
    """What verovio drew: before the notes, then bar by bar; the places of notes and rests in
    order; the heights of the staff lines, and where they begin.
    """

    header: tuple[_Shape, ...]
    music: tuple[tuple[_Shape, ...], ...]
    events: tuple[float, ...]
    lines: tuple[float, ...]
    left: float


@cache
def _toolkit() -> verovio.toolkit:
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    return toolkit


@lru_cache(maxsize=256)
def _engraved(xml: str) -> _Engraving:
    """Engrave a score; the same rows are asked for again while a page is being fitted."""
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = _toolkit()
    if not toolkit.loadData(xml):
        raise ValueError("verovio cannot read the score")
    root = ElementTree.fromstring(toolkit.renderToSVG(1))
    glyphs = {
        group.attrib["id"]: group[0].attrib["d"] for group in root.iterfind(f"{_SVG}defs/{_SVG}g")
    }
    measures = [group for group in root.iter(f"{_SVG}g") if _is(group, "measure")]
    header: list[_Shape] = []
    for group in measures[0].iter(f"{_SVG}g"):
        if any(_is(group, name) for name in ("clef", "keySig", "meterSig")):
            header += _shapes(group, glyphs, skipped=())
    staff = next(group for group in measures[0].iter(f"{_SVG}g") if _is(group, "staff"))
    ends = [commands(path.attrib["d"])[0][1] for path in staff.findall(f"{_SVG}path")]
    return _Engraving(
        tuple(header),
        tuple(tuple(_shapes(measure, glyphs, skipped=_SKIPPED)) for measure in measures),
        tuple(x for measure in measures for x in _events(measure)),
        tuple(sorted(y for _, y in ends)),
        min(x for x, _ in ends),
    )


def _is(group: Element, name: str) -> bool:
    return name in group.attrib.get("class", "").split()


def _shapes(
    group: Element,
    glyphs: dict[str, str],
    skipped: Sequence[str],
    anchor: float | None = None,
) -> Iterator[_Shape]:
    """Everything drawn inside a group, but for staff lines and the groups `skipped`."""
    for child in group:
        tag = child.tag.removeprefix(_SVG)
        if tag == "g":
            if not any(_is(child, name) for name in skipped):
                own = _head(child) if anchor is None and _is_event(child) else anchor
                yield from _shapes(child, glyphs, skipped, own)
        elif tag == "use":
            x, y = _numbers(child.attrib["transform"], "translate")
            size, _ = _numbers(child.attrib["transform"], "scale")
            glyph = glyphs[child.attrib[_LINK][1:]]
            yield _Shape(glyph, True, x, y, size, anchor=anchor)
        elif tag == "path" and not _is(group, "staff"):
            curved = "C" in child.attrib["d"]
            width = float(child.attrib.get("stroke-width", 0))
            yield _Shape(
                child.attrib["d"], False, width=width, filled=curved, anchor=anchor,
                broken="stroke-dasharray" in child.attrib,
            )  # fmt: skip
        elif tag in ("polygon", "polyline"):
            closed = tag == "polygon"
            width = 0.0 if closed else float(child.attrib.get("stroke-width", 13))
            data = f"M{child.attrib['points']}" + "Z" * closed
            yield _Shape(data, False, width=width, filled=closed, anchor=anchor)
        elif tag == "ellipse":
            x, y, r = (float(child.attrib[name]) for name in ("cx", "cy", "rx"))
            k = CURVE * r
            data = (
                f"M{x - r} {y}C{x - r} {y - k} {x - k} {y - r} {x} {y - r} "
                f"{x + k} {y - r} {x + r} {y - k} {x + r} {y} "
                f"{x + r} {y + k} {x + k} {y + r} {x} {y + r} "
                f"{x - k} {y + r} {x - r} {y + k} {x - r} {y}Z"
            )
            yield _Shape(data, False, anchor=x if anchor is None else anchor)
        elif tag == "rect":
            x, y, w, d = (float(child.attrib[name]) for name in ("x", "y", "width", "height"))
            yield _Shape(f"M{x} {y}h{w}v{d}h{-w}Z", False, anchor=anchor)


def _numbers(transform: str, name: str) -> tuple[float, float]:
    found = re.search(rf"{name}\(([-\d.]+),\s*([-\d.]+)\)", transform)
    assert found is not None
    return float(found[1]), float(found[2])


def _is_event(group: Element) -> bool:
    return any(_is(group, name) for name in _EVENTS)


def _head(group: Element) -> float:
    """The left edge of a note, chord or rest, accidentals apart."""
    heads = [part for part in group.iter(f"{_SVG}g") if _is(part, "notehead")] or [group]
    uses = [use for head in heads for use in head.iter(f"{_SVG}use")]
    return min(_numbers(use.attrib["transform"], "translate")[0] for use in uses)


def _events(group: Element) -> Iterator[float]:
    """The left edges of notes, chords and rests, in order."""
    for child in group:
        if _is_event(child):
            yield _head(child)
        else:
            yield from _events(child)


def _xml(staff: Staff, bars: Sequence[Measure]) -> str:
    """The bars as MusicXML, with the accidentals to print."""
    melody = Melody(tuple(bars))
    root = ElementTree.fromstring(
        musicxml.write(staff._replace(melody=melody), musicxml.TabAs.NONE)
    )
    key = next((bar.change.key for bar in bars if bar.change.key), staff.spelling)
    signed = _signature(key.fifths)
    for measure in root.iter("measure"):
        altered: dict[tuple[str, str], float] = {}
        for note in measure.iter("note"):
            pitch = note.find("pitch")
            if pitch is None:
                continue
            step, octave = pitch.findtext("step", ""), pitch.findtext("octave", "")
            alter = float(pitch.findtext("alter", "0"))
            tied = any(tie.get("type") == "stop" for tie in note.iter("tie"))
            if altered.get((step, octave), signed.get(step, 0.0)) == alter or tied:
                continue
            altered[step, octave] = alter
            place = 1 + max(i for i, child in enumerate(note) if child.tag in ("type", "dot"))
            accidental = Element("accidental")
            accidental.text = _ACCIDENTALS[alter]
            note.insert(place, accidental)
    _octave_lines(root)
    return ElementTree.tostring(root, encoding="unicode")


def _octave_lines(root: Element) -> None:
    """Put the high passages of a score under octave lines, so that they print an octave lower."""
    struck: list[tuple[Element, list[Element], float, float]] = []  # bar, notes, lowest, highest
    for measure in root.iter("measure"):
        for note in measure.iter("note"):
            pitch = note.find("pitch")
            if pitch is None:
                continue
            sounds = _midi(pitch)
            if note.find("chord") is not None:
                bar, notes, low, high = struck.pop()
                struck.append((bar, [*notes, note], min(low, sounds), max(high, sounds)))
            else:
                struck.append((measure, [note], sounds, sounds))
    for above, run in groupby(struck, key=lambda one: one[2] >= _ABOVE):
        passage = list(run)
        if not above or max(high for *_, high in passage) < _HIGH:
            continue
        bar, notes, *_ = passage[0]
        bar.insert(list(bar).index(notes[0]), _octave_line("down"))
        bar, notes, *_ = passage[-1]
        bar.insert(list(bar).index(notes[-1]) + 1, _octave_line("stop"))


def _octave_line(type: str) -> Element:
    direction = Element("direction")
    said = SubElement(direction, "direction-type")
    SubElement(said, "octave-shift", type=type, size="8")
    return direction


def _midi(pitch: Element) -> float:
    """The MIDI number of a pitch of MusicXML."""
    octave, alter = int(pitch.findtext("octave", "")), float(pitch.findtext("alter", "0"))
    return 12 * (octave + 1) + pitch_class(pitch.findtext("step", "")) + alter


def _signature(fifths: int) -> dict[str, float]:
    """How the key signature alters each letter."""
    if fifths >= 0:
        return dict.fromkeys(FIFTHS[:fifths], 1.0)
    return dict.fromkeys(FIFTHS[fifths:], -1.0)
