"""Header lines: which there are, what each may say, and the setting they add up to.

To add a header, add one entry to `FIELDS` and, if it bears on how notes sound or are
judged, one field to `Setting`.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple

from tabtool.diagnostics import TabError, nearest
from tabtool.files import read_text
from tabtool.harp import Harp, Layout
from tabtool.music import FREE, MODES, Key, Meter, parse_key, parse_meter, spell
from tabtool.temperament import EQUAL, Temperament, TemperamentError, named, reference_pitch
from tabtool.tune import HeaderLine
from tabtool.tunings import (
    HARP_KEY_HELP,
    TUNINGS,
    find_tuning,
    make_harp,
    near_tuning,
    read_tuning,
)

TUNING_SUFFIX = ".harptuning"
SCALA_SUFFIX = ".scl"
DEFAULT_TEMPO = Fraction(120)  # what MIDI files assume where none is given (SMF 1.1)


class Wrong(Exception):
    """A header value that will not do: what is wrong, and what to write instead."""

    def __init__(self, message: str, help: str) -> None:
        super().__init__(message)
        self.message, self.help = message, help


class Field(NamedTuple):
    """One header: `read` turns its text into canonical text and meaning, or raises `Wrong`.

    `sectional` headers may also follow a ``[section]`` line; the rest stand at the top.
    A value that ends in `suffix` is the path of a file to be read.
    """

    read: Callable[[str, str], tuple[str, object]]
    sectional: bool
    example: str
    suffix: str = ""


class Setting(NamedTuple):
    """What holds for a stretch of music.

    `tempo` is in beats a minute; `swing` is the share of a beat that its first half
    takes (1/2 straight, 2/3 shuffle); `a4` is in Hz. `harp` is None until one is named.
    """

    harp: Harp | None = None
    key: Key | None = None
    tempo: Fraction = DEFAULT_TEMPO
    meter: Meter = Meter("4/4", 4, Fraction(1))
    feel: str = "straight"
    swing: Fraction = Fraction(1, 2)
    a4: float = 440.0
    harp_key: str = ""
    tuning: Layout = TUNINGS["Richter"]
    temperament: Temperament = EQUAL

    def after(self, line: HeaderLine) -> Setting:
        """The setting once `line` has been read."""
        name, parsed = line.name, line.parsed
        if parsed is None:  # the value could not be read, and parse has told of it
            return self._replace(meter=FREE) if name == "meter" else self
        if name == "feel":
            assert isinstance(parsed, Fraction)
            return self._replace(feel=line.value, swing=parsed)
        if name == "pitch":
            assert isinstance(parsed, float)
            return self._replace(a4=parsed)
        if name == "temperament":
            assert isinstance(parsed, Temperament)
            return self._replace(temperament=parsed)
        if name == "key":
            assert isinstance(parsed, Key)
            return self._replace(key=parsed)
        if name == "tempo":
            assert isinstance(parsed, Fraction)
            return self._replace(tempo=parsed)
        if name == "meter":
            assert isinstance(parsed, Meter)
            return self._replace(meter=parsed)
        if name == "harp":
            return self.on(line.value, self.tuning)
        if name == "tuning":
            assert isinstance(parsed, Layout)
            return self.on(self.harp_key, parsed)
        return self

    def on(self, harp_key: str, tuning: Layout) -> Setting:
        """The same music on another harp; `harp` is None if no such harp is sold."""
        harp = make_harp(harp_key, tuning) if harp_key else None
        return self._replace(harp_key=harp_key, tuning=tuning, harp=harp)

    def hz(self, pitch: float) -> float:
        """The frequency in Hz of a pitch as this harp is tuned."""
        return self.temperament.hz(pitch, self.tonic, self.a4)

    def cents(self, pitch: float) -> float:
        """How far this harp is tuned from equal temperament at that pitch, in cents."""
        return self.temperament.cents(pitch, self.tonic)

    @property
    def tonic(self) -> int:
        """The MIDI number a just harp is referred to: the root of its layout."""
        return 60 if self.harp is None else self.harp.root

    def name(self, pitch: float) -> str:
        """A pitch as the tune's key spells it, or the harp's own where no key is given."""
        assert self.harp is not None or self.key is not None
        if self.key is None:
            assert self.harp is not None
            return self.harp.named(pitch)
        return spell(pitch, self.key)


def load_tuning(name: str, folder: str = "") -> Layout:
    """A known tuning by name, or a player's own by path; `Wrong` if there is none such."""
    if not name.lower().endswith(TUNING_SUFFIX):
        layout = find_tuning(name)
        if layout is None:
            raise Wrong(f"no tuning is called '{name}'", near_tuning(name))
        return layout
    path = os.path.join(folder, os.path.expanduser(name))
    try:
        text = read_text(path)
    except TabError as error:
        raise Wrong(str(error), "check the path; it is taken from the tune's own folder") from None
    own, problems = read_tuning(text, path)
    if own is None:
        first = problems[0]
        where = f"{path}:{first.span.line}:{first.span.column}"
        raise Wrong(f"the tuning file will not do: {where}: {first.message}", first.help)
    return own


