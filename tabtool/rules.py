"""Every rule there is, with a tab that trips it and one that does not.

A new rule needs its entry in `EXAMPLES`; checks are found by themselves, rules of reading
are listed in `RULES`.
"""

from __future__ import annotations

from typing import NamedTuple

from tabtool.checks import NOTE_CHECKS, PASSAGE_CHECKS
from tabtool.diagnostics import Diagnostic, Rule
from tabtool.header import TUNING_SUFFIX
from tabtool.headerlines import HEADER_PLACE, HEADER_VALUE
from tabtool.holes.headings import HARPS_JOINED, SYMBOL_LEFT
from tabtool.holes.retab import (
    BEYOND_PLAYER,
    MARK_LOST,
    NO_PITCH,
    NOT_ON_HARP,
    OCTAVE_MOVED,
    OTHER_STEP,
    Keep,
    Octaves,
    Request,
    retab,
)
from tabtool.lengths import BAR_LENGTH
from tabtool.load import SUFFIX, load
from tabtool.notation import UNREADABLE
from tabtool.parse import UNKNOWN_HEADER
from tabtool.player import parse_player
from tabtool.repeats import REPEAT
from tabtool.resolve import NOTHING_TO_HOLD
from tabtool.tunings import TUNING_FILE, TUNINGS, UNKNOWN_KEY, read_tuning
from tabtool.written import HARP_MISSING, LYRIC

MOVING = (  # what is told of a tune that is moved to another harp or key
    NOT_ON_HARP,
    BEYOND_PLAYER,
    NO_PITCH,
    MARK_LOST,
    OCTAVE_MOVED,
    OTHER_STEP,
    HARPS_JOINED,
    SYMBOL_LEFT,
)

RULES: dict[str, Rule] = {
    rule.name: rule
    for rule in (
        UNREADABLE,
        UNKNOWN_HEADER,
        HEADER_VALUE,
        HEADER_PLACE,
        UNKNOWN_KEY,
        HARP_MISSING,
        TUNING_FILE,
        BAR_LENGTH,
        NOTHING_TO_HOLD,
        REPEAT,
        LYRIC,
        *(check.rule for check in NOTE_CHECKS),
        *(check.rule for check in PASSAGE_CHECKS),
        *MOVING,
    )
}


class Example(NamedTuple):
    """A text that trips a rule and one that does not, for one `player` (see `parse_player`).

    Where the rule is of moving a tune, `move` is the move and `options` say it to the command.
    """

    trips: str
    passes: str
    player: str = ""
    suffix: str = SUFFIX
    move: Request | None = None
    options: str = ""


def _bars(trips: str, passes: str, header: str = "", player: str = "") -> Example:
    """Two lines of bars under the same header: on a C harp, unless the header names another."""
    head = "" if "harp:" in header else "harp: C\n"
    return Example(f"{head}{header}\n{trips}\n", f"{head}{header}\n{passes}\n", player)


def _moved(trips: str, passes: str, options: str, move: Request, player: str = "") -> Example:
    return Example(f"harp: C\n\n{trips}\n", f"harp: C\n\n{passes}\n", player, SUFFIX, move, options)


_TO_F = ("--harp F --keep sound", Request(Keep.SOUND, "F"))
_TO_D = ("--harp D --keep sound", Request(Keep.SOUND, "D"))
_ROWS = "blow: C4 E4 G4 C5 E5\ndraw: D4 G4 B4 D5 F#5\n"

