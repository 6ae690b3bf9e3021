"""Changing words in a text while its layout stays: what stands in columns goes on standing there.

Lines and columns count from 1, ends exclusive, as in a `Span`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from tabtool.diagnostics import Span


class Edit(NamedTuple):
    """Put `text` where `span` is."""

    span: Span
    text: str


def rewrite(
    text: str,
    edits: Iterable[Edit],
    inserted: Mapping[int, tuple[str, ...]] | None = None,
) -> str:
    """The text with edits made and lines inserted above the lines of those numbers.

    Where a word becomes longer or shorter, the blanks after it make up for it as far as they
    can, so that columns stay in place. Line ends are kept.
    """
    newline = "\r\n" if "\r\n" in text else "\r" if "\r" in text and "\n" not in text else "\n"
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    by_line: dict[int, list[Edit]] = {}
    for edit in edits:
        by_line.setdefault(edit.span.line, []).append(edit)
    out: list[str] = []
    for number, line in enumerate(lines, start=1):
        out += (inserted or {}).get(number, ())
        out.append(_edited(line, by_line[number]) if number in by_line else line)
    return newline.join(out)


def _edited(line: str, edits: list[Edit]) -> str:
    pieces: list[str] = []
    drift = 0  # how far what is written stands to the right of where it stood
    at = 0
    for edit in sorted(edits, key=lambda edit: edit.span.column):
        start, end = edit.span.column - 1, edit.span.end_column - 1
        gap, drift = _closed(line[at:start], drift)
        pieces += (gap, edit.text)
        drift += len(edit.text) - (end - start)
        at = end
    rest = line[at:]
    pieces.append(_closed(rest, drift)[0] if rest.strip() else rest)
    return "".join(pieces)


def _closed(gap: str, drift: int) -> tuple[str, int]:
    """What stands between two edits, its blanks taken in or let out to undo the drift."""
    if not drift:
        return gap, 0
    pieces = []
    for piece in re.findall(r" +|[^ ]+", gap):
        if piece[0] == " " and drift:
            width = max(1, len(piece) - drift)
            drift -= len(piece) - width
            piece = " " * width
        pieces.append(piece)
    return "".join(pieces), drift
