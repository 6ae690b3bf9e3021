"""Judge a recording of a tune against its tab: was each bend in tune?

Records of any phone will do (wav, flac, ogg, mp3, m4a): play alone, near the microphone, in a
quiet room, at any tempo. A false start, repeats, slips and left-out notes are told as such. The
tuning of harp and recording as a whole is estimated from the natural notes and set apart, so
that cents are the player's own. A bend is good within 10 cents of its pitch, acceptable within
25. Expressive bends and chords are found but not judged in cents. Of a chord it is told whether its
holes sounded together, and which did instead; a note an octave or a twelfth above another of the
chord lies on its partials and is not told apart. A second hole that sounds with a single note makes
it wrong, and is named.

Where the recording is silent, too noisy, chordal or speech, that is said and nothing else.

--picture draws the pitch over the tab (.svg, .png or .html). --history keeps each take's bends in a
small file on this machine, one line a take, and --progress draws it.

Practise quietly and not for long at a time: if you feel light-headed, stop and breathe.

JSON: {"tuning_cents", "notes": [{"index", "line", "column", "status": "ok"|"wrong"|"missing",
"cents", "spread", "start_s", "end_s"}], "extra": [{"start_s", "end_s", "pitch"}]}; what is not
known is null, pitches are MIDI numbers. With --full each note has besides "pitch", "late_ms",
"scoop", "fall", "drift", "vibrato", "landed" and "written", each extra note "again" (the index
of the note played once more), both "others" (the further pitches where a wrong or extra chord was
heard, "pitch" being its lowest), and there are "bends": [{"token", "judged", "landed", "good",
"mean", "deviation"}], "practise": [token] and "advice": [{"token", "kinds", "why"}]. A recording
that cannot be judged gives "tuning_cents": null, no notes, and "unjudged": the reason; the status
is then 2.
"""

from __future__ import annotations

import argparse
import os
import sys

from tabtool.cli import OK, UNREADABLE
from tabtool.commands import common
from tabtool.diagnostics import TabError


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="TUNE", help="the tab, or - for standard input")
    parser.add_argument("recording", metavar="RECORDING", help="the take: wav, flac, mp3, m4a …")
    common.add_harp(parser)
    common.add_temperament(parser)
    parser.add_argument("--picture", metavar="OUT", help="draw pitch over tab: .svg, .png or .html")
    parser.add_argument(
        "--history", metavar="FILE", help="keep the take's bends in this file of one line a take"
    )
    parser.add_argument(
        "--progress",
        metavar="OUT",
        help="draw the bends of --history over time: .svg, .png or .html",
    )
    common.add_json(parser)
    parser.add_argument("--full", action="store_true", help="all that was measured, in the JSON")


def run(args: argparse.Namespace) -> int:
    for out in (args.picture, args.progress):
        if out and not out.lower().endswith((".svg", ".png", ".html")):
            raise TabError(f"{out}: pictures are .svg, .png or .html")
    if args.progress and not args.history:
        raise TabError("--progress draws the file of --history; name that too")
    loaded = common.load_readable(args)
    if not loaded.score.events:
        raise TabError(f"{loaded.tune.file}: no notes to judge")
    try:
        import numpy  # noqa: F401 (the extra, asked for once)
    except ImportError:
        raise TabError(
            "judging recordings needs more parts: pip install 'tabtool[audio]'"
        ) from None
    from pathlib import Path

    from tabtool.takes import report
    from tabtool.takes import take as takes
    from tabtool.takes.gate import Unjudged

    try:
        take = takes.take(loaded.score, Path(args.recording))
    except Unjudged as reason:
        if args.json:
            nothing: dict[str, object] = {"tuning_cents": None, "notes": [], "extra": []}
            nothing["unjudged"] = str(reason)
            common.print_json(nothing)
        print(f"tabtool: {reason}", file=sys.stderr)
        return UNREADABLE
    if args.picture:
        from tabtool.takes.takepicture import write

        common.write_out(args.picture, write(take, args.picture))
    if args.history:
        from tabtool.takes import history

        history.append(args.history, take, os.path.basename(args.recording))
        if args.progress:
            from tabtool.takes.progress import write as draw

            common.write_out(args.progress, draw(history.read(args.history), args.progress))
    if args.json:
        common.print_json(report.as_json(take, args.full))
    else:
        print(report.as_text(take))
    return OK
