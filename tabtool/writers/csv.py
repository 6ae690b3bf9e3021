"""Comma-separated values (RFC 4180): one row a note as it is played, for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

# A cell that begins so would be worked out as a formula by spreadsheets.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def write(rows: Sequence[Mapping[str, object]]) -> bytes:
    """The rows with a head line; several values of one note stand in one cell, a blank apart."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    names = list(rows[0]) if rows else []
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(row[name]) for name in names])
    return out.getvalue().encode("utf-8")


def _cell(value: object) -> str:
    if isinstance(value, (list, tuple)):
        return " ".join(_cell(one) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(_FORMULA) else text
