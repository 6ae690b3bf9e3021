"""The known layouts, as data; keys and registers; a player's own tuning file.

To add a tuning, add one entry to `TUNINGS`; nothing else names it. Layouts are
written as the notes of the instrument whose root is C (``C4 E4 …``), which is how
published tables print them.
"""

from __future__ import annotations

import re

from tabtool.diagnostics import Diagnostic, Level, Rule, Span, nearest
from tabtool.harp import Harp, Layout, Valves
from tabtool.music import parse_pitch, pitch_class

VALVED_BEND_HALF = 2  # "a semitone at least", most players a whole tone (Richter-tuned harmonica)
VALVED_BEND_CHROMATIC = 1  # common practice, no source

UNKNOWN_KEY = Rule(
    "unknown-harp-key", Level.ERROR, "The harp's key is not a key harps are made in.", reads=True
)
TUNING_FILE = Rule(
    "tuning-file", Level.ERROR, "A tuning file is incomplete or has a wrong value.", reads=True
)

ALIASES = {  # other words of the trade for the same layout, lower case
    "standard": "Richter",
    "major": "Richter",
    "major 7": "major seventh",
    "major 7th": "major seventh",
    "maj7": "major seventh",
    "spiral": "circular",
    "solo 10": "solo",
    "chromatic": "chromatic 12",
}


def _layout(
    name: str, blow: str, draw: str, source: str, label: int = 0, minor: bool = False
) -> Layout:
    return Layout(name, _rising(blow), _rising(draw), label, minor, source=source)


def _rising(notes: str) -> tuple[int, ...]:
    """Semitones above C for note names that rise from hole to hole: ``C E G C`` is 0 4 7 12."""
    row: list[int] = []
    for note in notes.split():  # a note may stand twice in a row: solo tuning doubles its C
        semitones = pitch_class(note)
        while row and semitones < row[-1]:
            semitones += 12
        row.append(semitones)
    return tuple(row)