EXAMPLES: dict[str, Example] = {
    "unreadable": _bars("| 4d 4^ 4v 4^ |", "| 4v 4^ 4v 4^ |"),
    "unknown-header": Example(
        "harp: C\ntemp: 96\n\n| 4v 4^ 4v 4^ |\n", "harp: C\ntempo: 96\n\n| 4v 4^ 4v 4^ |\n"
    ),
    "header-value": Example(
        "harp: C\ntempo: fast\n\n| 4v 4^ 4v 4^ |\n", "harp: C\ntempo: 160\n\n| 4v 4^ 4v 4^ |\n"
    ),
    "header-place": Example(
        "harp: C\n\n| 4v 4^ 4v 4^ |\ntempo: 160\n| 5v 5^ 5v 5^ |\n",
        "harp: C\n\n| 4v 4^ 4v 4^ |\n\n[quick]\ntempo: 160\n| 5v 5^ 5v 5^ |\n",
    ),
    "unknown-harp-key": Example(
        "harp: Gm\n\n| 2v 3v 4v 2v |\n", "harp: Gm\ntuning: natural minor\n\n| 2v 3v 4v 2v |\n"
    ),
    "harp-missing": Example("| 4v 4^ 4v 4^ |\n", "harp: C\n\n| 4v 4^ 4v 4^ |\n"),
    "tuning-file": Example(
        f"name: low fifths\nkey: H\n{_ROWS}",
        f"name: low fifths\nkey: C\n{_ROWS}",
        suffix=TUNING_SUFFIX,
    ),
    "bar-length": _bars("| 4v 4^ 4v 4^ | 5v 5^ 5v |", "| 4v 4^ 4v 4^ | 5v 5^ 5v - |"),
    "nothing-to-hold": _bars("| - 4^ 4v 4^ |", "| . 4^ 4v 4^ |"),
    "repeat": _bars("|: 4v 4^ 4v 4^ | 5v 5^ 5v 5^ |", "|: 4v 4^ 4v 4^ | 5v 5^ 5v 5^ :|"),
    "lyric": _bars(
        "| 4v 4^ 4v - |\nlyric: Ket- tle's on now", "| 4v 4^ 4v 4^ |\nlyric: Ket- tle's on now"
    ),
    "hole-not-on-harp": _bars("| 8^ 9^ 11^ 9^ |", "| 8^ 9^ 10^ 9^ |"),
    "no-such-bend": _bars("| 4v 4^1 4^ - |", "| 4v 4v1 4^ - |"),
    "only-a-sag": _bars("| 5v 5v1 4v - |", "| 5v 5^ 4v - |"),
    "bend-too-deep": _bars("| 3v 3v4 3^ - |", "| 3v 3v3 3^ - |"),
    "no-such-overbend": _bars("| 7^ 7^^ 6v - |", "| 7^ 6^ 6v - |"),
    "overbend": _bars("| 6v 6^^ 7^ - |", "| 6v 7v 7^ - |"),
    "bend-beyond-player": _bars("| 2v 2v2 2v - |", "| 2v 2v1 2v - |", player="bends 1"),
    "easier-elsewhere": _bars("| 4v 4^1 4v - |", "| 4v 3v 4v - |", "tuning: half-valved Richter\n"),
    "expressive-bend": _bars("| 4v 4^\\ 4v - |", "| 4^ 4v\\ 4^ - |"),
    "chord-reach": _bars("| 1+3+5^ - 4^ - |", "| 3+4+5^ - 4^ - |"),
    "tongue-split": _bars("| 1+4v - 4v - |", "| 3+4v - 4v - |"),
    "chord-bend": _bars("| 2v+3v1 - 3v1 - |", "| 2+3v - 3v1 - |"),
    "shake": _bars("| 3~6v - 4v - |", "| 3~4v - 4v - |"),
    "leap-too-quick": _bars("| 1v,9v 1v,9v 1v,9v 1v |", "| 1v,4v 1v,4v 1v,4v 1v |", "tempo: 160\n"),
    "change-too-quick": _bars(
        "| (2v,2v2),(2v,2v2) 2v - - |", "| 2v,2v2 2v,2v2 2v - |", "tempo: 160\n"
    ),
    "long-breath": _bars(
        "| 2v - 3v - | 4v - 3v - | 2v - 3v - | 2v - - - |",
        "| 2v - 3v - | 4v - 3v . | 2v - 3v - | 2v - - . |",
        "tempo: 60\n",
    ),
    "not-on-harp": _moved("| 1^ 4^ 4v 4^ |", "| 3^ 4^ 4v 4^ |", *_TO_F),
    "beyond-player": _moved("| 4v 5v 6v 4v |", "| 4v 5^ 6v 4v |", *_TO_D, "overbends no"),
    "no-pitch": _moved("| 4v 11v 4v 4v |", "| 4v 10v 4v 4v |", *_TO_D),
    "mark-lost": _moved("| /4v 6v 5^ - |", "| 4v~ 6v 5^ - |", *_TO_D),
    "octave-moved": _moved(
        "| 1^ 4^ 4v 4^ |",
        "| 3^ 4^ 4v 4^ |",
        "--harp F --keep sound --octaves note",
        Request(Keep.SOUND, "F", octaves=Octaves.NOTE),
    ),
    "other-step": _moved(
        "| 4v 5v 6v 4v |",
        "| 4v 5^ 6v 4v |",
        "--harp C --tuning country --keep holes",
        Request(Keep.HOLES, "C", TUNINGS["country"]),
    ),
    "harps-joined": _moved(
        "| 4v 4^ 4v 4^ |\n\n[other]\nharp: G\n| 6v 6^ 6v 6^ |",
        "| 4v 4^ 4v 4^ |\n\n[other]\n| 6v 6^ 6v 6^ |",
        *_TO_D,
    ),
    "symbol-left": _moved(
        '| "G of some kind"4v 4^ 4v 4^ |', '| "G7"4v 4^ 4v 4^ |', "--by 2", Request(semitones=2)
    ),
}


def judge(text: str, example: Example) -> tuple[Diagnostic, ...]:
    """What is found in a text of an example, by its player."""
    file = f"example{example.suffix}"
    player = parse_player(example.player)
    if example.suffix == TUNING_SUFFIX:
        return read_tuning(text, file)[1]
    if example.move is not None:
        return retab(load(text, file), text, example.move, player).findings
    return load(text, file, player=player).diagnostics
