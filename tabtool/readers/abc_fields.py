"""The fields of an ABC tune, their values in our terms. Clauses are those of ABC 2.1."""

from __future__ import annotations

import re
from fractions import Fraction

from tabtool.music import MODES, Key, Meter, parse_meter

MOST_SECTIONS = 500


def field(head: str, letter: str) -> str:
    """The first value of a field in the head."""
    found = re.search(rf"^{letter}:\s*(.*?)\s*(%.*)?$", head, re.MULTILINE)
    return found[1] if found else ""


def read_meter(value: str) -> Meter | None:
    """``6/8``, ``C`` or ``C|``; None for no meter at all."""
    return parse_meter({"C": "4/4", "C|": "2/2", "c": "4/4", "c|": "2/2"}.get(value, value))


def read_key(value: str) -> Key | None:
    """``Bb``, ``Am``, ``D mix``; None where it is no key we know."""
    found = re.match(r"([A-G][#b]?)\s*([A-Za-z]*)(=?)", value)
    if not found:
        return None
    mode = "" if found[3] else found[2][:3].lower()  # clef=bass is no mode
    for name in MODES:
        if len(mode) == 3 and name.startswith(mode):
            return Key(found[1], name)
    if mode in ("m", "aeo"):
        return Key(found[1], "minor")
    return Key(found[1]) if mode in ("", "ion") else None


def read_tempo(value: str) -> Fraction | None:
    """Quarter notes a minute from ``1/4=96``, ``3/8=60`` or ``96`` (3.1.8)."""
    found = re.search(r"(?:(\d+)/(\d+)\s*=\s*)?(\d+(?:\.\d+)?)", re.sub(r'"[^"]*"', "", value))
    if not found or not int(found[2] or 4) or not Fraction(found[3]):
        return None
    return Fraction(int(found[1] or 1), int(found[2] or 4)) * 4 * Fraction(found[3])


def order_of(value: str) -> tuple[str, ...]:
    """The sections of ``P:A(BC)2.D`` one by one (3.1.9); none where it is no such order."""
    text = re.sub(r"[\s.]", "", value)
    while found := re.search(r"\(([A-Z]+)\)(\d{0,2})|([A-Z])(\d{1,2})", text):
        if len(text) > MOST_SECTIONS:
            return ()
        again = (found[1] or found[3]) * int(found[2] or found[4] or 1)
        text = text[: found.start()] + again + text[found.end() :]
    return tuple(text) if re.fullmatch(r"[A-Z]+", text) and len(text) <= MOST_SECTIONS else ()
