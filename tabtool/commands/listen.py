"""Write down what a recording plays, as a first tab for your harp.

Single notes, and chords of up to four holes next to each other, one harp alone; any common sound
file will do (wav, flac, ogg, mp3, m4a). Of a chord, a note an octave or a twelfth above another is
not told. Without --tempo the tab is in free meter, a beat being the commonest step from note to
note; with it the bars are 4/4 and the first note falls on a beat. Holes are the easiest for the
harp named. Notes that are not sure are told in comments at the end, by line and column. It is a
draft: check and mend it by ear.

JSON: {"tuning_cents", "notes": [{"start_s", "end_s", "pitch", "others", "cents", "name", "token",
"doubt"}], "text"}; pitches are MIDI numbers, "pitch" the lowest of a chord and "others" the rest of
it, "cents" null of a chord; an empty doubt is none.
"""

from __future__ import annotations

import argparse
import os
import sys
from typing import TYPE_CHECKING

from tabtool.cli import OK, UNREADABLE
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.report import many

if TYPE_CHECKING:
    from tabtool.harp import Harp
    from tabtool.takes.listen import HeardNote


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("recording", metavar="RECORDING", help="wav, flac, ogg, mp3, m4a …")
    parser.add_argument(
        "--harp", required=True, metavar="KEY", help="the harp's key: C, Bb, low F …"
    )
    common.add_tuning(parser)
    parser.add_argument(
        "--tempo", type=_tempo, default=0.0, metavar="N", help="beats a minute, for bars of 4/4"
    )
    common.add_out(parser)
    common.add_json(parser)


def _tempo(text: str) -> float:
    try:
        tempo = float(text)
    except ValueError:
        tempo = 0.0
    if not 10 <= tempo <= 400:
        raise argparse.ArgumentTypeError(f"'{text}' is no tempo: beats a minute, 10 to 400")
    return tempo


def run(args: argparse.Namespace) -> int:
    harp = common.harp_of(args.harp, common.tuning_of(args))
    try:
        import numpy  # noqa: F401 (the extra, asked for once)
    except ImportError:
        raise TabError("listening needs more parts: pip install 'tabtool[audio]'") from None
    from pathlib import Path

    from tabtool.parse import parse
    from tabtool.resolve import resolve
    from tabtool.scores.notate import notate
    from tabtool.takes.gate import Unjudged
    from tabtool.takes.listen import listen, melody_of
    from tabtool.takes.pitchtrack import track
    from tabtool.takes.recording import read

    recording = read(Path(args.recording))
    name = os.path.basename(args.recording)
    try:
        heard = listen(track(recording.samples, recording.rate), harp)
        if not heard.notes:
            raise Unjudged("no notes that can be told apart")
    except Unjudged as reason:
        if args.json:
            nothing: dict[str, object] = {"tuning_cents": None, "notes": [], "text": ""}
            nothing["unjudged"] = str(reason)
            common.print_json(nothing)
        print(f"tabtool: {args.recording}: {reason}", file=sys.stderr)
        return UNREADABLE
    title = os.path.splitext(name)[0]
    out = args.out or "-"
    tuning = common.own_tuning(args, os.path.dirname(out))
    written = notate(melody_of(heard, args.tempo, title), harp, out, tuning)
    score, _ = resolve(parse(written.text, out)[0])  # places are those of the text
    rows: list[dict[str, object]] = []
    doubts = []
    events = score.events if len(score.events) == len(heard.notes) else (None,) * len(heard.notes)
    for note, event in zip(heard.notes, events, strict=True):
        token = event.figure.token if event else ""
        rows.append(
            {
                "start_s": round(note.start_s, 4),
                "end_s": round(note.end_s, 4),
                "pitch": note.pitch,
                "others": note.others,
                "cents": None if note.cents is None else round(note.cents, 2),
                "name": _named(note, harp),
                "token": token,
                "doubt": note.doubt,
            }
        )
        if note.doubt:
            span = event.note.span if event else None
            where = f" at {span.line}:{span.column}" if span else ""
            doubts.append(f"# unsure: {token or _named(note, harp)}{where}, {note.doubt}")
    text = written.text
    if doubts:
        text += "\n" + "\n".join(doubts) + "\n"
    if args.out:
        common.write_out(args.out, text.encode())
    elif not args.json:
        print(text, end="")
    if args.json:
        common.print_json(
            {"tuning_cents": round(heard.tuning_cents, 2), "notes": rows, "text": text}
        )
    elif args.out != "-":
        common.warn(
            f"{name}: {many(len(heard.notes), 'note')}, {len(doubts)} unsure; the recording stands "
            f"{heard.tuning_cents:+.0f} cents from A4 = 440 Hz"
        )
        for remark in written.remarks:
            common.warn(f"{name}: {remark}")
    return OK


def _named(note: HeardNote, harp: Harp) -> str:
    return " ".join(harp.named(pitch) for pitch in note.pitches)
