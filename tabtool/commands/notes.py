"""Print every note of a tune as it is played: where it stands, when it sounds, and what.

Onsets and durations are in beats, exact, and in seconds; a passage that is repeated
appears once for each pass.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.harp import Technique, Tone, position
from tabtool.load import Loaded
from tabtool.music import degree
from tabtool.report import table
from tabtool.resolve import NoteEvent


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_harp(parser)
    common.add_temperament(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    loaded = common.load_readable(args)
    if args.json:
        common.print_json(as_json(loaded))
    else:
        print(as_table(loaded))
    return OK


def as_json(loaded: Loaded) -> dict[str, object]:
    """The event table; its schema is documented in the README."""
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


def as_table(loaded: Loaded) -> str:
    head = ("line", "bar", "beat", "length", "seconds", "note", "pitch", "Hz", "degree")
    rows = []
    for event in loaded.score.events:
        setting = event.setting
        sounding = [pitch for pitch in event.pitches if pitch is not None]
        rows.append(
            (
                f"{event.note.span.line}:{event.note.span.column}",
                str(event.bar),
                str(event.onset),
                str(event.duration),
                f"{event.start_s:.3f}",
                event.figure.token + ("" if event.possible else "  cannot be played"),
                " ".join(setting.name(pitch) for pitch in sounding) or "?",
                " ".join(f"{setting.hz(pitch):.1f}" for pitch in sounding) or "?",
                " ".join(degree(pitch, setting.key) for pitch in sounding) if setting.key else "",
            )
        )
    return table(head, rows)
