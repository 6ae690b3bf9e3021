"""Tab as people type it by hand: the trade's written habits, and how to tell them apart.

What differs is how the breath is told: by signs, by letters, by arrows, or by leaving one
of the two unmarked, where a bare number is blow for some and draw for others. Bends are an
apostrophe (or slash, or b) a semitone, overblows and overdraws a small circle (or #, or x
before), holes together stand in parentheses, side by side or joined by &. Sources: the
published facts on written conventions; which is how common is known of none.

Rhythm is not written by hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from tabtool.harp import Breath, Harp, Technique, Tone
from tabtool.tune import Figure


class Spelling(NamedTuple):
    """One habit. `blow` and `draw` are how a hole is written; `bare` is what no sign means."""

    name: str
    blow: str
    draw: str
    bare: Breath | None
    meaning: str


SPELLINGS = {
    spelling.name: spelling
    for spelling in (
        Spelling("plus-minus", "+{}", "-{}", None, "+4 is blow, -4 is draw"),
        Spelling("minus", "{}", "-{}", Breath.BLOW, "4 is blow, -4 is draw"),
        Spelling("plus", "+{}", "{}", Breath.DRAW, "+4 is blow, 4 is draw"),
        Spelling("plus-after", "{}+", "{}", Breath.DRAW, "4+ is blow, 4 is draw"),
        Spelling("angle", "{}>", "{}", Breath.DRAW, "4> is blow, 4 is draw"),
        Spelling("letters", "{}B", "{}D", None, "4B is blow, 4D is draw"),
        Spelling("arrows", "{}↑", "{}↓", None, "4↑ is blow, 4↓ is draw"),
    )
}

_SAME = str.maketrans({
    "–": "-", "−": "-", "‐": "-", "’": "'", "‘": "'", "´": "'", "`": "'", "′": "'",
    "⬆": "↑", "⬇": "↓", "º": "°", "＋": "+", "＆": "&",
})  # fmt: skip
_UNIT = re.compile(
    r"(?P<before>[+\-↑↓])?(?P<x>[xX])?(?P<holes>\d{1,4})"
    r"(?P<after>(?:\+(?!\d)|[>↑↓BDbd'\"″”/#oO°*<])*)(?![A-Za-z\d])"
)
_BEHIND = r"(?:\d{1,2}['/oO°*]*[↑↓BD]['/oO°*]*)"  # a number with the sign of its breath behind it
_BREATH = {
    "+": Breath.BLOW, "-": Breath.DRAW, "↑": Breath.BLOW, "↓": Breath.DRAW, ">": Breath.BLOW,
    "B": Breath.BLOW, "D": Breath.DRAW,
}  # fmt: skip
_ITEM = re.compile(
    rf"(?P<bar>:?\|[|\]]?:?(?:[1-9](?=\s))?)|(?P<together>\((?P<inner>[^()]*)\))"
    rf"|(?P<chord>{re.sub(r'[?]P<[a-z]+>', '?:', _UNIT.pattern)}"
    rf"(?:&{re.sub(r'[?]P<[a-z]+>', '?:', _UNIT.pattern)})*)|(?P<other>[^\s|()]+)"
)


# A comma or semicolon that only parts one note from the next.
_BETWEEN = re.compile(r"""(?<=[\d'"/oO°*+>↑↓BDbd)])[,;](?=\s|$|[+\-(\d↑↓])""")
AGAIN = re.compile(r"\(?[xX]\d\)?")  # play it so often; no overblow


class Unit(NamedTuple):
    """One number with its signs. `mark` is the sign that tells the breath, empty if none does."""

    holes: str
    mark: str
    bends: int
    overbent: bool
    slide: bool


class Item(NamedTuple):
    """A note or chord (`units`), a bar line, or something that is neither, at its column."""

    column: int
    text: str
    units: tuple[Unit, ...] = ()
    bar: bool = False
    ghost: bool = False


class Unclear(ValueError):
    """A note that does not make sense in a spelling: what is wrong with it."""


def items(line: str) -> list[Item]:
    """A line taken apart; columns count from 0."""
    found: list[Item] = []
    line = _BETWEEN.sub(" ", line.translate(_SAME))
    for match in _ITEM.finditer(line):
        text, column = match[0], match.start()
        if match["bar"]:
            found.append(Item(column, text, bar=True))
        elif match["together"] or match["chord"]:
            inner = _apart(match["inner"]) if match["together"] else text
            units = tuple(_unit(unit) for unit in _UNIT.finditer(inner))
            rest = _UNIT.sub("", inner).replace("&", "").replace(",", "").strip()
            if units and not rest:
                ghost = bool(match["together"]) and len(units) == 1 and len(units[0].holes) < 3
                found.append(Item(column, text, units, ghost=ghost))
            else:
                found.append(Item(column, text))
        else:
            found.append(Item(column, text))
    if len(found) > 1 and AGAIN.fullmatch(found[-1].text):
        found[-1] = Item(found[-1].column, found[-1].text)
    return found


def is_tab(line: str) -> bool:
    """Whether a line is tab rather than words: most of what stands in it are notes."""
    found = [
        item
        for item in items(line)
        if item.units or not (item.bar or AGAIN.fullmatch(item.text) or _no_word(item.text))
    ]
    notes = sum(1 for item in found if item.units)
    return notes > 0 and notes > 0.6 * len(found)


def _no_word(text: str) -> bool:
    return not any(sign.isalnum() for sign in text)


def fitting(units: Sequence[Unit]) -> list[Spelling]:
    """The spellings in which every sign of a text has its meaning.

    An overblow or overdraw is in any of them written with the sign of its breath or without
    one; the sign counts where the other notes agree with it.
    """
    marks = {unit.mark for unit in units if not (unit.overbent and not unit.mark)}
    allowed = {
        "plus-minus": {"+", "-"},
        "minus": {"", "-"},
        "plus": {"", "+"},
        "plus-after": {"", "+ after"},
        "angle": {"", ">"},
        "letters": {"B", "D"},
        "arrows": {"↑", "↓"},
    }
    found = [SPELLINGS[name] for name, signs in allowed.items() if marks <= signs]
    plain = [unit for unit in units if not unit.overbent]
    return found if found or len(plain) in (0, len(units)) else fitting(plain)


def evidence(units: Iterable[Unit]) -> str:
    """What signs there are, counted, in plain words."""
    counts: dict[str, int] = {}
    for unit in units:
        counts[unit.mark] = counts.get(unit.mark, 0) + 1
    words = {"": "no sign", "+ after": "+ behind"}
    return ", ".join(
        f"{count} with {words.get(mark, mark)}"
        for mark, count in sorted(counts.items(), key=lambda pair: -pair[1])
    )


def figure(item: Item, spelling: Spelling, holes: int, harp: Harp | None = None) -> Figure:
    """A note or chord as a figure; `Unclear` in plain words where it makes no sense."""
    tones: list[Tone] = []
    for unit in item.units:
        for hole in _holes(unit.holes, holes):
            tones.append(_tone(unit, hole, spelling, harp))
    return together(tones)


def together(tones: Sequence[Tone]) -> Figure:
    """Tones as one note or chord; `Unclear` in plain words where they cannot be one."""
    if len({tone.hole for tone in tones}) < len(tones):
        raise Unclear("the same hole twice at once")
    if len({(tone.breath, tone.slide) for tone in tones}) > 1:
        raise Unclear("blow and draw at once")
    return Figure(tuple(tones))


def spelled(figure: Figure, spelling: Spelling) -> str:
    """A figure as it is typed; marks, shakes and grace notes have no spelling."""
    return "&".join(_spelled(tone, spelling) for tone in figure.tones)


def _apart(inner: str) -> str:
    """What stands in parentheses, with a blank behind signs that follow their number."""
    if not re.fullmatch(rf"{_BEHIND}+", inner):
        return inner
    return " ".join(re.findall(_BEHIND, inner))


def _unit(match: re.Match[str]) -> Unit:
    after = match["after"]
    mark = match["before"] or ""
    rest = after
    if not mark:
        found = re.search(r"[+>↑↓BD]|^[bd](?![b'])", after)
        # A lower-case b is a flat, that is a bend, unless the text says d too (see readers).
        if found and found[0] not in "bd":
            mark = "+ after" if found[0] == "+" else found[0]
            rest = after.replace(found[0], "", 1)
        elif found and found[0] == "d":
            mark, rest = "D", after[1:]
    bends = len(re.findall(r"['/b]", rest)) + 2 * len(re.findall(r'["″”]', rest))
    overbent = bool(match["x"]) or any(sign in rest for sign in "oO°#")
    return Unit(match["holes"], mark, bends, overbent, "*" in rest or "<" in rest)


def _holes(digits: str, count: int) -> list[int]:
    """The holes a run of digits names: one, or where there is no such hole several together."""
    if 1 <= int(digits) <= count:
        return [int(digits)]
    holes: list[int] = []
    rest = digits
    while rest:
        if rest.startswith("10") and count >= 10:
            holes.append(10)
            rest = rest[2:]
        elif rest[0] == "0" or int(rest[0]) > count:
            raise Unclear(f"there is no hole {digits}")
        else:
            holes.append(int(rest[0]))
            rest = rest[1:]
    return holes


def _tone(unit: Unit, hole: int, spelling: Spelling, harp: Harp | None) -> Tone:
    breath = _BREATH.get(unit.mark.removesuffix(" after"), spelling.bare)
    if unit.overbent:
        if not unit.mark:  # a circle alone: which of the two it is, the reeds of the hole decide
            over = harp.overbend(hole) if harp is not None and hole <= harp.holes else None
            if over is not None:
                return over.tone._replace(depth=unit.bends, slide=unit.slide)
            breath = Breath.BLOW if hole <= 6 else Breath.DRAW
        assert breath is not None
        technique = Technique.OVERBLOW if breath is Breath.BLOW else Technique.OVERDRAW
        return Tone(hole, breath, technique, unit.bends, unit.slide)
    if breath is None:
        raise Unclear(f"no sign tells blow or draw ({spelling.meaning})")
    technique = Technique.BEND if unit.bends else Technique.NATURAL
    return Tone(hole, breath, technique, unit.bends, unit.slide)


def _spelled(tone: Tone, spelling: Spelling) -> str:
    blown = tone.breath is Breath.BLOW
    text = (spelling.blow if blown else spelling.draw).format(tone.hole)
    if tone.overbent and spelling.bare is tone.breath:  # a circle alone leaves the breath open
        text = f"{'+' if blown else '-'}{tone.hole}"
    bends = int(tone.depth + 0.5)
    return text + "o" * tone.overbent + "'" * bends + "*" * tone.slide
