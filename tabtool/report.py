"""Diagnostics as text a person reads, or as JSON a program reads."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tabtool.diagnostics import Diagnostic, Level
from tabtool.harp import position
from tabtool.header import Setting
from tabtool.load import Loaded


def as_text(diagnostics: Iterable[Diagnostic], source: str) -> str:
    """Each finding with its line, carets under the span, and what to write instead.

    The same finding at several places is told once, with all its places.
    """
    lines = source.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    alike: dict[tuple[object, ...], list[Diagnostic]] = {}
    for found in diagnostics:
        alike.setdefault((found.rule, found.level, found.message, found.help), []).append(found)
    out = []
    for group in alike.values():
        found, span = group[0], group[0].span
        out.append(
            f"{span.file}:{span.line}:{span.column}: {found.level}: {found.message} "
            f"[{found.rule.name}]"
        )
        if 1 <= span.line <= len(lines) and lines[span.line - 1].strip():
            text, start, carets = _excerpt(lines[span.line - 1], span.column, span.end_column)
            number = str(span.line)
            out.append(f"  {number} | {text}")
            out.append(f"  {' ' * len(number)} | {' ' * start}{'^' * carets}")
        if found.help:
            out.append(f"    -> {found.help}")
        if len(group) > 1:
            places = [f"{other.span.line}:{other.span.column}" for other in group[1:]]
            out.append(f"    also at {', '.join(places)}")
    return "\n".join(out)


def _excerpt(line: str, column: int, end_column: int, width: int = 88) -> tuple[str, int, int]:
    """A part of a long line around the span; where in it the carets start, and how many."""
    line = line.replace("\t", " ")
    start, length = column - 1, max(1, end_column - column)
    if len(line) <= width:
        return line.rstrip(), start, min(length, max(1, len(line) - start))
    begin = max(0, start - width // 2)
    cut = line[begin : begin + width]
    head, tail = ("…" if begin else ""), ("…" if begin + width < len(line) else "")
    offset = start - begin + len(head)
    return head + cut + tail, offset, min(length, len(cut) - (start - begin))


def as_rows(diagnostics: Iterable[Diagnostic]) -> list[dict[str, object]]:
    """The JSON of `check`: one object a finding."""
    return [
        {
            "file": found.span.file,
            "line": found.span.line,
            "column": found.span.column,
            "end_column": found.span.end_column,
            "rule": found.rule.name,
            "level": str(found.level),
            "message": found.message,
            "help": found.help,
        }
        for found in diagnostics
    ]


def summary(loaded: Loaded) -> str:
    """One line on a whole tune: how much of it can be played, on what."""
    count = dict.fromkeys(Level, 0)
    for found in loaded.diagnostics:
        count[found.level] += 1
    notes = sum(1 for _ in loaded.tune.notes())
    said = [
        many(count[level], word)
        for level, word in (
            (Level.ERROR, "error"),
            (Level.CAUTION, "caution"),
            (Level.HINT, "hint"),
        )
        if count[level]
    ]
    harps = dict.fromkeys(
        _harp_and_position(stretch.setting)
        for stretch in loaded.score.stretches
        if stretch.setting.harp
    )
    on = f" on {_and(list(harps))}" if harps else ""
    name = loaded.tune.file
    if not said:
        return f"{name}: {many(notes, 'note')}{on}, nothing to object to"
    return f"{name}: {many(notes, 'note')}{on}: {', '.join(said)}"


def _harp_and_position(setting: Setting) -> str:
    """``a C harp, Richter tuning (2nd position)``."""
    assert setting.harp is not None
    if setting.key is None:
        return setting.harp.called
    return f"{setting.harp.called} ({ordinal(position(setting.harp, setting.key))} position)"


def ordinal(number: int) -> str:
    """``1st``, ``2nd``, ``11th``."""
    ends = {1: "st", 2: "nd", 3: "rd"}
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ends.get(number % 10, 'th')}"


def many(count: int, word: str) -> str:
    """``1 note``, ``2 notes``."""
    return f"{count} {word}{'' if count == 1 else 's'}"


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Left-aligned columns two spaces apart."""
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (head, *rows)
    )
