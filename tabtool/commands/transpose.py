"""Move a tune to another harp or another key, and say what that changed.

Three different things are meant by moving a tune. Say which:

  same holes, other harp    --harp A --keep holes    the tab stays, the sound moves
  same sound, other harp    --harp A --keep sound    the sound stays, the holes are
                                                     worked out anew
  other sounding key        --by 2 or --to-key E     the sound moves and the holes are
                                                     worked out anew, on the tune's own
                                                     harp or on the one of --harp; with
                                                     --keep position the harp moves along

The holes are the easiest for this player. Rhythm, marks, sections, lyrics, comments and
layout stay. What cannot be played is listed and stays in the tab as a note of the pitch
asked for, which check flags. The new tab goes to OUT, the report to standard output;
without OUT the tab goes to standard output and the report to standard error.

Ends with 0 if all of it can be played, 1 if not, 2 if it could not be done.
"""

from __future__ import annotations

import argparse
import sys
from itertools import zip_longest

from tabtool.canonical import write
from tabtool.cli import OK, PROBLEMS
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.events import Score
from tabtool.harp import position
from tabtool.header import Setting
from tabtool.holes.rekey import interval_to
from tabtool.holes.retab import Keep, Octaves, Request, Retabbed, retab
from tabtool.holes.tally import Tally, tally
from tabtool.load import Loaded
from tabtool.music import Key, parse_key
from tabtool.report import as_rows, as_text, many, ordinal, summary, table
from tabtool.tune import MusicLine, Tune

