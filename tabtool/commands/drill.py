"""Write practice pages that turn bends into melody notes, for your harp, key and reach.

Each bend is heard first as a reference (a natural note that sounds it, or an octave of it),
then found, then approached from above, from below and by leap, then used in scales, chords,
phrases and a small song of the position. Tempos rise from section to section. Without --bends
a page has every bend that gives a note the harp lacks: draw bends, blow bends, then overblows
and overdraws, as far as --player goes. Holes whose reeds lie a semitone apart only sag; they
are never asked for.

The page is a tune in the notation: check, midi and audio take it as any other; with -o in
.pdf, .svg, .png or .html it is printed to put on a stand, and so are worksheets. The same
options and --seed give the same page. --pages FOLDER writes the graded set, one page a stage;
--worksheet writes questions (which note is it, and where else does it sound?) with blanks, and
--answers, with the same options, the answers to them.

Drills ask for long breaths, and high bends and overbends tempt to hard ones. Bend with the
mouth, not with force, breathe at every rest, and do not share the harp. If you feel
light-headed, stop and breathe quietly; a few minutes at a time are enough.

JSON of a page: {"title", "harp", "tuning", "key", "position", "seed", "bends": [{"token",
"pitch", "times"}], "sections": [{"name", "kind", "tempo"}], "errors", "cautions", "text"};
of --pages a list of these, each with its "file"; of worksheets {"harp", "tuning", "seed",
"questions": [{"token", "pitch", "asks", "elsewhere": [{"token", "octaves_away"}]}]}; of
--list [{"kind", "stage", "listen"}].
"""

from __future__ import annotations

import argparse
import os

