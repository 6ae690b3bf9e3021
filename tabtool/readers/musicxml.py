"""MusicXML, through music21, once it is known to be harmless and cut down to one part.

Entities are refused before any parser expands them; parts that are not asked for never
reach music21.
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from collections import Counter
from math import gcd
from xml.parsers import expat

from tabtool.diagnostics import TabError
from tabtool.readers import Choice, choose_part, counted, few_enough
from tabtool.readers.directions import gather
from tabtool.scores.measures import Melody

DEEPEST = 60  # elements within elements; a score has about ten
MOST_ELEMENTS = 1_500_000  # of all parts; a symphony has fewer


def read(data: bytes, name: str, choice: Choice) -> Melody:
    """The melody of the chosen part."""
    root = safe_tree(data, name)
    if root.tag == "score-timewise":
        raise TabError(
            f"{name}: a score written bar by bar (score-timewise); save it part by part "
            "(score-partwise)"
        )
    if root.tag != "score-partwise":
        raise TabError(f"{name}: XML, but no MusicXML score: its outermost element is {root.tag}")
    parts = [part for part in root.findall("part") if part.find(".//pitch") is not None]
    names = {
        one.get("id", ""): " ".join((one.findtext("part-name") or "").split())
        for one in root.iter("score-part")
    }
    staves: list[tuple[ElementTree.Element, int, str]] = []  # part, staff (0: its only one), name
    for part in parts:
        called = names.get(part.get("id", ""), "")
        used = sorted({one.text or "" for one in part.iter("staff")})
        if len(used) < 2:
            staves.append((part, 0, called))
        staves += [
            (part, n, f"{called}, staff {n}") for n in range(1, len(used) + 1) if len(used) > 1
        ]
    chosen, staff, _ = staves[choose_part([called for _, _, called in staves], name, choice.part)]
    few_enough(sum(1 for _ in chosen.iter("note")), name)
    _sound(chosen, name)
    gather(root, chosen, staff)
    lost = _silenced(chosen)
    for part in root.findall("part"):
        if part is not chosen:
            root.remove(part)
            if chosen.find("measure/harmony") is None:
                lost["chord symbols over another part"] += len(part.findall("measure/harmony"))
    listing = root.find("part-list")
    for one in list(listing) if listing is not None else ():
        if one.tag != "score-part" or one.get("id") != chosen.get("id"):
            assert listing is not None
            listing.remove(one)
    text = ElementTree.tostring(root, encoding="unicode")
    from tabtool.readers.staff import melody_of, parse_score  # music21: late, for it is slow

    own = choice._replace(part=str(staff) if staff else "")
    melody = melody_of(parse_score(text, "musicxml", name), name, own)
    melody = melody._replace(
        title=_said(root.findtext("work/work-title") or root.findtext("movement-title")),
        composer=_said(root.findtext("identification/creator[@type='composer']")),
        part=names.get(chosen.get("id", ""), ""),
        lost=(*([f"left out: {counted(+lost)}"] if +lost else []), *melody.lost),
    )
    return _with_feel(melody, chosen)


def safe_tree(data: bytes, name: str) -> ElementTree.Element:
    """The tree of an XML text that declares no entities and is not absurdly deep."""
    depth = elements = 0

    def entity(*_: object) -> None:
        raise TabError(f"{name}: XML that declares entities is not read, for safety")

    def enter(*_: object) -> None:
        nonlocal depth, elements
        depth += 1
        elements += 1
        if elements > MOST_ELEMENTS:
            raise TabError(f"{name}: more than {MOST_ELEMENTS} elements, so surely no melody")
        if depth > DEEPEST:
            raise TabError(f"{name}: XML nested more than {DEEPEST} deep is no score")

    def leave(*_: object) -> None:
        nonlocal depth
        depth -= 1

    parser = expat.ParserCreate()
    parser.EntityDeclHandler = entity
    parser.StartElementHandler = enter
    parser.EndElementHandler = leave
    try:
        parser.Parse(data, True)
        return ElementTree.fromstring(data)
    except expat.ExpatError as error:
        what = expat.errors.messages.get(error.code, "it breaks off")
        raise TabError(
            f"{name}:{error.lineno}:{error.offset + 1}: not well-formed XML: {what}"
        ) from None
    except ElementTree.ParseError as error:
        raise TabError(f"{name}: not well-formed XML: {error}") from None
    except (ValueError, LookupError) as error:
        raise TabError(f"{name}: not readable XML: {error}") from None


def _sound(part: ElementTree.Element, name: str) -> None:
    """`TabError` where a number music is counted by is none, or a note has no length."""
    for count, measure in enumerate(part.findall("measure"), start=1):
        where = f"{name}: bar {measure.get('number') or count}"
        for tag in ("divisions", "duration"):
            for one in measure.iter(tag):
                if not _above_zero(one.text):
                    raise TabError(f"{where}: {tag} is '{_said(one.text)}', not a number above 0")
        for note in measure.iter("note"):
            if note.find("grace") is None and note.find("duration") is None:
                raise TabError(f"{where}: a note without a duration, which is no grace note")
            step = note.findtext("pitch/step")
            if step is not None and step.strip() not in tuple("ABCDEFG"):
                raise TabError(
                    f"{where}: '{_said(step)}' is no step of the scale; those are A to G"
                )


def _above_zero(text: str | None) -> bool:
    try:
        return 0 < float(text or "") < float("inf")
    except ValueError:
        return False


def _silenced(part: ElementTree.Element) -> Counter[str]:
    """Make rests of the cue notes of a part, which are silent (MusicXML 4.0); what was lost."""
    lost: Counter[str] = Counter()
    for measure in part.iter("measure"):
        for note in measure.findall("note"):
            if note.get("time-only"):
                lost["the passes to which notes are limited"] += 1
            if note.find("cue") is None or note.find("rest") is not None:
                continue
            lost["cue notes, which are not played"] += 1
            if note.find("grace") is not None or note.find("chord") is not None:
                measure.remove(note)
                continue
            for one in list(note):
                if one.tag not in ("duration", "voice", "type", "dot", "staff"):
                    note.remove(one)
            note.insert(0, ElementTree.Element("rest"))
    return lost


def _said(text: str | None) -> str:
    return " ".join((text or "").split())


def _with_feel(melody: Melody, part: ElementTree.Element) -> Melody:
    """The melody with the swing the part begins with, if it gives one (MusicXML 4.0 swing)."""
    swing = part.find("measure[1]//swing")
    if swing is None or not melody.measures or swing.find("straight") is not None:
        return melody
    try:
        long, short = int(swing.findtext("first", "")), int(swing.findtext("second", ""))
    except ValueError:
        return melody
    if not 0 < short <= long <= 9 * short:
        return melody
    common = gcd(long, short)
    feel = f"swing {long // common}:{short // common}"
    feel = "shuffle" if feel == "swing 2:1" else feel
    first = melody.measures[0]
    first = first._replace(change=first.change._replace(feel=feel))
    return melody._replace(measures=(first, *melody.measures[1:]))