FURTHEST = 48  # semitones; past four octaves nothing is left on any harp


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_harp(parser)
    parser.add_argument(
        "--keep",
        choices=[str(keep) for keep in Keep],
        help="holes: the tab stays; sound: every pitch stays; position: with a new key, the harp "
        "moves along",
    )
    parser.add_argument(
        "--by", default="", metavar="N", help="move the sound by N semitones, such as 2 or -3"
    )
    parser.add_argument(
        "--to-key", default="", metavar="KEY", help="move the sound to this key, the nearer way"
    )
    parser.add_argument(
        "--octaves",
        choices=[str(octaves) for octaves in Octaves],
        default="no",
        help="what may sound an octave away: nothing; the tune as a whole; single notes that "
        "cannot be played otherwise",
    )
    common.add_from(parser)
    common.add_player(parser)
    common.add_out(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    loaded, text = common.load_on_its_harp(args.file, args.old_harp)
    request = _request(args, loaded)
    player = common.player_of(args)
    out = args.out if args.out and args.out != "-" else ""
    moved = retab(loaded, text, request, player, out)
    before, after = tally(loaded.score, player), tally(moved.loaded.score, player)
    if out:
        common.write_out(out, moved.text.encode())
    if args.json:
        common.print_json(as_json(moved, before, after, out))
    elif out:
        print(as_report(loaded, text, request, moved, before, after))
    else:
        sys.stdout.write(moved.text)
        print(as_report(loaded, text, request, moved, before, after), file=sys.stderr)
    return OK if moved.loaded.playable else PROBLEMS


def _request(args: argparse.Namespace, loaded: Loaded) -> Request:
    keep = Keep(args.keep) if args.keep else None
    moves = bool(args.by or args.to_key)
    elsewhere = bool(args.harp or args.tuning)
    if args.by and args.to_key:
        raise TabError("--by and --to-key both say where the sound goes; give one")
    if not moves and not elsewhere:
        raise TabError(
            "say where to: --harp A --keep holes (same holes, the sound moves), --harp A --keep "
            "sound (same sound, new holes), or --by 2 or --to-key E (the sound moves)"
        )
    if elsewhere and not moves and keep is None:
        raise TabError(
            "say what stays: --keep holes (the tab stays, the sound moves) or --keep sound (the "
            "sound stays, the holes are worked out anew)"
        )
    if moves and keep in (Keep.SOUND, Keep.HOLES):
        option = "--by" if args.by else "--to-key"
        raise TabError(
            f"{option} moves the sound, so --keep {keep} cannot be; leave one of the two out, or "
            "write --keep position to have the harp move along"
        )
    if keep is Keep.POSITION and (args.harp or not moves):
        raise TabError("--keep position finds the harp for a new key: give --by or --to-key alone")
    tuning = common.tuning_of(args)
    if args.harp:
        common.harp_of(args.harp, tuning) if tuning else None
    semitones, key = _interval(args, loaded)
    return Request(
        keep or Keep.SOUND,
        args.harp,
        tuning,
        args.tuning if args.tuning.lower().endswith(".harptuning") else "",
        semitones,
        key,
        Octaves(args.octaves),
    )


def _interval(args: argparse.Namespace, loaded: Loaded) -> tuple[int, Key | None]:
    """How far the sound moves, and the new key where it was named."""
    if args.by:
        try:
            semitones = int(args.by)
        except ValueError:
            semitones = FURTHEST + 1
        if abs(semitones) > FURTHEST:
            raise TabError(
                f"--by {args.by}: write semitones, from -{FURTHEST} to {FURTHEST}: 2 is a tone up, "
                "-12 an octave down"
            )
        return semitones, None
    if not args.to_key:
        return 0, None
    key = parse_key(args.to_key)
    if key is None:
        raise TabError(f"--to-key {args.to_key}: that is no key; write one such as E, Bb or F#")
    old = loaded.score.stretches[0].setting.key if loaded.score.stretches else None
    if old is None:
        raise TabError(
            f"{loaded.tune.file}: the tune does not say which key it is in; write key: G (or what "
            "it is) at its top, or say how far to move it with --by"
        )
    if args.to_key.strip() != key.tonic and key.mode != old.mode:
        raise TabError(
            f"--to-key {args.to_key}: the tune is in {old}, and moving it does not make it "
            f"{key.mode}; write the new tonic alone, such as --to-key {key.tonic}"
        )
    return interval_to(old, key.pitch_class), key


def as_json(moved: Retabbed, before: Tally, after: Tally, out: str) -> dict[str, object]:
    """The JSON of a move; its schema is documented in the README."""
    setting = moved.loaded.score.stretches[0].setting
    return {
        "out": out,
        "harp": {"key": setting.harp_key, "tuning": setting.tuning.name},
        "key": str(setting.key) if setting.key else None,
        "position": _position(setting),
        "semitones": moved.semitones,
        "playable": moved.loaded.playable,
        "before": before._asdict(),
        "after": after._asdict(),
        "findings": as_rows(moved.findings),
        "text": moved.text,
    }


def _position(setting: Setting) -> int | None:
    return position(setting.harp, setting.key) if setting.harp and setting.key else None


def as_report(
    loaded: Loaded, text: str, request: Request, moved: Retabbed, before: Tally, after: Tally
) -> str:
    """What changed, for a person: what was meant, the lines, the counts, what is out of reach."""
    parts = [
        f"from {_on(loaded.score)}\n  to {_on(moved.loaded.score)}\n{_meant(request, moved)}",
        *_lines(loaded.tune, moved.loaded.tune),
        _counts(loaded, moved.loaded, before, after),
    ]
    if moved.findings:
        parts.append(as_text(moved.findings, text))
    parts.append(summary(moved.loaded))
    return "\n\n".join(parts)


def _on(score: Score) -> str:
    """The harps of a tune in order, each with the key and position of the tune on it."""
    said = []
    for stretch in score.stretches:
        setting = stretch.setting
        assert setting.harp is not None
        key = f", in {setting.key}" if setting.key else ""
        where = _position(setting)
        place = f" ({ordinal(where)} position)" if where else ""
        said.append(f"{setting.harp.called}{key}{place}")
    return "; ".join(dict.fromkeys(said))


def _meant(request: Request, moved: Retabbed) -> str:
    by = moved.semitones
    sound = (
        "every note sounds as before"
        if not by
        else f"the sound moves {'up' if by > 0 else 'down'} by {many(abs(by), 'semitone')}"
    )
    if request.keep is Keep.HOLES:
        return f"same holes, other harp: {sound}"
    if request.keep is Keep.POSITION:
        return f"other sounding key, same position: {sound}"
    if request.semitones or request.key:
        return f"other sounding key: {sound}"
    return f"same sound, other harp: {sound}"


def _lines(old: Tune, new: Tune) -> list[str]:
    """Each line of bars that changed, before and after under each other, beats in columns."""
    pairs = list(zip_longest(_music(old), _music(new)))
    shown = []
    same = 0
    for one, two in pairs:
        if one is None or two is None:
            continue
        before, after = write(Tune((one._replace(comment=""), two._replace(comment="")))).split(
            "\n"
        )[:2]
        if before == after:
            same += 1
            continue
        number = str(one.span.line)
        shown.append(f"{number:>4}  {before}\n   →  {after}")
    if same:
        shown.append(f"({many(same, 'line')} of bars unchanged)")
    return shown


def _music(tune: Tune) -> list[MusicLine]:
    return [line for line in tune.lines if isinstance(line, MusicLine)]


def _counts(old: Loaded, new: Loaded, before: Tally, after: Tally) -> str:
    rows = [
        (name, str(one), str(two))
        for name, one, two in (
            ("notes played", before.notes, after.notes),
            ("bends", before.bends, after.bends),
            ("overbends", before.overbends, after.overbends),
            ("breath changes", before.breath_changes, after.breath_changes),
            ("impossible", before.impossible, after.impossible),
            ("points", before.cost, after.cost),
            ("hardest bar", _bar(old, before.hardest), _bar(new, after.hardest)),
        )
    ]
    return table(("", "before", "after"), rows)


def _bar(loaded: Loaded, number: int | None) -> str:
    """A bar by its number, with what stands in it."""
    if number is None:
        return "-"
    bar = next(played.bar for played in loaded.score.bars if played.number == number)
    line = MusicLine((bar._replace(before=None, after=None),), bar.span)
    return f"{number}: {write(Tune((line,))).strip()}"
