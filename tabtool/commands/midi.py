"""Write a tune as a MIDI file, bends and expressive marks sounding as written."""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands.practising import add_arguments, piece_of, put_out
from tabtool.writers.mid import write


def configure(parser: argparse.ArgumentParser) -> None:
    add_arguments(parser)


def run(args: argparse.Namespace) -> int:
    piece = piece_of(args)
    data = write(piece.score, piece.taps, piece.strums)
    put_out(args, piece, data, piece.score.seconds)
    return OK
