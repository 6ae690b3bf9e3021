"""What stands around the notes when a tune moves: headers and chord symbols."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping

from tabtool.diagnostics import Diagnostic, Level, Rule
from tabtool.harp import Harp, Layout
from tabtool.header import FIELDS, Setting
from tabtool.holes.rekey import moved_symbol
from tabtool.holes.rewrite import Edit
from tabtool.load import Loaded
from tabtool.music import Key
from tabtool.tune import HeaderLine, MusicLine, SectionLine, Share, Split
from tabtool.tunings import TUNINGS

HARPS_JOINED = Rule("harps-joined", Level.CAUTION, "A change of harp that is no change any more.")
SYMBOL_LEFT = Rule(
    "symbol-left", Level.CAUTION, "A chord symbol that could not be moved, not being understood."
)


class Headings:
    """The headers and chord symbols of one tune, changed to go with its new harps and keys.

    `harps` says which harp takes the place of that of a setting, `new_key` which key that of
    a key. `tuning` is the new layout where there is one, `path` the file it came from (empty
    for a known one). `out` is the path of the new text. What there is to tell is in `found`.
    """

    def __init__(
        self,
        loaded: Loaded,
        harps: Mapping[Setting, Harp],
        new_key: Callable[[Key], Key],
        tuning: Layout | None,
        path: str,
        out: str,
    ) -> None:
        self.loaded, self.harps, self.new_key, self.out = loaded, harps, new_key, out
        self.found: list[Diagnostic] = []
        self.settings = _settings(loaded)
        self.tuning = tuning
        folder = os.path.dirname(out or loaded.tune.file)
        self.tuning_name = ""
        if tuning is not None:
            self.tuning_name = os.path.relpath(path, folder or ".") if path else tuning.name

    def edits(self) -> list[Edit]:
        """New values for the headers there are; tells where a change of harp has gone."""
        edits = []
        before: Harp | None = None
        several = len(set(self.harps.values())) > 1
        for line, setting in zip(self.loaded.tune.lines, self.settings, strict=True):
            if not isinstance(line, HeaderLine) or line.parsed is None:
                continue
            value = line.value
            suffix = FIELDS[line.name].suffix
            if line.name == "harp":
                old, new = setting.harp, self.harps[setting]
                value = new.key
                if before is not None and not several and old is not None and old != before:
                    self.found.append(
                        HARPS_JOINED.at(
                            line.span,
                            f"the tune changes to {old.called} here; now all of it stands on "
                            f"{new.called}",
                        )
                    )
                before = old
            elif line.name == "tuning" and self.tuning is not None:
                value = self.tuning_name
            elif line.name == "key" and isinstance(line.parsed, Key):
                value = str(self.new_key(line.parsed))
            elif suffix and value.lower().endswith(suffix):
                value = self.from_there(value)
            if value != line.value:
                edits.append(Edit(line.span, value))
        return edits

    def from_there(self, path: str) -> str:
        """A path a header names, as it has to be named from the folder of the new text."""
        here, there = os.path.dirname(self.loaded.tune.file), os.path.dirname(self.out)
        if not self.out or os.path.isabs(path) or path.startswith("~") or here == there:
            return path
        return os.path.relpath(os.path.join(here, path), there or ".")

    def inserted(self) -> dict[int, tuple[str, ...]]:
        """Header lines the tune had not, by the number of the line they go above."""
        lines = self.loaded.tune.lines
        named = {line.name for line in lines if isinstance(line, HeaderLine)}
        missing = []
        if "harp" not in named:
            missing.append(f"harp: {self.harps[self.settings[0]].key}")
        if self.tuning not in (None, TUNINGS["Richter"]) and "tuning" not in named:
            missing.append(f"tuning: {self.tuning_name}")
        if not missing:
            return {}
        first = next(li for li in lines if isinstance(li, (HeaderLine, SectionLine, MusicLine)))
        above = first.span.line
        for line in lines:
            if isinstance(line, HeaderLine) and line.name in ("title", "composer", "harp"):
                above = line.span.line + 1
            elif isinstance(line, (SectionLine, MusicLine)):
                break
        return {above: tuple(missing)}

    def symbols(self, text: str, semitones: int) -> list[Edit]:
        """The accompaniment chords of the text, moved with the sound."""
        if not semitones:
            return []
        edits = []
        texts = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        for line, setting in zip(self.loaded.tune.lines, self.settings, strict=True):
            if not isinstance(line, MusicLine):
                continue
            key = self.new_key(setting.key) if setting.key else self.harps[setting].spelling
            shares = [part for bar in line.bars for beat in bar.beats for part in beat.parts]
            for share in _with_symbols(shares):
                before = texts[share.span.line - 1][: share.span.column - 1]
                found = re.search(r'"([^"|]*)"\(*$', before)
                if found is None:
                    continue
                place = share.span._replace(column=found.start(1) + 1, end_column=found.end(1) + 1)
                moved = moved_symbol(share.symbol, semitones, key)
                if moved is None:
                    self.found.append(
                        SYMBOL_LEFT.at(
                            place,
                            f"'{share.symbol}' is no chord known here, so it does not move with "
                            "the sound",
                            "write it as in G7, Am, F#m7b5 or C/E",
                        )
                    )
                elif moved != found[1]:
                    edits.append(Edit(place, moved))
        return edits


def _settings(loaded: Loaded) -> list[Setting]:
    """The setting each line of the tune belongs to: that of the music below it, or else above."""
    by_line: dict[int, Setting] = {}
    for played in loaded.score.bars:
        by_line.setdefault(played.bar.span.line, played.stretch.setting)
    found = [by_line.get(line.span.line) for line in loaded.tune.lines]
    last = next(setting for setting in reversed(found) if setting is not None)
    out: list[Setting] = []
    for setting in reversed(found):
        last = setting or last
        out.append(last)
    return out[::-1]


def _with_symbols(shares: list[Share]) -> Iterator[Share]:
    for share in shares:
        if share.symbol:
            yield share
        if isinstance(share, Split):
            yield from _with_symbols(list(share.parts))
