"""What a MusicXML score says over one staff and means for all: tempo, sections, jumps.

Programs print such directions over the topmost staff alone, say jumps in words of their own
beside a `sound` element that says them again, or hang their signs on a bar line. `gather`
puts them where the reader of one part looks for them, before the other parts are cut away.
Elements and attributes are those of MusicXML 4.0.
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from fractions import Fraction

from tabtool.scores.jumps import sign_of

Element = ElementTree.Element
TEMPO, SECTION = "tempo", "section"
_WORDS = {  # attributes of sound, and the words that mean the same
    "segno": "Segno",
    "coda": "Coda",
    "tocoda": "To Coda",
    "dalsegno": "D.S.",
    "dacapo": "D.C.",
    "fine": "Fine",
}


def gather(root: Element, chosen: Element, staff: int) -> None:
    """Bring the directions for all parts to one part, or to one staff of it (0: its only one)."""
    parts = root.findall("part")
    for part in parts:
        for measure in part.findall("measure"):
            _spell(measure)
    for part in parts:
        if part is not chosen:
            _copy(part, chosen)
    for direction in chosen.iter("direction"):
        own = direction.find("staff")
        if staff and own is not None and _meant(direction):
            own.text = str(staff)


def _spell(measure: Element) -> None:
    """Say in words the jumps that a bar says only by `sound` elements or at its bar lines."""
    said = {kind for one in measure.iter("direction") for kind in _meant(one)}
    for at, element in reversed(list(enumerate(measure))):
        if element.tag == "barline":
            words = [_WORDS[one.tag] for one in element if one.tag in ("segno", "coda")]
            at = _begin(measure) if element.get("location") == "left" else len(measure)
        else:
            sounds = [element] if element.tag == "sound" else element.findall("sound")
            words = [
                _WORDS[name] for one in sounds for name in _WORDS if one.get(name, "no") != "no"
            ]
        for text in words:
            kind = _kind(text)
            drawn = kind == "To Coda" and "Coda" in said  # one sign, drawn at both ends
            if kind not in said and not drawn:
                said.add(kind)
                measure.insert(at, _direction(text))


def _direction(text: str) -> Element:
    direction = ElementTree.Element("direction")
    kind = ElementTree.SubElement(direction, "direction-type")
    ElementTree.SubElement(kind, "words").text = text
    return direction


def _begin(measure: Element) -> int:
    """The place of the first note of a bar, behind its attributes."""
    notes = (at for at, one in enumerate(measure) if one.tag in ("note", "forward", "backup"))
    return next(notes, len(measure))


def _meant(direction: Element) -> set[str]:
    """The kinds of things a direction says that are meant for all parts."""
    kinds = set()
    sounds = [direction] if direction.tag == "sound" else direction.findall("sound")
    if direction.find("direction-type/metronome") is not None:
        kinds.add(TEMPO)
    if any(one.get("tempo") for one in sounds):
        kinds.add(TEMPO)
    if direction.find("direction-type/rehearsal") is not None:
        kinds.add(SECTION)
    for one in direction.findall("direction-type/*"):
        said = one.text if one.tag == "words" else one.tag if one.tag in ("segno", "coda") else ""
        kinds.add(_kind(said or ""))
    return kinds - {""}


def _kind(words: str) -> str:
    sign = sign_of(words)
    return sign.kind.value if sign else ""


def _copy(part: Element, chosen: Element) -> None:
    """Copy what another part says in each bar, unless the chosen one says the like in it."""
    divisions = Fraction(1)
    for measure, directions in zip(chosen.findall("measure"), _said(part), strict=False):
        divisions = _divisions(measure, divisions)
        own = [one for one in measure if one.tag in ("direction", "sound")]
        said = {kind for one in own for kind in _meant(one)}
        for direction, at in directions:
            if _meant(direction) - said:
                measure.insert(_begin(measure), _moved(direction, at * divisions))


def _said(part: Element) -> Iterator[list[tuple[Element, Fraction]]]:
    """For each bar its directions that are meant for all, and when in it, in quarter notes."""
    divisions = Fraction(1)
    for measure in part.findall("measure"):
        divisions = _divisions(measure, divisions)
        found = []
        now = Fraction(0)
        for one in measure:
            lasts = _number(one.findtext("duration")) / divisions
            if one.tag in ("direction", "sound") and _meant(one):
                found.append((one, now + _number(one.findtext("offset")) / divisions))
            elif one.tag == "backup":
                now -= lasts
            elif one.tag == "forward" or (one.tag == "note" and one.find("chord") is None):
                now += lasts
        yield found


def _divisions(measure: Element, before: Fraction) -> Fraction:
    return _number(measure.findtext("attributes/divisions")) or before


def _number(text: str | None) -> Fraction:
    try:
        return Fraction((text or "0").strip())
    except (ValueError, ZeroDivisionError):
        return Fraction(0)


def _moved(direction: Element, at: Fraction) -> Element:
    """A copy of a direction, to stand at the beginning of a bar and be meant so much later."""
    copy = ElementTree.Element(direction.tag, direction.attrib)
    copy.extend(one for one in direction if one.tag not in ("offset", "voice", "staff"))
    offset = ElementTree.Element("offset")
    offset.text = str(round(at))
    copy.insert(len(copy.findall("direction-type")), offset)
    return copy
