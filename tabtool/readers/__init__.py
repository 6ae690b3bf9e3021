"""Readers of what others wrote, one file a format, named after its suffix.

`open_source` reads a file within bounds, makes sure that it is what its name says, and
imports the one reader it needs. A score becomes a `Melody`, typed tab becomes text.
"""

from __future__ import annotations

import importlib
import os
import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from tabtool.diagnostics import TabError
from tabtool.files import read_bytes, too_large
from tabtool.scores.jumps import written_out
from tabtool.scores.measures import Melody

# The largest file read, in bytes, by reader. A melody of an hour is far smaller.
LIMITS = {
    "musicxml": 30_000_000,
    "mxl": 10_000_000,
    "mid": 5_000_000,
    "abc": 5_000_000,
    "krn": 2_000_000,
    "txt": 1_000_000,
}
SUFFIXES = {
    ".musicxml": "musicxml",
    ".xml": "musicxml",
    ".mxl": "mxl",
    ".mid": "mid",
    ".midi": "mid",
    ".abc": "abc",
    ".krn": "krn",
    ".txt": "txt",
}
NAMES = {
    "musicxml": "MusicXML",
    "mxl": "compressed MusicXML",
    "mid": "MIDI",
    "abc": "ABC",
    "krn": "Humdrum",
    "txt": "text",
}
MELODY = "one melody"  # what a file is read for
MOST_NOTES = 8_000  # of one part; more than an hour of melody
MOST_QUARTERS = 20_000  # quarter notes of one part; hours
# How scores that were written from tab name their harp (see `Harp.__str__`).
HARP = re.compile(r"(?P<key>.+) harp, (?P<tuning>.+) tuning")


class Choice(NamedTuple):
    """Which music of a file is wanted: a part, a voice in it, a tune of a collection.

    A part or tune by name or number, counted from 1; empty where nothing is said.
    """

    part: str = ""
    voice: str = ""
    tune: str = ""


class Source(NamedTuple):
    """A file's bytes, its name for messages, and the reader for it."""

    data: bytes
    name: str
    format: str

    def melody(self, choice: Choice) -> Melody:
        """The melody of a score; `TabError` in one line where there is none to be had."""
        reader = importlib.import_module(f"tabtool.readers.{self.format}")
        melody: Melody = written_out(reader.read(self.data, self.name, choice))
        if not any(True for _ in melody.pitches()):
            raise TabError(f"{self.name}: no notes in it")
        if sum(measure.length for measure in melody.measures) > MOST_QUARTERS:
            raise TabError(
                f"{self.name}: lasts more than {MOST_QUARTERS} quarter notes, so surely no melody"
            )
        return melody


def open_source(path: str) -> Source:
    """The bytes of a file known by its suffix; `TabError` if it is too large or something else."""
    return source_of(read_bytes(path, LIMITS[_format_of(path)], what=MELODY), path)


def source_of(data: bytes, name: str) -> Source:
    """The bytes of a file of that name; `TabError` if there are too many, or they are another
    thing than the name says."""
    format = _format_of(name)
    if not data.strip():
        raise TabError(f"{name}: an empty file")
    limit = LIMITS[format]
    if len(data) > limit:
        raise too_large(name, limit, MELODY)
    found = _kind(data)
    if found and found != format:
        right = next(suffix for suffix, kind in SUFFIXES.items() if kind == found)
        raise TabError(f"{name}: this is {NAMES[found]}; rename it to end in {right}")
    if not found and format in ("musicxml", "mxl", "mid"):
        raise TabError(f"{name}: this is no {NAMES[format]} file")
    return Source(data, name, format)


def _format_of(name: str) -> str:
    suffix = os.path.splitext(name)[1].lower()
    format = SUFFIXES.get(suffix)
    if format is None:
        listed = ", ".join(SUFFIXES)
        raise TabError(f"{name}: read knows {listed}, and not {suffix or 'a name without suffix'}")
    return format


def _kind(data: bytes) -> str:
    """The format that the first bytes tell of; empty where they tell nothing."""
    start = data[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    if data[:4] == b"PK\x03\x04":
        return "mxl"
    if data[:4] == b"MThd":
        return "mid"
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or start[:1] == b"<":
        return "musicxml"
    if start[:2] in (b"**", b"!!"):
        return "krn"
    return ""


def text_of(data: bytes, name: str) -> str:
    """Bytes as text: UTF-8, or Latin-1 as old collections have it; `TabError` if binary."""
    if b"\0" in data:
        raise TabError(f"{name}: not a text file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    odd = sum(1 for sign in text if ord(sign) < 32 and sign not in "\t\n\r\f\v\x1a")
    if odd * 50 > len(text):
        raise TabError(f"{name}: not a text file")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def choose_part(names: Sequence[str], name: str, wanted: str) -> int:
    """The index of one of several parts, by name or number from 1.

    `TabError` names them where it is not clear which is wanted.
    """
    if not names:
        raise TabError(f"{name}: no part with notes in it")
    listed = "; ".join(f"{number} {one or '(no name)'}" for number, one in enumerate(names, 1))
    if not wanted:
        if len(names) == 1:
            return 0
        raise TabError(
            f"{name}: {len(names)} parts sound at once; choose one by name or number "
            f"with --part: {listed}"
        )
    low = wanted.lower()
    found = [i for i, one in enumerate(names) if one.lower() == low]
    if len(found) != 1 and wanted.isdecimal() and 1 <= int(wanted) <= len(names):
        found = [int(wanted) - 1]  # before parts of names, many of which end in a number
    found = found or [i for i, one in enumerate(names) if low in one.lower()]
    if len(found) != 1:
        many = "several parts are" if found else "no part is"
        raise TabError(f"{name}: {many} called '{wanted}'; parts: {listed}")
    return found[0]


def few_enough(notes: int, name: str) -> None:
    """`TabError` where a part has more notes than a melody has."""
    if notes > MOST_NOTES:
        raise TabError(f"{name}: {notes} notes in one part, more than {MOST_NOTES}")


def counted(lost: Mapping[str, int]) -> str:
    """``slurs (3), dynamic marks (1)``."""
    return ", ".join(f"{words} ({count})" for words, count in lost.items())
