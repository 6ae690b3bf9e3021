"""What several commands share: their arguments, reading their input, printing JSON."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator

from tabtool.diagnostics import TabError
from tabtool.files import decode, read_text, write_file
from tabtool.harp import Harp, Layout
from tabtool.header import TUNING_SUFFIX, Wrong, find_temperament, load_tuning
from tabtool.load import SUFFIX, Loaded, load
from tabtool.player import Player, load_player
from tabtool.report import as_text, many
from tabtool.temperament import NAMES, Temperament, reference_pitch
from tabtool.tunings import HARP_KEY_HELP, TUNINGS, make_harp
from tabtool.written import HARP_MISSING

STDIN = "standard input"


def add_json(parser: argparse.ArgumentParser) -> None:
    """Declare ``--json``."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")


def add_harp(parser: argparse.ArgumentParser) -> None:
    """Declare ``--harp`` and ``--tuning``."""
    parser.add_argument(
        "--harp", default="", metavar="KEY", help="play it on this harp: C, Bb, low F …"
    )
    add_tuning(parser)


def add_tuning(parser: argparse.ArgumentParser) -> None:
    """Declare ``--tuning``."""
    parser.add_argument(
        "--tuning",
        default="",
        metavar="NAME",
        help="a tuning by name, or the path of a tuning file",
    )


def add_temperament(parser: argparse.ArgumentParser) -> None:
    """Declare ``--temperament`` and ``--pitch``."""
    parser.add_argument(
        "--temperament",
        default="",
        metavar="NAME",
        help=f"how the harp is tuned: {', '.join(NAMES)}, or the path of a Scala .scl file",
    )
    parser.add_argument(
        "--pitch", default="", metavar="HZ", help="reference pitch A4, 430 to 450 (440 if absent)"
    )


def add_player(parser: argparse.ArgumentParser) -> None:
    """Declare ``--player``."""
    parser.add_argument(
        "--player",
        default="",
        metavar="ABILITIES",
        help="what the player can do: 'bends 2, overbends no, tongue blocking yes, "
        "fastest change 0.15', or a file that says so",
    )


def add_out(parser: argparse.ArgumentParser, required: bool = False) -> None:
    """Declare ``-o``."""
    parser.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        required=required,
        help="the file to write (- for standard output)",
    )


def tuning_of(args: argparse.Namespace) -> Layout | None:
    """The layout of ``--tuning``, None if it was not given."""
    if not args.tuning:
        return None
    try:
        return load_tuning(args.tuning)
    except Wrong as wrong:
        raise TabError(f"{wrong.message}; {wrong.help}") from None


def own_tuning(args: argparse.Namespace, folder: str) -> str:
    """What the header of a tune in that folder calls the tuning file of ``--tuning``; empty if
    none was given."""
    is_file = args.tuning.lower().endswith(TUNING_SUFFIX)
    return seen_from(folder, args.tuning) if is_file else ""


def seen_from(folder: str, path: str) -> str:
    """A path as a tune in that folder has to name it."""
    return os.path.relpath(os.path.expanduser(path), folder or ".")


def temperament_of(args: argparse.Namespace) -> Temperament | None:
    """The temperament of ``--temperament``, None if it was not given."""
    name = getattr(args, "temperament", "")
    return find_temperament(name) if name else None


def pitch_of(args: argparse.Namespace) -> float | None:
    """A4 of ``--pitch`` in Hz, None if it was not given."""
    text = getattr(args, "pitch", "")
    return reference_pitch(text) if text else None


def harp_of(key: str, tuning: Layout | None) -> Harp:
    """The harp of that key; `TabError` if there is none."""
    layout = tuning or TUNINGS["Richter"]
    harp = make_harp(key, layout)
    if harp is None:
        raise TabError(f"there is no {layout.name} harp in '{key}'; {HARP_KEY_HELP}")
    return harp


def player_of(args: argparse.Namespace) -> Player:
    """The player of ``--player``, nothing known of them if it was not given."""
    return load_player(args.player) if args.player else Player()


