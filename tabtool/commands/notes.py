"""Print every note of a tune as it is played: where it stands, when it sounds, and what.

Onsets and durations are in beats, exact, and in seconds; a passage that is repeated
appears once for each pass.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.load import Loaded
from tabtool.music import degree
from tabtool.report import table
from tabtool.writers.json import table_of


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_harp(parser)
    common.add_temperament(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    loaded = common.load_readable(args)
    if args.json:
        common.print_json(table_of(loaded))
    else:
        print(as_table(loaded))
    return OK


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
