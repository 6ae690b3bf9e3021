"""Write a tune as sound: .wav, .flac or .ogg, by the built-in reed voice or through a sound font.

Mind your ears: start low, above all with headphones.
"""

from __future__ import annotations

import argparse
import os

from tabtool.cli import OK
from tabtool.commands import common, practising
from tabtool.diagnostics import TabError
from tabtool.practice import arranged, clicks, comping


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_out(parser, required=True)
    parser.add_argument(
        "--font", default="", metavar="FILE", help="a General MIDI sound font, .sf2 or .sf3"
    )
    common.add_harp(parser)
    common.add_temperament(parser)
    practising.add_options(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    practice = practising.asked(args)
    suffix = ".wav" if args.out == "-" else os.path.splitext(args.out)[1].lower()
    try:
        from tabtool.sound import audio
    except ImportError as error:
        raise TabError(f"audio needs {error.name}: pip install 'tabtool[audio]'") from None
    if suffix not in audio.FORMATS:  # said before the work, not after
        raise TabError(f"{args.out}: end it in {', '.join(audio.FORMATS)} to say what to write")
    loaded = common.load_readable(args)
    if not loaded.score.events:
        raise TabError(f"{loaded.tune.file}: no notes to play")
    score = arranged(loaded.score, practice)
    if score.seconds > audio.LONGEST_S:
        raise TabError(
            f"{loaded.tune.file}: this would be more than an hour of sound; loop less often, "
            "or choose a --section"
        )
    taps = clicks(score, practice.click)
    strums = comping(score) if practice.chords else ()
    told: dict[str, object] = {}
    if args.font:
        font = audio.open_font(args.font, score, bool(strums), bool(taps))
        if abs(font.worst) >= audio.WARN_CENTS:
            common.warn(
                f"{args.font}: its harmonica is up to {abs(font.worst):.1f} cents "
                f"{'flat' if font.worst < 0 else 'sharp'}"
            )
        take, rate = audio.by_font(score, font, taps, strums)
        told = {"font": args.font, "font_cents": round(font.worst, 2)}
    else:
        take, rate = audio.by_voice(score, taps, strums), audio.RATE
    common.write_out(args.out, audio.encoded(take, rate, suffix))
    impossible = practising.warn_impossible(loaded.score)
    if practice.chords:
        practising.warn_symbols(loaded.score)
    if args.json:
        common.print_json(
            {
                "out": args.out,
                "notes": len(score.events),
                "seconds": round(len(take) / rate, 6),
                "rate": rate,
                "impossible": impossible,
                **told,
            }
        )
    return OK
