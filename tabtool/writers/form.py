"""A tune in the form that a file's suffix asks for, and what that form does not say."""

from __future__ import annotations

from tabtool.diagnostics import TabError
from tabtool.harp import Layout
from tabtool.load import Loaded
from tabtool.report import many
from tabtool.scores.spellings import SPELLINGS
from tabtool.scores.staff import Staff, staff
from tabtool.writers import abc, csv, json, musicxml, mxl, txt
from tabtool.writers.musicxml import TabAs
from tabtool.written import Written, as_written

SUFFIXES = (".musicxml", ".xml", ".mxl", ".abc", ".txt", ".csv", ".json")


def in_form(
    loaded: Loaded,
    suffix: str,
    tab: TabAs = TabAs.LYRIC,
    harp: str = "",
    tuning: Layout | None = None,
    spelling: str = next(iter(SPELLINGS)),
) -> tuple[bytes, list[str]]:
    """The bytes of the file of that suffix, and what they do not say.

    `spelling` is how tab is spelled in a text, a name of SPELLINGS.
    """
    if suffix in (".csv", ".json"):
        table = json.table_of(loaded)
        if suffix == ".json":
            return json.write(table), []
        rows = table["notes"]
        assert isinstance(rows, list)
        return csv.write(rows), [
            "a table of the notes only: bars, repeats and headers are not in it"
        ]
    written = as_written(loaded.tune, harp, tuning)
    if suffix == ".txt":
        named = harp, tuning.name if tuning else ""
        return txt.write(loaded.tune, written.words, SPELLINGS[spelling], *named), txt.lost(
            loaded.tune
        )
    laid = _staff(loaded, written)
    lost = [*laid.melody.lost, *_headers(loaded)]
    if suffix == ".abc":
        return abc.write(laid, tab is not TabAs.NONE), [
            *lost,
            *abc.lost(laid),
            *_marks(loaded, tab),
        ]
    writer = mxl.write if suffix == ".mxl" else musicxml.write
    return writer(laid, tab), [*lost, *_marks(loaded, tab)]


def _staff(loaded: Loaded, written: Written) -> Staff:
    try:
        return staff(loaded.tune, written)
    except ValueError:
        raise TabError(
            f"{loaded.tune.file}: no harp is named, so no pitch is known; write harp: C at the "
            "top, or name one with --harp"
        ) from None


def _headers(loaded: Loaded) -> list[str]:
    """What of the text around the music no score says."""
    tune = loaded.tune
    names = [name for name in ("pitch", "temperament") if tune.header(name)]
    comments = sum(bool(getattr(line, "comment", "")) for line in tune.lines)
    said = [f"headers ({', '.join(names)}) have no place in it"] if names else []
    return said + ([f"comments ({comments}) have no place in it"] if comments else [])


def _marks(loaded: Loaded, tab: TabAs) -> list[str]:
    """Marks that only the tab says, or nothing does."""
    marks = shakes = 0
    for note in loaded.tune.notes():
        marks += bool(note.figure.marks.bends or note.figure.marks.vibrato or note.figure.marks.wah)
        shakes += note.figure.shake is not None
    where = "are not written" if tab is TabAs.NONE else "stand in the tab only, not on the staff"
    said = []
    if marks:
        said.append(f"scoops, falls, dips, vibrato and wah of {many(marks, 'note')} {where}")
    if shakes:
        said.append(f"shakes ({shakes}) {where}: the staff shows the first note")
    return said
