"""JSON (RFC 8259): a table of a tune's notes as they are played."""

from __future__ import annotations

import json
from collections.abc import Mapping

from tabtool.events import NoteEvent
from tabtool.harp import Technique, Tone, position
from tabtool.load import Loaded
from tabtool.music import degree


def write(table: Mapping[str, object]) -> bytes:
    """The table, indented, in UTF-8."""
    return (json.dumps(table, ensure_ascii=False, indent=2) + "\n").encode("utf-8")


def table_of(loaded: Loaded) -> dict[str, object]:
    """The notes of a tune as a table; its schema is documented in the README."""
    first = loaded.score.stretches[0].setting if loaded.score.stretches else None
    return {
        "title": loaded.tune.title,
        "harp": {
            "key": first.harp.key if first and first.harp else "",
            "tuning": first.tuning.name if first else "",
        },
        "key": str(first.key) if first and first.key else "",
        "position": position(first.harp, first.key) if first and first.harp and first.key else None,
        "notes": [_row(event) for event in loaded.score.events],
    }


def _row(event: NoteEvent) -> dict[str, object]:
    setting = event.setting
    tones = event.figure.tones
    sounding = [pitch for pitch in event.pitches if pitch is not None]
    row: dict[str, object] = {
        "line": event.note.span.line,
        "column": event.note.span.column,
        "end_column": event.note.span.end_column,
        "written": event.figure.token,
        "bar": event.bar,
        "pass": event.play,
        "onset": str(event.onset),
        "duration": str(event.duration),
        "start_s": round(event.start_s, 6),
        "end_s": round(event.end_s, 6),
        "holes": [tone.hole for tone in tones],
        "breath": str(tones[0].breath),
        "technique": str(_hardest(tones).technique),
        "depth": _number(_hardest(tones).depth),
        "pitches": [setting.name(pitch) for pitch in sounding],
        "midi": [float(pitch) for pitch in sounding],
        "hz": [round(setting.hz(pitch), 2) for pitch in sounding],
        "cents": [round(setting.cents(pitch), 2) for pitch in sounding],
        "degrees": [degree(pitch, setting.key) for pitch in sounding] if setting.key else [],
        "possible": event.possible,
        "lyric": event.lyric,
        "harp": setting.harp.key if setting.harp else "",
        "section": event.stretch.name,
    }
    return row


def _hardest(tones: tuple[Tone, ...]) -> Tone:
    """The tone that decides how a chord is described: the overbent or most deeply bent one."""
    return max(tones, key=lambda tone: (tone.technique is not Technique.NATURAL, tone.depth))


def _number(value: float) -> int | float:
    return int(value) if value == int(value) else value
