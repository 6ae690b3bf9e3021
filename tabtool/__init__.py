"""Harmonica tablature: notation → events → pitches → checks → renderings.

The names below are the way in; each is loaded when first asked for, so that importing
the package costs nothing. `load_text` and `load_file` take a text or a file to
everything that is known of it; `parse_text` and `resolve_tune` are its stages. The
command line is a thin coat over the same calls.

>>> from tabtool import load_text
>>> loaded = load_text("harp: C\\n| 2v2 4v 5v1 4v |")
>>> [event.setting.name(event.pitches[0]) for event in loaded.score.events]
['F4', 'D5', 'E5', 'D5']
>>> [(found.rule.name, found.span.column) for found in loaded.diagnostics]
[('only-a-sag', 10)]
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tabtool.diagnostics import Diagnostic, Level, Rule, Span, TabError
    from tabtool.events import NoteEvent, Score
    from tabtool.expression import perform as perform_score
    from tabtool.harp import Breath, Harp, Layout, Technique, Tone, Way, find, position
    from tabtool.header import find_temperament
    from tabtool.load import Loaded, load_file
    from tabtool.load import load as load_text
    from tabtool.music import Key, hz, parse_key, parse_pitch, spell
    from tabtool.parse import parse as parse_text
    from tabtool.player import Player, parse_player
    from tabtool.practice import Practice
    from tabtool.practice import arranged as practise
    from tabtool.resolve import resolve as resolve_tune
    from tabtool.sound.audio import by_voice as play_score
    from tabtool.sound.audio import encoded as sound_file
    from tabtool.temperament import Temperament
    from tabtool.tune import Figure, Marks, Note, Tune
    from tabtool.tunings import TUNINGS, find_tuning, make_harp, read_tuning
    from tabtool.writers.mid import write as midi_file

# Where each name lives, and what it is called there.
_HOME = {
    "Diagnostic": ("diagnostics", "Diagnostic"),
    "Level": ("diagnostics", "Level"),
    "Rule": ("diagnostics", "Rule"),
    "Span": ("diagnostics", "Span"),
    "TabError": ("diagnostics", "TabError"),
    "Breath": ("harp", "Breath"),
    "Harp": ("harp", "Harp"),
    "Layout": ("harp", "Layout"),
    "Technique": ("harp", "Technique"),
    "Tone": ("harp", "Tone"),
    "Way": ("harp", "Way"),
    "find": ("harp", "find"),
    "position": ("harp", "position"),
    "Loaded": ("load", "Loaded"),
    "load_file": ("load", "load_file"),
    "load_text": ("load", "load"),
    "Key": ("music", "Key"),
    "hz": ("music", "hz"),
    "parse_key": ("music", "parse_key"),
    "parse_pitch": ("music", "parse_pitch"),
    "spell": ("music", "spell"),
    "parse_text": ("parse", "parse"),
    "Player": ("player", "Player"),
    "parse_player": ("player", "parse_player"),
    "NoteEvent": ("events", "NoteEvent"),
    "Score": ("events", "Score"),
    "resolve_tune": ("resolve", "resolve"),
    "Practice": ("practice", "Practice"),
    "practise": ("practice", "arranged"),
    "perform_score": ("expression", "perform"),
    "play_score": ("sound.audio", "by_voice"),
    "sound_file": ("sound.audio", "encoded"),
    "midi_file": ("writers.mid", "write"),
    "Temperament": ("temperament", "Temperament"),
    "find_temperament": ("header", "find_temperament"),
    "Figure": ("tune", "Figure"),
    "Marks": ("tune", "Marks"),
    "Note": ("tune", "Note"),
    "Tune": ("tune", "Tune"),
    "TUNINGS": ("tunings", "TUNINGS"),
    "find_tuning": ("tunings", "find_tuning"),
    "make_harp": ("tunings", "make_harp"),
    "read_tuning": ("tunings", "read_tuning"),
}

__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    if name in _HOME:
        module, theirs = _HOME[name]
        return getattr(importlib.import_module(f"tabtool.{module}"), theirs)
    raise AttributeError(f"tabtool has no '{name}'")
