"""Write a tune as sound: .wav, .flac or .ogg, by the built-in reed voice or through a sound font.

Mind your ears: start low, above all with headphones.
"""

from __future__ import annotations

import argparse
import os

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.commands.practising import add_arguments, piece_of, put_out
from tabtool.diagnostics import TabError


def configure(parser: argparse.ArgumentParser) -> None:
    add_arguments(parser)
    parser.add_argument(
        "--font", default="", metavar="FILE", help="a General MIDI sound font, .sf2 or .sf3"
    )


def run(args: argparse.Namespace) -> int:
    suffix = ".wav" if args.out == "-" else os.path.splitext(args.out)[1].lower()
    try:
        from tabtool.sound import audio
    except ImportError as error:
        raise TabError(f"audio needs {error.name}: pip install 'tabtool[audio]'") from None
    if suffix not in audio.FORMATS:  # said before the work, not after
        raise TabError(f"{args.out}: end it in {', '.join(audio.FORMATS)} to say what to write")
    piece = piece_of(args)
    if piece.score.seconds > audio.LONGEST_S:
        raise TabError(
            f"{piece.loaded.tune.file}: this would be more than an hour of sound; loop less often, "
            "or choose a --section"
        )
    told: dict[str, object] = {}
    if args.font:
        font = audio.open_font(args.font, piece.score, bool(piece.strums), bool(piece.taps))
        if abs(font.worst) >= audio.WARN_CENTS:
            common.warn(
                f"{args.font}: its harmonica is up to {abs(font.worst):.1f} cents "
                f"{'flat' if font.worst < 0 else 'sharp'}"
            )
        take, rate = audio.by_font(piece.score, font, piece.taps, piece.strums)
        told = {"font": args.font, "font_cents": round(font.worst, 2)}
    else:
        take, rate = audio.by_voice(piece.score, piece.taps, piece.strums), audio.RATE
    data = audio.encoded(take, rate, suffix)
    put_out(args, piece, data, len(take) / rate, rate=rate, **told)
    return OK
