"""Tab as people type it by hand, words under the notes, to paste into a mail.

Set in columns for a font of equal widths. Rhythm, marks, shakes and grace notes have no
spelling; `lost` tells of them.
"""

from __future__ import annotations

from collections.abc import Mapping

from tabtool.diagnostics import Span
from tabtool.scores.spellings import Spelling, spelled
from tabtool.tune import PLAIN, MusicLine, SectionLine, Tune, notes_of


def write(
    tune: Tune, words: Mapping[Span, tuple[str, ...]], spelling: Spelling, harp: str = ""
) -> bytes:
    """The tune as plain text.

    `words` are the syllables of each note, one a verse (see `resolve.Written`); `harp` is the
    key to name where it is not the tune's own.
    """
    head = [tune.title] if tune.title else []
    key = harp or tune.header("harp")
    if key:
        head.append(f"Harp: {key}")
    head.append(f"({spelling.meaning})")
    out = ["\n".join(head), ""]
    for line in tune.lines:
        if isinstance(line, SectionLine):
            out += ["", f"[{line.name}]"] if line.name else [""]
        elif isinstance(line, MusicLine):
            # Lines directly below each other could be read as chords, number under number.
            out += [*_rows(line, words, spelling), ""]
    text = "\n".join(row.rstrip() for row in out)
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


def _rows(line: MusicLine, words: Mapping[Span, tuple[str, ...]], spelling: Spelling) -> list[str]:
    """The tab of one line of bars, and its verses, in columns."""
    first = line.bars[0].before
    cells: list[tuple[str, tuple[str, ...]]] = []
    if first is not None:
        cells.append((first.token, ()))
    for bar in line.bars:
        for beat in bar.beats:
            for note in notes_of(beat.parts):
                cells.append((spelled(note.figure, spelling), words.get(note.span, ())))
        if bar.after is not None:
            cells.append((bar.after.token, ()))
    verses = max((len(under) for _, under in cells), default=0)
    rows = [""] * (1 + verses)
    for text, under in cells:
        column = [text, *under, *[""] * (verses - len(under))]
        column[1:] = ["" if word in ("*", "_") else word for word in column[1:]]
        width = max(map(len, column)) + 1
        rows = [row + word.ljust(width) for row, word in zip(rows, column, strict=True)]
    return [row for number, row in enumerate(rows) if number == 0 or row.strip()]
