"""Judge a recording of a tune against its tab: was each bend in tune?

Records of any phone will do (wav, flac, ogg, mp3, m4a): play alone, near the microphone, in a
quiet room, at any tempo. A false start, repeats, slips and left-out notes are told as such. The
tuning of harp and recording as a whole is estimated from the natural notes and set apart, so
that cents are the player's own. A bend is good within 10 cents of its pitch, acceptable within
25. Expressive bends and chords are found but not judged in cents.

Where the recording is silent, too noisy, chordal or speech, that is said and nothing else.

--picture draws the pitch over the tab (.svg or .html). --history keeps each take's bends in a
small file on this machine, one line a take, and --progress draws it.

Practise quietly and not for long at a time: if you feel light-headed, stop and breathe.

JSON: {"tuning_cents", "notes": [{"index", "line", "column", "status": "ok"|"wrong"|"missing",
"cents", "spread", "start_s", "end_s"}], "extra": [{"start_s", "end_s", "pitch"}]}; what is not
known is null, pitches are MIDI numbers. With --full each note has besides "pitch", "late_ms",
"scoop", "fall", "drift", "vibrato", "landed" and "written", each extra note "again" (the index
of the note played once more), and there are "bends": [{"token", "judged", "landed", "good",
"mean", "deviation"}], "practise": [token] and "advice": [{"token", "kinds", "why"}]. A recording
that cannot be judged gives "tuning_cents": null, no notes, and "unjudged": the reason; the status
is then 2.
"""

from __future__ import annotations

import argparse
import os
import sys
from typing import TYPE_CHECKING

from tabtool.cli import OK, UNREADABLE
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.report import many, table

if TYPE_CHECKING:
    from tabtool.takes import take as takes


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="TUNE", help="the tab, or - for standard input")
    parser.add_argument("recording", metavar="RECORDING", help="the take: wav, flac, mp3, m4a …")
    common.add_harp(parser)
    common.add_temperament(parser)
    parser.add_argument("--picture", metavar="OUT", help="draw pitch over tab: .svg or .html")
    parser.add_argument(
        "--history", metavar="FILE", help="keep the take's bends in this file of one line a take"
    )
    parser.add_argument(
        "--progress", metavar="OUT", help="draw the bends of --history over time: .svg or .html"
    )
    common.add_json(parser)
    parser.add_argument("--full", action="store_true", help="all that was measured, in the JSON")


def run(args: argparse.Namespace) -> int:
    for out in (args.picture, args.progress):
        if out and not out.lower().endswith((".svg", ".html")):
            raise TabError(f"{out}: pictures are .svg or .html")
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
        common.print_json(as_json(take, args.full))
    else:
        print(as_text(take))
    return OK


def as_json(take: takes.Take, full: bool = False) -> dict[str, object]:
    """The JSON of a take; see the command's own text."""
    from tabtool.takes.take import advice, drills

    notes: list[dict[str, object]] = []
    for note in take.notes:
        judged, span = note.judged, note.event.note.span
        row: dict[str, object] = {
            "index": judged.index,
            "line": span.line,
            "column": span.column,
            "status": judged.status,
            "cents": _round(judged.cents, 2),
            "spread": _round(judged.spread, 2),
            "start_s": _round(judged.start_s, 4),
            "end_s": _round(judged.end_s, 4),
        }
        if full:
            row |= {
                "written": note.event.figure.token,
                "pitch": _round(judged.pitch, 4),
                "landed": note.landed,
                "late_ms": _round(judged.late_ms, 1),
                "scoop": _round(judged.scoop, 1),
                "fall": _round(judged.fall, 1),
                "drift": _round(judged.drift, 1),
                "vibrato": _round(judged.vibrato, 1),
            }
        notes.append(row)
    extra: list[dict[str, object]] = []
    for one in take.extra:
        row = {
            "start_s": _round(one.start_s, 4),
            "end_s": _round(one.end_s, 4),
            "pitch": _round(one.pitch, 3),
        }
        extra.append(row | {"again": one.again} if full else row)
    result: dict[str, object] = {
        "tuning_cents": _round(take.verdict.tuning_cents, 2),
        "notes": notes,
        "extra": extra,
    }
    if full:
        result["bends"] = [
            {
                "token": one.tone.token,
                "judged": one.judged,
                "landed": one.landed,
                "good": one.good,
                "mean": _round(one.mean, 2),
                "deviation": _round(one.deviation, 2),
            }
            for one in take.tones(bends=True)
        ]
        result["practise"] = [one.tone.token for one in drills(take)]
        result["advice"] = [
            {"token": one.tone.token, "kinds": list(one.kinds), "why": one.why}
            for one in advice(take)
        ]
    return result


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)


