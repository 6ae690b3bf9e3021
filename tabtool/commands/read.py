"""Read a score or a tab typed by hand and write it down as tab.

Scores are MusicXML (.musicxml, .xml, .mxl), MIDI (.mid), ABC (.abc) and Humdrum (.krn). Of
several parts, voices or tunes one is chosen by name or number. The harp is the one given,
or the one on which the melody lies best. Everything the notation cannot say is listed.

Tab typed by hand (.txt) is read in the spelling given, or in the one that all its signs
agree on; where they leave the breath open, both readings are shown and nothing is written.
So it is with tab lines directly below each other, which may be chords or melody: --lines.
"""

from __future__ import annotations

import argparse
import os

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.music import moved
from tabtool.readers import HARP, Choice, Source, open_source
from tabtool.readers.stacks import LINES
from tabtool.report import many
from tabtool.scores.choose import Fit, best_harp, fit
from tabtool.scores.measures import Melody
from tabtool.scores.notate import Written, notate
from tabtool.scores.spellings import SPELLINGS
from tabtool.tunings import TUNINGS, find_tuning, make_harp

EXTRA = "pip install 'tabtool[read]'"


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a score, or tab typed by hand (.txt)")
    common.add_out(parser)
    common.add_harp(parser)
    common.add_player(parser)
    parser.add_argument("--part", default="", metavar="PART", help="the part, by name or number")
    parser.add_argument("--voice", default="", metavar="VOICE", help="the voice within the part")
    parser.add_argument(
        "--tune", default="", metavar="TUNE", help="the tune of a collection, by number or title"
    )
    parser.add_argument(
        "--transpose",
        type=int,
        default=0,
        metavar="N",
        help="move the melody by N semitones (12 is an octave up)",
    )
    parser.add_argument(
        "--spelling",
        choices=list(SPELLINGS),
        default="",
        help="how a tab typed by hand is to be understood: "
        + "; ".join(f"{name}: {one.meaning}" for name, one in SPELLINGS.items()),
    )
    parser.add_argument(
        "--lines",
        choices=list(LINES),
        default="",
        help="how lines of tab directly below each other are to be understood: "
        + "; ".join(f"{name}: {meaning}" for name, meaning in LINES.items()),
    )
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    source = open_source(args.file)
    if source.format == "txt":
        return _typed(args, source)
    for option in ("spelling", "lines"):
        if getattr(args, option):
            raise TabError(f"{args.file}: --{option} is for tab typed by hand (.txt)")
    try:
        melody = source.melody(Choice(args.part, args.voice, args.tune))
    except ModuleNotFoundError as error:
        if error.name != "music21":
            raise
        raise TabError(f"reading scores needs music21: {EXTRA}") from None
    if args.transpose:
        melody = transposed(melody, args.transpose)
    chosen = _harp(args, melody)
    named = melody.measures[0].change.harp
    if named and named != str(chosen.harp):
        lost = f"the file is written for a {named}, which is not the one taken"
        melody = melody._replace(lost=(*melody.lost, lost))
    player = common.player_of(args)
    out = args.out or "-"
    tuning = common.own_tuning(args, os.path.dirname(out))
    written = notate(melody, chosen.harp, out, tuning, player)
    if args.out:
        common.write_out(args.out, written.text.encode())
    elif not args.json:
        print(written.text, end="")
    if args.json:
        common.print_json(_json(args, melody, chosen, written))
    else:
        for line in _told(args, melody, chosen, written):
            common.warn(line)
    return OK


