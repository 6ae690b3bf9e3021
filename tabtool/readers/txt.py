"""Tab typed by hand, with words between the lines, as it goes round in mails and on paper.

The spelling is given, or guessed where all signs of the text agree on what it says; where
they leave the breath of some notes open the guess is refused and both readings are shown.
Nothing is known of the rhythm: every note is a beat of free meter.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container, Sequence
from typing import NamedTuple

from tabtool.canonical import write
from tabtool.diagnostics import TabError
from tabtool.harp import Layout
from tabtool.header import FIELDS
from tabtool.parse import parse
from tabtool.readers import few_enough, text_of
from tabtool.readers.harps import Instrument, Named, named_harps
from tabtool.readers.stacks import MELODY, Row, Sign, gathered, merged
from tabtool.scores.spellings import (
    AGAIN,
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

SHOWN = 8  # notes of a reading shown in a message

_TITLE = re.compile(r"\s*title\s*:\s*", re.IGNORECASE)
# A name with a number in it needs a word: ``[4B]`` may be a note.
_SECTION = re.compile(r"\s*\[([^\[\]\d]*|[^\[\]]*[^\W\d_]{2}[^\[\]]*)\]\s*$")
# So the parts of a song are headed; common practice, no source.
_HEADING = re.compile(
    r"\s*((?:verse|chorus|bridge|intro|outro|refrain|solo|turnaround|interlude|ending|part)"
    r"(?:\s+(?:\d{1,2}|[A-Z]))?)\s*:?\s*$",
    re.IGNORECASE,
)
_ABOUT = re.compile(  # what is no title though it stands first
    r"\s*(?:tempo|bpm|key|meter|time|by|composer|artist|tab|tabbed by|position|style|feel)\s*:",
    re.IGNORECASE,
)


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
    folder: str = "",
) -> Typed:
    """Read a typed tab; `TabError` in plain words where it cannot be read without guessing.

    `tuning` is what the header calls the layout, empty where the text may name its own; a
    path in it is seen from `folder`. `together` is a name of `stacks.LINES`, or empty where
    the columns are to tell what sounds together.
    """
    text = text_of(data, name).expandtabs()
    few_enough(sum(1 for _ in re.finditer(r"\d+", text)), name)
    if re.search(r"\dd\b", text):  # letters in lower case; without d, a b is a flat: a bend
        text = re.sub(r"(?<=\d)[bd](?=['/o]*(?:\s|$))", lambda found: found[0].upper(), text)
    lines = text.split("\n")
    said = next((one for one in SPELLINGS.values() if f"({one.meaning})" in lines), None)
    lines = ["" if said is not None and line == f"({said.meaning})" else line for line in lines]
    tab = [i for i, line in enumerate(lines) if is_tab(line) and not _TITLE.match(line)]
    if not tab:
        raise TabError(f"{name}: no line of tab in it")
    named = named_harps(lines, set(tab), harp_key, layout if tuning else None)
    first = named.by_line[tab[0]]
    units = [unit for index in tab for unit in _units(lines[index])]
    if said is not None and not spelling:
        chosen, why = said, f"the text says that {said.meaning}"
    else:
        chosen, why = _spelling(lines, tab, units, name, spelling, first.holes)
    page = _Page(lines, tab, chosen, named, name, together)
    head = [f"title: {page.title}"] if page.title else []
    if first.harp is not None:
        head.append(f"harp: {first.harp.key}")
    if (tuning or first.layout.name) != "Richter":
        head.append(f"tuning: {tuning or first.layout.name}")
    made = "\n".join([*head, "meter: free", "", *page.out]) + "\n"
    tune, faults = parse(made, name, folder)
    assert not faults, faults
    remarks = ["the rhythm is not in typed tab: every note is one beat of free meter"]
    harps = dict.fromkeys(one.harp.key for one in named.by_line.values() if one.harp is not None)
    if not harps:
        remarks.append("no harp is named: write harp: C (or its key), or give --harp")
    elif not harp_key:
        many = len(harps) > 1
        remarks.append(
            f"the harp{'s' * many}, {', '.join(harps)}, {'are those' if many else 'is the one'} "
            "the text names"
        )
    mixed = [
        str(number)
        for number, line in enumerate(lines, 1)
        if number - 1 not in tab and any(u.mark and u.mark not in "BD" for u in _units(line))
    ]
    if mixed:
        remarks.append(
            f"notes among words are read as words (line{'s' * (len(mixed) > 1)} "
            f"{', '.join(mixed[:SHOWN])}); to play them, write them on a line of their own"
        )
    remarks += [f"no tuning is called '{one}': give --tuning" for one in named.unknown]
    return Typed(tune, write(tune), chosen, why, (*remarks, *page.remarks()))


def _units(line: str) -> list[Unit]:
    return [unit for item in items(line) for unit in item.units]


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


class _Page:
    """The lines of a typed tab turned into lines of a tune."""

    def __init__(
        self,
        lines: Sequence[str],
        tab: Sequence[int],
        spelling: Spelling,
        named: Named,
        name: str,
        together: str,
    ) -> None:
        self.spelling, self.named, self.name = spelling, named, name
        self.instrument = named.by_line[tab[0]]
        self.counts: Counter[str] = Counter()
        self.out: list[str] = []
        self.title = ""
        parts = gathered([self.row(lines[index], index) for index in tab], together, name)
        self.stacks = [part for part in parts if len(part) > 1]
        self.rows = {part[0][0].line: merged(part) for part in parts}
        gone = named.lines | (set(tab) - set(self.rows))
        for block in _blocks(lines, gone):
            self.block(lines, block)
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
        first = lines[block[0]]
        titled = block[0] not in tab and not _section(first) and not _ABOUT.match(first)
        if titled and not self.out and not self.title:
            others = len(words) == 1 or words[1] == words[0] + 1
            if others or len(words) > len(block) - len(words):
                self.title = _title(lines[words[0]])
                block = block[1:]
        while block and _ABOUT.match(lines[block[0]]) and block[0] not in tab:
            self.out.append(f"# {' '.join(lines[block.pop(0)].split())}")
        block = [*block]
        rest = [index for index in block if not _section(lines[index])]
        above = bool(rest) and rest[0] not in tab and rest[-1] in tab
        waiting: list[int] = []
        for place, index in enumerate(block):
            section = _section(lines[index])
            if section:
                self.out += ["", f"[{section}]"]
            elif index in tab:
                self.play_on(self.named.by_line[index])
                notes = self.tab(self.rows[index])
                for word_line in waiting:
                    self.words(lines[word_line], notes)
                waiting = []
                last = notes
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

    def play_on(self, instrument: Instrument) -> None:
        """Begin a section where the harp changes, unless one has just begun."""
        if instrument == self.instrument:
            return
        harp, last = instrument.harp, self.instrument.harp
        before = next((line for line in reversed(self.out) if line and line[0] != "#"), "")
        if before[:1] != "[":
            self.out += ["", f"[{harp.key if harp else instrument.layout.name} harp]"]
        if harp is not None and (last is None or harp.key != last.key):
            self.out.append(f"harp: {harp.key}")
        if instrument.layout != self.instrument.layout:
            self.out.append(f"tuning: {instrument.layout.name}")
        self.instrument = instrument

    def row(self, line: str, index: int) -> Row:
        """The notes and bar lines of a line of tab."""
        signs = []
        for item in items(line):
            if item.bar or item.units:
                figure = self.note(item, index) if item.units else None
                signs.append(Sign(index, item.column, item.text, figure))
            elif AGAIN.fullmatch(item.text):
                how = "write the line again, or |: before and :| behind it"
                self.counts[f"'{item.text}' is left out: {how}"] += 1
            else:
                self.counts[f"'{item.text}' has no meaning here and is left out"] += 1
        return tuple(signs)

    def note(self, item: Item, index: int) -> Figure:
        if item.ghost:
            self.counts["notes in parentheses are read as plain notes"] += 1
        holes, harp = self.named.by_line[index].holes, self.named.by_line[index].harp
        if any(len(unit.holes) > 1 and int(unit.holes) > holes for unit in item.units):
            self.counts["digits side by side are read as holes together"] += 1
        try:
            return figure(item, self.spelling, holes, harp)
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


def _section(line: str) -> str:
    """The name of the section a line begins, empty where it begins none."""
    found = _SECTION.match(line) or _HEADING.match(line)
    return found[1].strip() if found else ""


def _title(line: str) -> str:
    text = " ".join(_TITLE.sub("", line, count=1).split())
    return re.sub(r"\s#(?=\s|$)", " ♯", text) if FIELDS["title"] else text


def _blocks(lines: Sequence[str], gone: Container[int]) -> list[list[int]]:
    """The lines by paragraphs, without those that are gone."""
    blocks: list[list[int]] = [[]]
    for index, line in enumerate(lines):
        if index in gone:
            continue
        if line.strip():
            blocks[-1].append(index)
        elif blocks[-1]:
            blocks.append([])
    return [block for block in blocks if block]