def as_text(take: takes.Take) -> str:
    """What a player reads: the whole, the notes that need a word, bends by hole, what is next."""
    from tabtool.drills import command
    from tabtool.takes.take import a4_of, advice, better_temperament, harp_of
    from tabtool.temperament import NAMES, named

    harp = harp_of(take)
    tuning = take.verdict.tuning_cents
    naturals = [
        note.judged.cents
        for note in take.notes
        if note.judged.status == "ok"
        and note.judged.cents is not None
        and not note.melodic_bend
        and len(note.event.figure.all_tones) == 1
    ]
    lines = [
        f"{many(take.count('ok'), 'note')} of {len(take.notes)} found, "
        f"{take.count('wrong')} wrong, {take.count('missing')} missing, "
        f"{len(take.extra)} extra; {take.seconds:.1f} seconds"
        + (f" on {harp.called}" if harp else ""),
        f"tuning of harp and recording: {tuning:+.1f} cents against the tab "
        f"(A4 = {a4_of(take):.1f} Hz), set apart from the figures below",
    ]
    if naturals:
        middle = sorted(abs(c) for c in naturals)[len(naturals) // 2]
        lines.append(f"your natural notes: {middle:.0f} cents off on average, your own baseline")
    better = better_temperament(take, [named(name) for name in NAMES])
    if better is not None:
        lines.append(
            f"the natural notes fit {better.name} better than the tab's temperament: "
            f"try --temperament {better.name}"
        )
    rows = [_row(note) for note in take.notes]
    head = ("line", "note", "pitch", "cents", "spread", "late", "")
    lines += ["", table(head, rows)]
    if take.extra:
        lines.append("")
        for one in take.extra:
            name = _name(take, one.pitch - tuning / 100)
            what = "extra" if one.again is None else "played once more"
            lines.append(f"{what}: {name} at {one.start_s:.2f}-{one.end_s:.2f} s")
    bends = take.tones(bends=True)
    if bends:
        lines += ["", "bends by hole and depth (good within 10 cents, landed within 25):"]
        for bend in bends:
            way = "sharp" if bend.mean > 0 else "flat"
            lines.append(
                f"{bend.tone}: {abs(bend.mean):.0f} cents {way} on average, "
                f"{bend.landed} of {bend.judged} landed, {bend.good} good"
            )
    weak = advice(take)[:3]
    if weak and harp is not None:
        lines += ["", f"practise next: {command(weak, harp)}"]
        lines += [f"{one.tone}: {one.why}" for one in weak]
    return "\n".join(lines)


def _row(note: takes.TakeNote) -> tuple[str, ...]:
    judged, event = note.judged, note.event
    names = " ".join(event.setting.name(p) for p in event.pitches if p is not None)
    said = []
    if judged.status == "missing":
        said.append("missing")
    elif judged.status == "wrong":
        heard = f", {event.setting.name(round(judged.pitch))} heard" if judged.pitch else ""
        said.append(f"wrong note{heard}")
    elif len(event.figure.all_tones) > 1:
        said.append("found, not judged in cents")
    elif note.tone.depth % 1:
        said.append("found, expressive: not judged in cents")
    elif judged.cents is None:
        said.append("found, too short to judge")
    elif note.melodic_bend:
        said.append({"good": "good", "acceptable": "acceptable", "off": "off"}[note.landed])
    for what, value in (("scoop", judged.scoop), ("fall", judged.fall)):
        if value:
            said.append(f"{what} {value:+.0f}")
    if abs(judged.drift) > 15:
        said.append(f"drifts {judged.drift:+.0f}")
    if judged.vibrato:
        said.append(f"vibrato {judged.vibrato:.0f}")
    cents = "" if judged.cents is None else f"{judged.cents:+.1f}"
    spread = "" if judged.spread is None else f"{judged.spread:.1f}"
    late = "" if judged.late_ms is None else f"{judged.late_ms:+.0f} ms"
    span = event.note.span
    return (
        f"{span.line}:{span.column}",
        event.figure.token,
        names,
        cents,
        spread,
        late,
        ", ".join(said),
    )


def _name(take: takes.Take, pitch: float) -> str:
    return take.notes[0].event.setting.name(round(pitch))
