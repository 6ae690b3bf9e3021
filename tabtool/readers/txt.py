"""Tab typed by hand, with words between the lines, as it goes round in mails and on paper.

The spelling is given, or guessed where all signs of the text agree on what it says; where
they leave the breath of some notes open the guess is refused and both readings are shown.
Nothing is known of the rhythm: every note is a beat of free meter.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from tabtool.canonical import write
from tabtool.diagnostics import TabError
from tabtool.harp import Harp, Layout
from tabtool.header import FIELDS
from tabtool.parse import parse
from tabtool.readers import text_of
from tabtool.readers.stacks import MELODY, Row, Sign, gathered, merged
from tabtool.scores.spellings import (
    SPELLINGS,
    Item,
    Spelling,
    Unclear,
    Unit,
    evidence,
    figure,
    fitting,
    is_tab,
    items,
)
from tabtool.tune import Figure, Tune
from tabtool.tunings import make_harp

SHOWN = 8  # notes of a reading shown in a message

_KEY = r"(?P<key>(?:low |high )?[A-G][#b♯♭]?m?)"
_HARP = re.compile(
    rf"(?:harp|harmonica)\s*(?:key)?\s*[:=]\s*{_KEY}\b"
    rf"|\b{_KEY.replace('key', 'own')}[ -](?:harp|harmonica)\b",
    re.IGNORECASE,
)
_SECTION = re.compile(r"\s*\[([^\[\]\d]*)\]\s*$")


class Typed(NamedTuple):
    """A typed tab read: the tune, its canonical text, and what there is to say of the reading."""

    tune: Tune
    text: str
    spelling: Spelling
    evidence: str
    remarks: tuple[str, ...]


def read(
    data: bytes,
    name: str,
    spelling: str,
    harp_key: str,
    layout: Layout,
    tuning: str = "",
    together: str = "",
) -> Typed:
    """Read a typed tab; `TabError` in plain words where it cannot be read without guessing.

    `tuning` is what the header calls the layout. `together` is a name of `stacks.LINES`, or
    empty where the columns are to tell what sounds together.
    """
    text = text_of(data, name).expandtabs()
    if re.search(r"\dd\b", text):  # letters in lower case; without d, a b is a flat: a bend
        text = re.sub(r"(?<=\d)[bd](?=['/o]*(?:\s|$))", lambda found: found[0].upper(), text)
    lines = text.split("\n")
    said = next((one for one in SPELLINGS.values() if f"({one.meaning})" in lines), None)
    lines = ["" if said is not None and line == f"({said.meaning})" else line for line in lines]
    tab = [index for index, line in enumerate(lines) if is_tab(line)]
    if not tab:
        raise TabError(f"{name}: no line of tab in it")
    found_key = harp_key or _named_harp(lines, tab)
    harp = make_harp(found_key, layout) if found_key else None
    units = [unit for index in tab for item in items(lines[index]) for unit in item.units]
    if said is not None and not spelling:
        chosen, why = said, f"the text says that {said.meaning}"
    else:
        chosen, why = _spelling(lines, tab, units, name, spelling, layout.holes)
    page = _Page(lines, tab, chosen, layout.holes, harp, name, together)
    head = [f"title: {page.title}"] if page.title else []
    if harp is not None:
        head.append(f"harp: {harp.key}")
    if tuning and tuning != "Richter":
        head.append(f"tuning: {tuning}")
    made = "\n".join([*head, "meter: free", "", *page.out]) + "\n"
    tune, faults = parse(made, name)
    assert not faults, faults
    remarks = ["the rhythm is not in typed tab: every note is one beat of free meter"]
    if harp is None:
        remarks.append("no harp is named: write harp: C (or its key), or give --harp")
    elif not harp_key:
        remarks.append(f"the harp, {harp.key}, is the one the text names")
    return Typed(tune, write(tune), chosen, why, (*remarks, *page.remarks()))


def _spelling(
    lines: Sequence[str],
    tab: Sequence[int],
    units: Sequence[Unit],
    name: str,
    wanted: str,
    holes: int,
) -> tuple[Spelling, str]:
    """The spelling given, or the only one (or only meaning) that fits; and the evidence."""
    signs = evidence(units)
    if wanted:
        return SPELLINGS[
            wanted
        ], f"{signs}; --spelling {wanted} says that {SPELLINGS[wanted].meaning}"
    fits = fitting(units)
    readings: dict[str, Spelling] = {}
    candidates = fits or [SPELLINGS["minus"], SPELLINGS["plus"]]
    for candidate in candidates:
        readings.setdefault(_reading(lines, tab, candidate, holes), candidate)
    if len(readings) == 1:
        only = next(iter(readings.values()))
        return only, f"{signs}, so {only.meaning}"
    first = next(
        (i for i in tab if any(not u.mark for item in items(lines[i]) for u in item.units)), tab[0]
    )
    shown = []
    for reading in readings.values():
        notes = _reading(lines, [first], reading, holes).split()
        more = " …" if len(notes) > SHOWN else ""
        shown.append(f"{' '.join(notes[:SHOWN])}{more} with --spelling {reading.name}")
    raise TabError(
        f"{name}: a number without a sign is blow for some and draw for others, and nothing here "
        f"tells which ({signs}); line {first + 1} reads {', or '.join(shown)}; say which it is"
    )


def _reading(lines: Sequence[str], tab: Sequence[int], spelling: Spelling, holes: int) -> str:
    """All the notes of some lines in our notation; ? for those that make no sense so."""
    notes = []
    for index in tab:
        for item in items(lines[index]):
            if item.units:
                try:
                    notes.append(figure(item, spelling, holes).token)
                except Unclear:
                    notes.append("?")
    return " ".join(notes)


def _named_harp(lines: Sequence[str], tab: Sequence[int]) -> str:
    """The harp a text names in words, such as ``Harp: A`` or ``on a Bb harp``."""
    for index, line in enumerate(lines):
        found = None if index in tab else _HARP.search(line)
        if found:
            key = found["key"] or found["own"]
            if make_harp(key) is not None:
                return key
    return ""


class _Page:
    """The lines of a typed tab turned into lines of a tune."""

    def __init__(
        self,
        lines: Sequence[str],
        tab: Sequence[int],
        spelling: Spelling,
        holes: int,
        harp: Harp | None,
        name: str,
        together: str,
    ) -> None:
        self.spelling, self.holes, self.harp, self.name = spelling, holes, harp, name
        self.counts: Counter[str] = Counter()
        self.out: list[str] = []
        self.title = ""
        parts = gathered([self.row(lines[index], index) for index in tab], together, name)
        self.stacks = [part for part in parts if len(part) > 1]
        self.rows = {part[0][0].line: merged(part) for part in parts}
        for block in _blocks(lines):
            self.block(lines, [line for line in block if line in self.rows or line not in tab])
            self.out.append("")

    def remarks(self) -> list[str]:
        """What of the text was read in a way worth a word, or not at all."""
        said = [f"{words} ({count})" for words, count in self.counts.items()]
        if self.stacks:
            first = [f"{part[0][0].line + 1}-{part[-1][0].line + 1}" for part in self.stacks]
            more = f" and {len(first) - SHOWN} more" if len(first) > SHOWN else ""
            said.append(
                f"numbers under each other are read as chords (lines {', '.join(first[:SHOWN])}"
                f"{more}); --lines {MELODY} reads each line after the one above it"
            )
        return said

    def block(self, lines: Sequence[str], block: list[int]) -> None:
        """Lines without a blank one between: words belong to the tab above, or to that below."""
        tab = self.rows
        words = [index for index in block if index not in tab]
        if not self.out and not self.title and words and words[0] == block[0]:
            others = len(words) == 1 or words[1] == words[0] + 1
            if others or len(words) > len(block) - len(words):
                self.title = _title(lines[words[0]])
                block = block[1:]
        above = bool(block) and block[0] not in tab and block[-1] in tab
        waiting: list[int] = []
        for place, index in enumerate(block):
            section = _SECTION.match(lines[index])
            if section:
                self.out += ["", f"[{section[1].strip()}]"]
            elif index in tab:
                notes = self.tab(self.rows[index])
                for word_line in waiting:
                    self.words(lines[word_line], notes)
                waiting = []
                last = notes
            elif _HARP.search(lines[index]) and make_harp_line(lines[index]):
                continue
            elif above and any(later in tab for later in block[place:]):
                waiting.append(index)
            elif any(earlier in tab for earlier in block[:place]):
                self.words(lines[index], last)
            else:
                self.out.append(f"# {' '.join(lines[index].split())}")

    def tab(self, row: Row) -> list[int]:
        """One line of tab; returns the columns of its notes."""
        beats = [sign.text if sign.figure is None else sign.figure.token for sign in row]
        if not beats[0].lstrip(":").startswith("|"):
            beats.insert(0, "|")
        if "|" not in beats[-1]:
            beats.append("|")
        self.out.append(" ".join(beats))
        return [sign.column for sign in row if sign.figure is not None]

    def row(self, line: str, index: int) -> Row:
        """The notes and bar lines of a line of tab."""
        signs = []
        for item in items(line):
            if item.bar or item.units:
                figure = self.note(item, index) if item.units else None
                signs.append(Sign(index, item.column, item.text, figure))
            else:
                self.counts[f"'{item.text}' has no meaning here and is left out"] += 1
        return tuple(signs)

    def note(self, item: Item, index: int) -> Figure:
        if item.ghost:
            self.counts["notes in parentheses are read as plain notes"] += 1
        if any(len(unit.holes) > 1 and int(unit.holes) > self.holes for unit in item.units):
            self.counts["digits side by side are read as holes together"] += 1
        try:
            return figure(item, self.spelling, self.holes, self.harp)
        except Unclear as unclear:
            raise TabError(
                f"{self.name}:{index + 1}:{item.column + 1}: '{item.text}': {unclear}; "
                f"write it out, or read the text with another --spelling"
            ) from None

    def words(self, line: str, columns: list[int]) -> None:
        """A line of words under the notes they belong to: one each, or by their columns."""
        found = [(m.start(), m[0]) for m in re.finditer(r"\S+", line)]
        syllables: list[tuple[int, str]] = []
        for column, word in found:
            if set(word) <= {"-", "_"} and syllables:
                at, before = syllables[-1]
                syllables[-1] = at, before.rstrip("-") + "-"
                continue
            start = 0
            for piece in re.findall(r"[^-]+-*|-+", word):
                syllables.append((column + start, re.sub(r"-+$", "-", piece)))
                start += len(piece)
        texts = [text.replace("|", "/") for _, text in syllables]
        if len(texts) > len(columns) or not columns:
            self.out.append(f"# {' '.join(line.split())}")
            self.counts["lines of words that do not fit their notes are kept as comments"] += 1
            return
        if len(texts) < len(columns):
            placed = ["*"] * len(columns)
            at = -1
            for left, (column, text) in enumerate(syllables):
                rest = len(syllables) - left - 1
                free = range(at + 1, len(columns) - rest)
                at = min(free, key=lambda note: abs(columns[note] - column))
                placed[at] = text.replace("|", "/")
            texts = placed
        self.out.append(
            "lyric: " + " ".join("*" if text.startswith("#") else text for text in texts)
        )


def make_harp_line(line: str) -> bool:
    """Whether a line of words does nothing but name the harp."""
    found = _HARP.search(line)
    return found is not None and not re.search(r"[A-Za-z]{3}", _HARP.sub("", line))


def _title(line: str) -> str:
    text = " ".join(line.split())
    text = re.sub(r"(?i)^title\s*:\s*", "", text)
    return re.sub(r"\s#(?=\s|$)", " ♯", text) if FIELDS["title"] else text


def _blocks(lines: Sequence[str]) -> list[list[int]]:
    """The lines by paragraphs."""
    blocks: list[list[int]] = [[]]
    for index, line in enumerate(lines):
        if line.strip():
            blocks[-1].append(index)
        elif blocks[-1]:
            blocks.append([])
    return [block for block in blocks if block]
