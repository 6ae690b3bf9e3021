"""Tab as people type it by hand, words under the notes, to paste into a mail.

Set in columns for a font of equal widths. Rhythm, marks, shakes and grace notes have no
spelling; `lost` tells of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from tabtool.diagnostics import Span
from tabtool.scores.spellings import Spelling, is_tab, spelled
from tabtool.tune import PLAIN, Bar, HeaderLine, MusicLine, Note, SectionLine, Tune, notes_of


def write(
    tune: Tune,
    words: Mapping[Span, tuple[str, ...]],
    spelling: Spelling,
    harp: str = "",
    tuning: str = "",
) -> bytes:
    """The tune as plain text.

    `words` are the syllables of each note, one a verse (see `resolve.Written`); `harp` and
    `tuning` are the key and tuning to name where they are not the tune's own.
    """
    head = [f"Title: {tune.title}" if is_tab(tune.title) else tune.title] if tune.title else []
    given = {"harp": harp, "tuning": tuning}
    head += [f"{name.capitalize()}: {value}" for name, value in given.items() if value]
    out: list[str] = []
    for line in _pieces(tune):
        if isinstance(line, HeaderLine):
            if line.name in given and not given[line.name]:
                (out or head).append(f"{line.name.capitalize()}: {line.value}")
        elif isinstance(line, SectionLine):
            out += ["", f"[{line.name}]"] if line.name else [""]
        else:
            # Lines directly below each other could be read as chords, number under number.
            out += [*_rows(line, words, spelling), ""]
    text = "\n".join(row.rstrip() for row in [*head, f"({spelling.meaning})", "", *out])
    while "\n\n\n" in text:
        text = text.replace("\n\n\n", "\n\n")
    return (text.strip() + "\n").encode("utf-8")


def lost(tune: Tune) -> list[str]:
    """What typed tab does not say of a tune."""
    figures = [note.figure for note in tune.notes()]
    counts = (
        ("marks (scoops, vibrato and the like)", sum(f.marks != PLAIN for f in figures)),
        ("shakes, of which the first note stands", sum(f.shake is not None for f in figures)),
        ("grace notes", sum(len(f.grace) for f in figures)),
        ("quarter tones, which stand a quarter tone lower", sum(
            any(t.depth % 1 for t in f.tones) for f in figures
        )),
    )  # fmt: skip
    said = ["the rhythm is not in it: nobody types it"]
    return said + [f"not in it: {words} ({count})" for words, count in counts if count]


def _pieces(tune: Tune) -> Iterator[HeaderLine | SectionLine | list[Bar]]:
    """What is written of a tune: headers, sections, and the bars of each line with notes.

    A line of rests alone would not read as tab: its bar lines, which may end a repeat, stand
    in the line before or after it.
    """
    bars: list[Bar] = []
    for line in tune.lines:
        if isinstance(line, MusicLine):
            if _notes(line.bars) and _notes(bars):
                yield bars
                bars = []
            bars = [*bars, *line.bars]
        elif isinstance(line, HeaderLine | SectionLine):
            if _notes(bars):
                yield bars
            bars = []
            yield line
    if _notes(bars):
        yield bars


def _notes(bars: Iterable[Bar]) -> list[Note]:
    return [note for bar in bars for beat in bar.beats for note in notes_of(beat.parts)]


def _rows(
    bars: Sequence[Bar], words: Mapping[Span, tuple[str, ...]], spelling: Spelling
) -> list[str]:
    """The tab of some bars, and its verses, in columns."""
    cells: list[tuple[str, tuple[str, ...]]] = []
    for bar in bars:
        if bar.before is not None and (not cells or cells[-1][0] != bar.before.token):
            cells.append((bar.before.token, ()))
        for note in _notes([bar]):
            cells.append((spelled(note.figure, spelling), words.get(note.span, ())))
        if bar.after is not None:
            cells.append((bar.after.token, ()))
    verses = max((len(under) for _, under in cells), default=0)
    lines = [[text for text, _ in cells]]
    lines += [_verse([under[verse : verse + 1] for _, under in cells]) for verse in range(verses)]
    rows = [""] * len(lines)
    for column in zip(*lines, strict=True):
        width = max(map(len, column)) + 1
        rows = [row + text.ljust(width) for row, text in zip(rows, column, strict=True)]
    return [row for number, row in enumerate(rows) if number == 0 or row.strip()]


def _verse(syllables: Sequence[tuple[str, ...]]) -> list[str]:
    """The words under a line, in quotes where they would be taken for tab (``1 2 3``)."""
    words = ["" if one in (("*",), ("_",)) else "".join(one) for one in syllables]
    like_tab = is_tab(" ".join(words))
    return [f'"{word}"' if word and like_tab else word for word in words]