from tabtool.cli import OK
from tabtool.commands import common, printing
from tabtool.diagnostics import Level, TabError
from tabtool.drills import (
    KINDS,
    Drill,
    Page,
    Worksheet,
    as_answers,
    as_questions,
    find_bends,
    graded,
    home_key,
    page,
    worksheet,
)
from tabtool.files import write_file
from tabtool.harp import Harp, Tone, position
from tabtool.header import SCALA_SUFFIX
from tabtool.music import Key, parse_key
from tabtool.player import Player
from tabtool.report import table
from tabtool.sheet.style import Style
from tabtool.sheet.worksheet import worksheet_pages


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--harp", default="", metavar="KEY", help="the harp's key: C, Bb, low F …")
    common.add_tuning(parser)
    common.add_temperament(parser)
    common.add_player(parser)
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--key", default="", help="the key to play in: G, A minor, D dorian …")
    where.add_argument(
        "--position", type=_number(1, 12), default=0, metavar="N", help="or the position, 1 to 12"
    )
    parser.add_argument(
        "--bends",
        default="",
        metavar="LIST",
        help="which bends: 2v2,3v1 …, or draw, blow, overbends, all",
    )
    parser.add_argument(
        "--kinds", default="", metavar="LIST", help="which kinds of drill (--list names them)"
    )
    parser.add_argument(
        "--times",
        type=_number(1, 200),
        default=8,
        metavar="N",
        help="how often each bend sounds on a page, at least (8)",
    )
    parser.add_argument(
        "--tempo",
        type=_number(10, 400),
        default=54,
        metavar="BPM",
        help="beats a minute to begin with (54)",
    )
    parser.add_argument(
        "--top", type=_number(10, 400), default=0, metavar="BPM", help="and to end with (100)"
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="another number, other phrases (1)"
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--pages", default="", metavar="FOLDER", help="write the graded set there")
    what.add_argument("--worksheet", action="store_true", help="a worksheet with blanks")
    what.add_argument("--answers", action="store_true", help="the answers to the worksheet")
    what.add_argument("--list", action="store_true", help="name the kinds of drill")
    parser.add_argument(
        "--count",
        type=_number(1, 500),
        default=20,
        metavar="N",
        help="questions on a worksheet (20)",
    )
    common.add_out(parser)
    printing.add_paper(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    if args.list:
        return _list(args)
    if not args.harp:
        raise TabError("name the harp: --harp C")
    if args.pages and args.out:
        raise TabError("--pages names the folder to write to; leave out -o")
    harp = common.harp_of(args.harp, common.tuning_of(args))
    player = common.player_of(args)
    if args.worksheet or args.answers:
        return _worksheet(args, harp, player)
    drill = _drill(args, harp, player)
    if args.pages:
        return _set(args, drill)
    made = page(drill)
    if printing.is_page(args.out or ""):
        printing.print_tune(made.loaded.tune, args)
        if args.json:
            common.print_json(as_json(drill, made))
    elif args.json:
        common.print_json(as_json(drill, made))
        if args.out:
            common.write_out(args.out, made.text.encode())
    else:
        common.write_out(args.out or "-", made.text.encode())
    return OK


def _drill(args: argparse.Namespace, harp: Harp, player: Player) -> Drill:
    key = parse_key(args.key) if args.key else home_key(harp, args.position)
    if key is None:
        raise TabError(f"'{args.key}' is no key; write a tonic and a mode, such as G or A minor")
    top = args.top or max(100, args.tempo)
    kinds = tuple(word for word in args.kinds.lower().replace(",", " ").split() if word)
    folder = args.pages or (os.path.dirname(args.out) if args.out and args.out != "-" else "")
    temperament, a4 = common.temperament_of(args), common.pitch_of(args)
    temper = "" if temperament is None else temperament.name
    if args.temperament.lower().endswith(SCALA_SUFFIX):
        temper = common.seen_from(folder, args.temperament)
    return Drill(
        harp,
        find_bends(harp, player, args.bends),
        key,
        kinds or tuple(KINDS),
        player,
        args.times,
        args.tempo,
        top,
        args.seed,
        tuning=common.own_tuning(args, folder),
        folder=folder,
        tuned=(("pitch", "" if a4 is None else f"{a4:g}"), ("temperament", temper)),
    )


def _set(args: argparse.Namespace, drill: Drill) -> int:
    new = not os.path.isdir(args.pages)
    try:
        os.makedirs(args.pages, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or "it cannot be made").lower()
        raise TabError(f"{args.pages}: no folder to write to: {reason}") from None
    try:
        pages = graded(drill)  # all of them first: a fault leaves nothing half done
    except TabError:
        if new:
            os.rmdir(args.pages)
        raise
    rows = []
    for name, made in pages:
        path = os.path.join(args.pages, name)
        write_file(path, made.text.encode())
        rows.append({"file": path, **as_json(drill, made)})
        if not args.json:
            first, last = made.sections[0].tempo, made.sections[-1].tempo
            print(f"{path}: {made.title}, tempo {first} to {last}")
    if args.json:
        common.print_json(rows)
    return OK


def as_json(drill: Drill, made: Page) -> dict[str, object]:
    """A page; the schema is in this module's docstring."""
    key = drill.key or home_key(drill.harp)
    levels = [found.level for found in made.loaded.diagnostics]
    return {
        "title": made.title,
        "harp": drill.harp.key,
        "tuning": drill.harp.tuning,
        "key": str(key),
        "position": position(drill.harp, key),
        "seed": drill.seed,
        "bends": [
            {"token": tone.token, "pitch": _pitch(drill.harp, key, tone), "times": times}
            for tone, times in made.counts
        ],
        "sections": [
            {"name": section.name, "kind": section.kind, "tempo": section.tempo}
            for section in made.sections
        ],
        "errors": levels.count(Level.ERROR),
        "cautions": levels.count(Level.CAUTION),
        "text": made.text,
    }


def _worksheet(args: argparse.Namespace, harp: Harp, player: Player) -> int:
    sheet = worksheet(harp, player, args.count, args.seed)
    if printing.is_page(args.out or ""):
        printing.check_output(args)
        metrics = printing.metrics()
        pages = worksheet_pages(sheet, Style(args.paper), metrics, answers=args.answers)
        printing.write_pages(pages, f"{harp}, worksheet {args.seed}", args)
        if args.json:
            common.print_json(worksheet_json(sheet))
        return OK
    if args.json:
        common.print_json(worksheet_json(sheet))
        return OK
    text = as_answers(sheet) if args.answers else as_questions(sheet)
    common.write_out(args.out or "-", text.encode())
    return OK


def worksheet_json(sheet: Worksheet) -> dict[str, object]:
    """A worksheet with its answers; the schema is in this module's docstring."""
    return {
        "harp": sheet.harp.key,
        "tuning": sheet.harp.tuning,
        "seed": sheet.seed,
        "questions": [
            {
                "token": question.way.tone.token,
                "pitch": sheet.harp.named(question.way.pitch),
                "asks": "tab" if question.named else "note",
                "elsewhere": [
                    {"token": tone.token, "octaves_away": octaves}
                    for tone, octaves in question.elsewhere
                ],
            }
            for question in sheet.questions
        ],
    }


def _list(args: argparse.Namespace) -> int:
    rows = [
        {"kind": kind.name, "stage": kind.stage, "listen": kind.listen} for kind in KINDS.values()
    ]
    if args.json:
        common.print_json(rows)
    else:
        print(table(("kind", "stage", "listen"), [tuple(row.values()) for row in rows]))
    return OK


def _number(least: int, most: int) -> _Number:
    return _Number(least, most)


class _Number:
    """A whole number between two others, for argparse."""

    def __init__(self, least: int, most: int) -> None:
        self.least, self.most = least, most

    def __call__(self, text: str) -> int:
        if not text.isdecimal() or not self.least <= int(text) <= self.most:
            raise argparse.ArgumentTypeError(
                f"'{text}' is no whole number from {self.least} to {self.most}"
            )
        return int(text)


def _pitch(harp: Harp, key: Key, tone: Tone) -> str:
    pitch = harp.intended(tone)
    assert pitch is not None
    return harp.named(pitch, key)