def _typed(args: argparse.Namespace, source: Source) -> int:
    """Read a tab typed by hand."""
    from tabtool.readers import txt

    for option in ("part", "voice", "tune", "transpose"):
        if getattr(args, option):
            raise TabError(f"{args.file}: --{option} is for scores")
    layout = common.tuning_of(args) or TUNINGS["Richter"]
    if args.harp:
        common.harp_of(args.harp, layout)
    folder = os.path.dirname(args.out or "")
    tuning = common.own_tuning(args, folder) or (args.tuning and layout.name)
    typed = txt.read(
        source.data, args.file, args.spelling, args.harp, layout, tuning, args.lines, folder
    )
    if args.out:
        common.write_out(args.out, typed.text.encode())
    elif not args.json:
        print(typed.text, end="")
    if args.json:
        common.print_json(
            {
                "file": args.file,
                "out": args.out or "",
                "title": typed.tune.title,
                "spelling": typed.spelling.name,
                "evidence": typed.evidence,
                "harp": typed.tune.header("harp"),
                "notes": sum(1 for _ in typed.tune.notes()),
                "remarks": list(typed.remarks),
                **({} if args.out else {"text": typed.text}),
            }
        )
    else:
        name = os.path.basename(args.file)
        common.warn(f"{name}: read as {typed.spelling.name}: {typed.evidence}")
        for remark in typed.remarks:
            common.warn(f"{name}: {remark}")
    return OK


def transposed(melody: Melody, semitones: int) -> Melody:
    """The melody moved by semitones; its key moves with it, chord symbols are left out."""
    symbols = False
    measures = []
    for measure in melody.measures:
        key = measure.change.key
        if key is not None:
            change = measure.change._replace(key=moved(key, semitones))
            measure = measure._replace(change=change)
        notes = tuple(
            note._replace(
                pitches=tuple(pitch + semitones for pitch in note.pitches),
                grace=tuple(pitch + semitones for pitch in note.grace),
                tab="",
            )
            for note in measure.notes
        )
        symbols = symbols or bool(measure.symbols)
        measures.append(measure._replace(notes=notes, symbols=()))
    lost = ("chord symbols are left out of the moved melody",) if symbols else ()
    return melody._replace(measures=tuple(measures), lost=(*melody.lost, *lost))


def _harp(args: argparse.Namespace, melody: Melody) -> Fit:
    layout = common.tuning_of(args)
    player = common.player_of(args)
    if args.harp:
        return fit(common.harp_of(args.harp, layout), melody.measures, player)
    named = HARP.fullmatch(melody.measures[0].change.harp)
    if named and not args.tuning and not args.transpose:
        own = find_tuning(named["tuning"])
        harp = make_harp(named["key"], own) if own else None
        if harp is not None:
            return fit(harp, melody.measures, player)
    best = best_harp(melody.measures, layout or TUNINGS["Richter"], player)
    return fit(best, melody.measures, player)


def _told(args: argparse.Namespace, melody: Melody, chosen: Fit, written: Written) -> list[str]:
    """What a person should know of the reading, a line each."""
    harp = "the harp you named" if args.harp else "the harp it lies best on"
    if not args.harp and str(chosen.harp) == melody.measures[0].change.harp:
        harp = "the harp the file names"
    of = ", ".join(
        f"{many(count, 'note')} {how}"
        for count, how in (
            (chosen.bends, "bent"),
            (chosen.overbends, "overblown or overdrawn"),
            (chosen.missing, "out of reach (written as the bend they would be)"),
        )
        if count
    )
    name = os.path.basename(args.file)
    lines = [f"{name}: {harp} is {chosen.harp.key}: {of or 'every note a natural one'}"]
    return lines + [f"{name}: {remark}" for remark in written.remarks]


def _json(
    args: argparse.Namespace, melody: Melody, chosen: Fit, written: Written
) -> dict[str, object]:
    return {
        "file": args.file,
        "out": args.out or "",
        "title": melody.title,
        "part": melody.part,
        "harp": chosen.harp.key,
        "tuning": chosen.harp.tuning,
        "chosen": not args.harp,
        "notes": sum(1 for _ in written.tune.notes()),
        "bent": chosen.bends,
        "overbent": chosen.overbends,
        "missing": chosen.missing,
        "remarks": list(written.remarks),
        **({} if args.out else {"text": written.text}),
    }
