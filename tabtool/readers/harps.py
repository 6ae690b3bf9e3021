"""The harps a typed tab names in words, and which of its lines are played on which.

A line that does nothing but name a harp (``Harp: low F``) or a tuning (``Tuning: country``)
holds from there on, and the first harp from the top, wherever it stands. A harp only spoken
of (``on an A harp``) counts where no line names one.
"""

from __future__ import annotations

import re
from collections.abc import Container, Sequence
from typing import NamedTuple

from tabtool.harp import Harp, Layout
from tabtool.tunings import TUNINGS, find_tuning, make_harp

_KEY = r"(?:(?:[Ll]ow )?[Ll]ow |[Hh]igh )?[A-G][#b♯♭]?m?"
_HARP = re.compile(
    rf"(?i:\b(?:harp|harmonica)\s*(?:key)?\s*[:=]\s*)(?P<named>{_KEY}|(?i:{_KEY}))(?![\w#♯♭])"
    rf"|\b(?P<own>{_KEY})[ -](?i:harp|harmonica)\b"
)
_TUNING = re.compile(r"\s*tuning\s*[:=]\s*(\S.*?)\s*$", re.IGNORECASE)


class Instrument(NamedTuple):
    """A harp as a text names it; `key` is empty where none is named."""

    key: str
    layout: Layout

    @property
    def harp(self) -> Harp | None:
        return make_harp(self.key, self.layout) if self.key else None

    @property
    def holes(self) -> int:
        return self.layout.holes


class Named(NamedTuple):
    """`by_line` is the harp of each line of tab, `lines` are those that do nothing but name a
    harp or tuning, `unknown` the tunings that are none known here."""

    by_line: dict[int, Instrument]
    lines: frozenset[int]
    unknown: tuple[str, ...]


def named_harps(
    lines: Sequence[str], tab: Container[int], key: str = "", layout: Layout | None = None
) -> Named:
    """The harps of a text by its lines, counted from 0. A `key` or `layout` given holds for
    all of it, whatever the text says."""
    keys: dict[int, str] = {}
    tunings: dict[int, Layout] = {}
    spoken, unknown = "", []
    for index, line in enumerate(lines):
        if index in tab:
            continue
        if tuning := _TUNING.match(line):
            known = find_tuning(tuning[1])
            if known is not None:
                tunings[index] = known
            elif layout is None:
                unknown.append(tuning[1])
        elif (found := _HARP.search(line)) and _is_key(said := found["named"] or found["own"]):
            if re.search(r"[A-Za-z]{3}", _HARP.sub("", line)):
                spoken = spoken or said
            else:
                keys[index] = said
    now = Instrument(key or next(iter(keys.values()), spoken), layout or TUNINGS["Richter"])
    by_line = {}
    for index in range(len(lines)):
        now = Instrument(key or keys.get(index, now.key), layout or tunings.get(index, now.layout))
        if index in tab:
            by_line[index] = now
    return Named(by_line, frozenset([*keys, *tunings]), tuple(unknown))


def _is_key(text: str) -> bool:
    return any(make_harp(text, TUNINGS[name]) for name in ("Richter", "natural minor"))