def _chromatic(name: str, holes: int, below: int, top_draw: int) -> Layout:
    """Solo tuning with a slide that raises every reed a semitone; the topmost draw may differ."""
    blow = tuple(12 * (i // 4) + (0, 4, 7, 12)[i % 4] - below for i in range(holes))
    draw = tuple(12 * (i // 4) + (2, 5, 9, 11)[i % 4] - below for i in range(holes))
    slid = tuple(note + 1 for note in draw)
    return Layout(
        name,
        blow,
        draw,
        slide_blow=tuple(note + 1 for note in blow),
        slide_draw=(*slid[:-1], draw[-1] + top_draw),
        valves=Valves.FULL,
        valved_bend=VALVED_BEND_CHROMATIC,
        source="Solo tuning and Chromatic harmonica (general encyclopaedia)",
    )


_ENCYCLOPAEDIA = "Richter tuning (general encyclopaedia)"

TUNINGS: dict[str, Layout] = {
    layout.name: layout
    for layout in (
        _layout("Richter", "C E G C E G C E G C", "D G B D F A B D F A", "OEIS A291810"),
        _layout("country", "C E G C E G C E G C", "D G B D F# A B D F A", _ENCYCLOPAEDIA),
        _layout("major seventh", "C E G C E G C E G C", "D G B D F# A B D F# A", _ENCYCLOPAEDIA),
        _layout("melody", "C E A C E G C E G C", "D G B D F# A B D F# A", _ENCYCLOPAEDIA, label=7),
        _layout("Paddy Richter", "C E A C E G C E G C", "D G B D F A B D F A", "Harp-L 1999-06-23"),
        _layout(
            "natural minor",
            "C Eb G C Eb G C Eb G C",
            "D G Bb D F A Bb D F A",
            _ENCYCLOPAEDIA,
            label=7,
            minor=True,
        ),
        _layout(
            "harmonic minor",
            "C Eb G C Eb G C Eb G C",
            "D G B D F Ab B D F Ab",
            _ENCYCLOPAEDIA,
            minor=True,
        ),
        _layout(
            "diminished",
            "C Eb F# A C Eb F# A C Eb",
            "D F G# B D F G# B D F",
            "a published description: each draw reed a whole tone above the blow reed",
        ),
        # Printed for the G instrument: G B D F A C E G B D / A C E G B D F A C E.
        _layout(
            "circular", "C E G Bb D F A C E G", "D F A C E G Bb D F A", "Circular Tuned Harmonicas"
        ),
        _layout(
            "augmented", "C E G# C E G# C E G# C", "D F# Bb D F# Bb D F# Bb D", "Harp-L 1996-08-30"
        ),
        _layout(
            "solo", "C E G C C E G C C E", "D F A B D F A B D F", "Solo tuning (encyclopaedia)"
        ),
        _chromatic("chromatic 12", 12, below=0, top_draw=1),
        _chromatic("chromatic 12 top D", 12, below=0, top_draw=3),
        _chromatic("chromatic 16", 16, below=12, top_draw=1),
    )
}

# Hole 1 blow of the standard keys, G lowest to F# highest (Richter-tuned harmonica,
# general encyclopaedia: G to B start below middle C, Db to F# above).
LOWEST_ROOT = 55
STANDARD_KEYS = ("G", "Ab", "A", "Bb", "B", "C", "Db", "D", "Eb", "E", "F", "F#")
REGISTERS = {"low low": -24, "low": -12, "": 0, "high": 12}
_KEY = re.compile(r"(?:(low low|low|high)\s+)?([a-g])([#b♯♭]?)\s*(m|min|minor)?", re.IGNORECASE)


def find_tuning(name: str) -> Layout | None:
    """The layout of that name, case aside; ``half-valved NAME`` is NAME with half valves."""
    wanted = " ".join(name.lower().split())
    if wanted.startswith("half-valved"):
        plain = find_tuning(wanted.removeprefix("half-valved").strip() or "Richter")
        if plain is None or plain.valves is not Valves.NONE:
            return None
        return plain._replace(
            name=f"half-valved {plain.name}", valves=Valves.HALF, valved_bend=VALVED_BEND_HALF
        )
    wanted = ALIASES.get(wanted, wanted).lower()
    return next((layout for layout in TUNINGS.values() if layout.name.lower() == wanted), None)


def near_tuning(name: str) -> str:
    """What to write instead of an unknown tuning."""
    near = nearest(name, (*TUNINGS, *ALIASES))
    listed = ", ".join(TUNINGS)
    return (f"write {ALIASES.get(near, near)}; " if near else "") + (
        f"known tunings: {listed}; half-valved before the name; or the path of a tuning file"
    )


def make_harp(key: str, layout: Layout = TUNINGS["Richter"]) -> Harp | None:
    """The harp sold as `key` (``Bb``, ``low F``, ``high G``, ``Gm``); None if there is no such key.

    Case does not matter. The register moves the root by octaves from the standard
    set, whose roots run from G3 to F#4; where a layout is labelled by another key
    than its root's, the root is found below the label.
    """
    found = _KEY.fullmatch(" ".join(key.split()))
    if not found:
        return None
    register, letter, accidental = (found[1] or "").lower(), found[2].upper(), found[3] or ""
    accidental = accidental.lower().replace("♯", "#").replace("♭", "b")
    if found[4] and not layout.minor:
        return None
    pc = (pitch_class(letter + accidental) - layout.label) % 12
    root = LOWEST_ROOT + (pc - LOWEST_ROOT) % 12 + REGISTERS[register]
    suffix = "m" if layout.minor else ""
    return Harp(layout, root, f"{register} {letter}{accidental}{suffix}".strip())


def harp_at(root: int, layout: Layout = TUNINGS["Richter"]) -> Harp | None:
    """The harp of a layout whose root is that MIDI number, None if none is named so low or high.

    >>> harp_at(57).key, harp_at(53).key
    ('A', 'low F')
    """
    pc = (root + layout.label) % 12
    key = next(key for key in STANDARD_KEYS if pitch_class(key) == pc)
    for register in ("", "low", "high", "low low"):
        harp = make_harp(f"{register} {key}{'m' if layout.minor else ''}", layout)
        if harp is not None and harp.root == root:
            return harp
    return None


HARP_KEY_HELP = "write a key such as C, Bb or F#, with low or high before it for another register"

_ROWS = ("blow", "draw", "slide blow", "slide draw")
_FIELDS = ("name", "key", "sold as", "valves", "valved bend", *_ROWS)


def read_tuning(text: str, file: str) -> tuple[Layout | None, tuple[Diagnostic, ...]]:
    """A player's own tuning: ``name: value`` lines; None with diagnostics if it will not do.

    ``key`` is the root, ``blow`` and ``draw`` list one note a hole (``C4 E4 G4 …``),
    ``slide blow`` and ``slide draw`` the notes with the slide in. ``sold as`` is the
    key on the cover if it is not the root, ``valves`` none, half or full, ``valved
    bend`` the semitones a valved reed bends alone. ``#`` starts a comment.
    """
    problems: list[Diagnostic] = []
    values: dict[str, tuple[str, Span]] = {}
    number = 0
    for number, line in enumerate(text.splitlines(), start=1):
        content = re.split(r"(?:^|\s)#(?:\s|$)", line, maxsplit=1)[0].rstrip()
        if not content.strip():
            continue
        name, colon, value = content.partition(":")
        column = len(name) - len(name.lstrip()) + 1
        span = Span(file, number, column, max(len(content), column) + 1)
        name = " ".join(name.lower().split())
        if not colon or name not in _FIELDS:
            near = nearest(name, _FIELDS)
            instead = f"write {near}: …; " if near else ""
            problems.append(
                TUNING_FILE.at(
                    span,
                    f"'{name}' is not a line of a tuning file",
                    f"{instead}a tuning file has {', '.join(_FIELDS)}",
                )
            )
        elif name in values:
            problems.append(
                TUNING_FILE.at(
                    span,
                    f"'{name}' stands here a second time",
                    f"keep one; the first is in line {values[name][1].line}",
                )
            )
        else:
            start = len(line.partition(":")[0]) + 2 + len(value) - len(value.lstrip()) - 1
            values[name] = value.strip(), Span(file, number, start + 1, len(content) + 1)
    end = Span(file, max(number, 1), 1, 2)

    def fail(name: str, message: str, help: str) -> None:
        problems.append(TUNING_FILE.at(values[name][1] if name in values else end, message, help))

    for name in ("name", "key", "blow", "draw"):
        if name not in values:
            fail(name, f"the tuning file has no '{name}' line", f"add a line {name}: …")
    key = values.get("key", ("C", end))[0]
    home = make_harp(key)
    if home is None:
        fail("key", f"'{key}' is no key", HARP_KEY_HELP)
    rows = {name: _read_row(name, *values[name], problems) for name in _ROWS if name in values}
    holes = {name: len(row) for name, row in rows.items() if row}
    if len(set(holes.values())) > 1:
        counts = ", ".join(f"{name} has {count}" for name, count in holes.items())
        fail("draw", f"every row needs one note a hole, but {counts}", "make the rows equally long")
    if ("slide blow" in rows) != ("slide draw" in rows):
        fail(
            "slide blow",
            "only one row of slide notes",
            "give both slide blow and slide draw, or neither",
        )
    valves = values.get("valves", ("none", end))[0].lower()
    if valves not in tuple(Valves):
        fail("valves", f"'{valves}' says nothing of valves", "write none, half or full")
    bend = values.get("valved bend", (str(VALVED_BEND_CHROMATIC), end))[0]
    if not (bend.isdecimal() and int(bend) <= 12):
        fail("valved bend", f"'{bend}' is no number of semitones", "write a whole number such as 1")
    label = make_harp(values["sold as"][0].removesuffix("m")) if "sold as" in values else home
    if label is None:
        fail(
            "sold as", f"'{values['sold as'][0]}' is no key", HARP_KEY_HELP
        ) if "sold as" in values else None
    if problems or home is None or label is None:
        return None, tuple(problems)
    row = {name: tuple(note - home.root for note in notes) for name, notes in rows.items()}
    minor = "sold as" in values and values["sold as"][0].endswith("m")
    layout = Layout(
        values["name"][0],
        row["blow"],
        row["draw"],
        label=(label.root - home.root) % 12,
        minor=minor,
        slide_blow=row.get("slide blow"),
        slide_draw=row.get("slide draw"),
        valves=Valves(valves),
        valved_bend=int(bend) if valves != Valves.NONE else 0,
        source=file,
    )
    return layout, ()


def _read_row(name: str, value: str, span: Span, problems: list[Diagnostic]) -> tuple[int, ...]:
    row = []
    column = span.column
    for piece in re.split(r"(\s+)", value):
        if piece.strip():
            pitch = parse_pitch(piece)
            if pitch is None or pitch[1] is None:
                where = Span(span.file, span.line, column, column + len(piece))
                problems.append(
                    TUNING_FILE.at(
                        where,
                        f"'{piece}' in the {name} row is no note with an octave",
                        "write notes such as C4, Eb4 or F#5; C4 is middle C",
                    )
                )
            else:
                row.append(pitch[1])
        column += len(piece)
    return tuple(row)