def find_temperament(text: str, folder: str = "") -> Temperament:
    """A temperament by name, or a player's own by the path of a Scala file, taken from `folder`
    (that of the tab); `TabError` if there is none such."""
    if not text.strip().lower().endswith(SCALA_SUFFIX):
        return named(text)
    from tabtool.scala import read_scala  # few tunes name one

    return read_scala(os.path.join(folder, os.path.expanduser(text.strip())))


def _text(value: str, folder: str) -> tuple[str, object]:
    return value, value


def _harp(value: str, folder: str) -> tuple[str, object]:
    either = make_harp(value) or make_harp(value, TUNINGS["natural minor"])
    if either is None:
        raise Wrong(f"'{value}' is no key of harp", HARP_KEY_HELP)
    return either.key, either.key


def _tuning(value: str, folder: str) -> tuple[str, object]:
    layout = load_tuning(value, folder)
    return value if value.lower().endswith(TUNING_SUFFIX) else layout.name, layout


def _key(value: str, folder: str) -> tuple[str, object]:
    key = parse_key(value)
    if key is None:
        near = nearest(value.split()[-1], MODES) if len(value.split()) > 1 else None
        instead = f"write {value.split()[0].capitalize()} {near}; " if near else ""
        raise Wrong(
            f"'{value}' is no key of a tune",
            f"{instead}a key is a tonic and, unless it is major, a mode, such as E or A minor; "
            f"modes are {', '.join(MODES)}",
        )
    return str(key), key


def _tempo(value: str, folder: str) -> tuple[str, object]:
    if not re.fullmatch(r"\d{1,3}(\.\d{1,3})?", value) or not 10 <= float(value) <= 400:
        raise Wrong(
            f"'{value}' is no tempo",
            "write beats a minute, from 10 to 400, such as tempo: 96",
        )
    return value, Fraction(value)


def _meter(value: str, folder: str) -> tuple[str, object]:
    meter = parse_meter(value)
    if meter is None:
        raise Wrong(f"'{value}' is no meter", "write two numbers such as 4/4 or 6/8, or free")
    return meter.text, meter


def _feel(value: str, folder: str) -> tuple[str, object]:
    wanted = value.lower()
    if wanted in ("straight", "shuffle"):
        return wanted, Fraction(1, 2) if wanted == "straight" else Fraction(2, 3)
    found = re.fullmatch(r"swing\s+(\d{1,3})\s*:\s*(\d{1,3})", wanted)
    if found:
        long, short = int(found[1]), int(found[2])
        if 0 < short <= long <= 9 * short:
            return f"swing {long}:{short}", Fraction(long, long + short)
    near = nearest(wanted, ("straight", "shuffle"))
    raise Wrong(
        f"'{value}' is no feel",
        (f"write {near}; " if near else "")
        + "a feel is straight, shuffle (2:1), or swing with the long "
        "part first, such as swing 3:2",
    )


def _pitch(value: str, folder: str) -> tuple[str, object]:
    try:
        a4 = reference_pitch(value)
    except TemperamentError:
        raise Wrong(
            f"'{value}' is no reference pitch", "write A4 in Hz, 430 to 450, such as pitch: 442"
        ) from None
    return f"{a4:g}", a4


def _temperament(value: str, folder: str) -> tuple[str, object]:
    try:
        found = find_temperament(value, folder)
    except TabError as error:
        raise Wrong(str(error), "such as temperament: 7-limit") from None
    return value if value.lower().endswith(SCALA_SUFFIX) else found.name, found


FIELDS: dict[str, Field] = {
    "title": Field(_text, False, "title: Kettle on the Boil"),
    "composer": Field(_text, False, "composer: trad."),
    "harp": Field(_harp, True, "harp: low F"),
    "tuning": Field(_tuning, True, "tuning: Paddy Richter", TUNING_SUFFIX),
    "key": Field(_key, True, "key: A minor"),
    "tempo": Field(_tempo, True, "tempo: 96"),
    "meter": Field(_meter, True, "meter: 6/8"),
    "feel": Field(_feel, True, "feel: swing 3:2"),
    "pitch": Field(_pitch, False, "pitch: 442"),
    "temperament": Field(_temperament, True, "temperament: 19-limit", SCALA_SUFFIX),
}