def read_source(path: str) -> tuple[str, str]:
    """The text of a path and the name to call it by; ``-`` is standard input."""
    if path == "-":
        return decode(sys.stdin.buffer.read(), STDIN), STDIN
    if os.path.isdir(path):
        raise TabError(f"{path}: a folder, where one tune is wanted")
    return read_text(path), path


def load_one(args: argparse.Namespace, path: str | None = None) -> tuple[Loaded, str]:
    """The tune of ``FILE`` with ``--harp``, ``--tuning`` and ``--player`` where given; its text."""
    text, name = read_source(path or args.file)
    harp = getattr(args, "harp", "")
    tuning = tuning_of(args) if hasattr(args, "tuning") else None
    if harp:
        harp_of(harp, tuning or (TUNINGS["natural minor"] if harp.endswith("m") else None))
    player = player_of(args) if hasattr(args, "player") else Player()
    folder = "" if path == "-" or name == STDIN else os.path.dirname(name)
    loaded = load(
        text,
        name,
        folder=folder,
        harp=harp,
        tuning=tuning,
        temperament=temperament_of(args),
        a4=pitch_of(args),
        player=player,
    )
    return loaded, text


def load_readable(args: argparse.Namespace) -> Loaded:
    """The tune of ``FILE``; `TabError` with every reading error if it is not all understood."""
    loaded, text = load_one(args)
    if not loaded.readable:
        faults = [d for d in loaded.diagnostics if d.rule.reads]
        print(as_text(faults, text), file=sys.stderr)
        raise TabError(
            f"{loaded.tune.file}: {many(len(faults), 'place')} not understood; see above"
        )
    return loaded


def add_from(parser: argparse.ArgumentParser) -> None:
    """Declare ``--from``, where ``--harp`` would name another one."""
    parser.add_argument(
        "--from", dest="old_harp", default="", metavar="KEY", help="the harp of a tune naming none"
    )


def load_on_its_harp(path: str, old_harp: str = "") -> tuple[Loaded, str]:
    """A tune on the harp it names, or on `old_harp` if it names none; its text.

    `TabError` with every reading error if it is not all understood.
    """
    text, name = read_source(path)
    folder = "" if path == "-" else None
    loaded = load(text, name, folder=folder)
    named = all(stretch.setting.harp for stretch in loaded.score.stretches)
    if old_harp:
        if named:
            raise TabError(f"{name}: the tune names its own harp, so --from says nothing")
        if any(stretch.setting.harp for stretch in loaded.score.stretches):
            raise TabError(
                f"{name}: the tune names harps for some of its sections; write harp: {old_harp} at "
                "its top in place of --from"
            )
        harp_of(old_harp, None)
        loaded = load(text, name, folder=folder, harp=old_harp)
    faults = [d for d in loaded.diagnostics if d.rule.reads and d.rule is not HARP_MISSING]
    if faults:
        print(as_text(faults, text), file=sys.stderr)
        raise TabError(f"{name}: {many(len(faults), 'place')} not understood; see above")
    if not named and not old_harp:
        raise TabError(
            f"{name}: the tune does not say which harp it is for; write harp: C (or its key) at "
            "its top, or say it with --from"
        )
    return loaded, text


def warn(text: str) -> None:
    """A line to standard error that ends nothing."""
    print(f"tabtool: {text}", file=sys.stderr)


def tunes_in(paths: list[str]) -> Iterator[str]:
    """Files as they are, folders as the tunes within them, in order of name."""
    for path in paths:
        if not os.path.isdir(path):
            yield path
            continue
        found = sorted(
            os.path.join(folder, name)
            for folder, _, names in os.walk(path)
            for name in names
            if name.endswith(SUFFIX)
        )
        if not found:
            raise TabError(f"{path}: no {SUFFIX} file in this folder")
        yield from found


def print_json(value: object) -> None:
    """Print a value as JSON, names as they are spelled."""
    import json

    print(json.dumps(value, ensure_ascii=False, indent=2))


def write_out(out: str, data: bytes) -> None:
    """Write to a file, whole or not at all, or to standard output for ``-``."""
    if out == "-":
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    else:
        write_file(out, data)
