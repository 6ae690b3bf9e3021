"""The instrument against published layouts and counts.

Sources are named beside each fact; "common practice, no source" and "from memory" where
there is none.
"""

from __future__ import annotations

import math

import pytest

from tabtool.harp import Breath, Harp, Technique, Tone, position
from tabtool.music import hz, parse_key, spell
from tabtool.tunings import STANDARD_KEYS, TUNINGS, find_tuning, make_harp, read_tuning

# OEIS A291810, "Diatonic harmonica standard Richter tone layout": semitones above the root,
# 1 blow, 1 draw, 2 blow, 2 draw ... 10 blow, 10 draw.
A291810 = [0, 2, 4, 7, 7, 11, 12, 14, 16, 17, 19, 21, 24, 23, 28, 26, 31, 29, 36, 33]

# OEIS A214832: floor(440 * 2^((n-49)/12)), n = 1..88, the part from A3 (n=37) to A5 (n=61).
A214832_FROM_A3 = [
    220, 233, 246, 261, 277, 293, 311, 329, 349, 369, 391, 415, 440, 466, 493,
    523, 554, 587, 622, 659, 698, 739, 783, 830, 880,
]  # fmt: skip

# OEIS A329207 and its neighbours: decimal expansions of equal-tempered frequencies.
OEIS_HZ = {
    60: 261.6255653005986346,
    61: 277.1826309768,
    62: 293.6647679174,
    63: 311.1269837220,
    64: 329.6275569128,
    65: 349.2282314330,
    66: 369.9944227116,
    67: 391.9954359817,
    68: 415.3046975799,
    70: 466.1637615180,
}

# Hole 1 blow of each standard key (derived from A291810 and the encyclopaedia's order of keys).
ROOTS = {
    "low F": 53, "G": 55, "Ab": 56, "A": 57, "Bb": 58, "B": 59, "C": 60, "Db": 61,
    "D": 62, "Eb": 63, "E": 64, "F": 65, "F#": 66, "high G": 67,
}  # fmt: skip


def harp(key: str, tuning: str = "Richter") -> Harp:
    layout = find_tuning(tuning)
    assert layout is not None
    made = make_harp(key, layout)
    assert made is not None
    return made


C = harp("C")


@pytest.mark.parametrize(("key", "root"), ROOTS.items())
def test_richter_layout_in_every_key_is_a291810(key: str, root: int) -> None:
    """OEIS A291810, moved to each key."""
    made = harp(key)
    reeds = [made.reed(hole, breath) for hole in range(1, 11) for breath in Breath]
    assert reeds == [root + step for step in A291810]


def test_frequencies_are_those_of_oeis() -> None:
    """OEIS A214832 (whole Hz) and A329207… (many digits); A4 = 440 Hz is ISO 16:1975."""
    assert [math.floor(hz(57 + n) + 1e-9) for n in range(25)] == A214832_FROM_A3
    for pitch, frequency in OEIS_HZ.items():
        assert hz(pitch) == pytest.approx(frequency, abs=1e-9)


def test_names_and_frequencies_agree_with_music21() -> None:
    """music21 names and tunes the same pitches."""
    pitch = pytest.importorskip("music21.pitch")
    for way in C.ways:
        theirs = pitch.Pitch(C.named(way.pitch).replace("b", "-"))
        assert theirs.midi == way.pitch
        assert theirs.frequency == pytest.approx(hz(way.pitch), rel=1e-9)


def test_bends_of_the_c_harp() -> None:
    """Published: draw bends C#4 | F#4 F4 | Bb4 A4 Ab4 | C#5 | - | Ab5, blow Eb6 | F#6 | B6 Bb6."""
    bends = {
        hole: [(str(way.tone.breath), way.pitch) for way in C.bends(hole)] for hole in range(1, 11)
    }
    assert bends == {
        1: [("draw", 61)],
        2: [("draw", 66), ("draw", 65)],
        3: [("draw", 70), ("draw", 69), ("draw", 68)],
        4: [("draw", 73)],
        5: [],
        6: [("draw", 80)],
        7: [],
        8: [("blow", 87)],
        9: [("blow", 90)],
        10: [("blow", 95), ("blow", 94)],
    }


@pytest.mark.parametrize("key", ROOTS)
def test_eight_draw_and_four_blow_bends_in_every_key(key: str) -> None:
    """Twelve notes by bending ("Harp Notes"; the rule of Harp-L 1994-09)."""
    bends = [way for way in harp(key).ways if way.tone.technique is Technique.BEND]
    assert len([way for way in bends if way.tone.breath is Breath.DRAW]) == 8
    assert len([way for way in bends if way.tone.breath is Breath.BLOW]) == 4


def test_overbends_of_the_c_harp() -> None:
    """Harp-L 2005-03 (overdraws C#, F, Ab, C#) and 1995-01 (a semitone above the opening reed)."""
    over = {hole: C.overbend(hole) for hole in range(1, 11)}
    found = {hole: (str(way.tone.technique), way.pitch) for hole, way in over.items() if way}
    assert found == {
        1: ("overblow", 63), 2: ("overblow", 68), 3: ("overblow", 72), 4: ("overblow", 75),
        5: ("overblow", 78), 6: ("overblow", 82), 7: ("overdraw", 85), 8: ("overdraw", 89),
        9: ("overdraw", 92), 10: ("overdraw", 97),
    }  # fmt: skip


def test_nineteen_natural_notes_thirty_one_with_bends_thirty_seven_or_eight_in_all() -> None:
    """Harp-L 2007-03: nineteen notes without bends, 37 (or 38) with bends and overbends."""
    natural = {way.pitch for way in C.ways if way.tone.technique is Technique.NATURAL}
    bent = natural | {way.pitch for way in C.ways if not way.tone.overbent}
    every = {way.pitch for way in C.ways}
    assert (len(natural), len(bent), len(every)) == (19, 31, 38)
    assert every - {97} == set(range(60, 97))  # C4..C7, and 10 overdraw above them


def test_each_note_that_only_an_overbend_gives() -> None:
    """Eb4, Eb5, F#5, Bb5, C#6 and Ab6 each lie on exactly one overbend and nowhere else."""
    for pitch, hole in {63: 1, 75: 4, 78: 5, 82: 6, 85: 7, 92: 9}.items():
        (way,) = C.ways_by_pitch[pitch]
        assert way.tone.overbent
        assert way.tone.hole == hole


def test_the_published_tables_that_are_wrong_are_not_ours() -> None:
    """An old encyclopaedia table bends 5 draw to E, 7 blow to B, 8 blow to D, 9 blow to F;

    a printed table gives key A an F natural on 6 and 10 draw, and key B a G# on 3 draw.
    """
    for hole, breath in ((5, Breath.DRAW), (7, Breath.BLOW)):
        assert C.bend_limit(hole, breath) == 0
    for hole, wrong in ((8, 86), (9, 89)):
        assert wrong not in [way.pitch for way in C.bends(hole)]
        assert not C.can_play(Tone(hole, Breath.BLOW, Technique.BEND, 2))
    a, b = harp("A"), harp("B")
    assert a.named(a.reed(6, Breath.DRAW) or 0) == "F#5"
    assert a.named(a.reed(10, Breath.DRAW) or 0) == "F#6"
    assert b.named(b.reed(3, Breath.DRAW) or 0) == "A#4"


def test_five_draw_only_sags() -> None:
    """Common practice, no source: 5 draw gives a microtonal sag, never a melody note."""
    assert C.bend_limit(5, Breath.DRAW) == 0
    assert 0 < C.expressive_limit(5, Breath.DRAW) < 1
    assert C.expressive_limit(7, Breath.DRAW) == 0  # the lower reed is not pulled at all


def test_half_valved_holes_bend_the_lower_reed_and_lose_the_overbend() -> None:
    """Richter-tuned harmonica, valved section: a semitone at least, most players a whole tone."""
    valved = harp("C", "half-valved Richter")
    for hole in range(1, 7):
        assert valved.bend_limit(hole, Breath.BLOW) == 2
    for hole in range(7, 11):
        assert valved.bend_limit(hole, Breath.DRAW) == 2
    assert valved.bend_limit(3, Breath.DRAW) == 3
    assert all(valved.overbend(hole) is None for hole in range(1, 11))


# Published layouts, in C unless said, blow and draw (sources: see `tunings`).
PUBLISHED = {
    "country": ("C E G C E G C E G C", "D G B D F# A B D F A"),
    "major seventh": ("C E G C E G C E G C", "D G B D F# A B D F# A"),
    "melody": ("C E A C E G C E G C", "D G B D F# A B D F# A"),
    "Paddy Richter": ("C E A C E G C E G C", "D G B D F A B D F A"),
    "natural minor": ("C Eb G C Eb G C Eb G C", "D G Bb D F A Bb D F A"),
    "harmonic minor": ("C Eb G C Eb G C Eb G C", "D G B D F Ab B D F Ab"),
    "diminished": ("C Eb F# A C Eb F# A C Eb", "D F G# B D F G# B D F"),
    "circular": ("G B D F A C E G B D", "A C E G B D F A C E"),  # the G instrument
    "augmented": ("C E G# C E G# C E G# C", "D F# Bb D F# Bb D F# Bb D"),
    "solo": ("C E G C C E G C C E", "D F A B D F A B D F"),
    "chromatic 12": ("C E G C C E G C C E G C", "D F A B D F A B D F A B"),
}
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def _classes(row: str) -> list[int]:
    return [(LETTERS[n[0]] + n.count("#") - n[1:].count("b")) % 12 for n in row.split()]


@pytest.mark.parametrize("name", PUBLISHED)
def test_other_tunings_as_published(name: str) -> None:
    """The tables of the published facts, note for note; every row rises."""
    layout = TUNINGS[name]
    root = 7 if name == "circular" else 0
    for ours, theirs in zip((layout.blow, layout.draw), PUBLISHED[name], strict=True):
        assert [(root + step) % 12 for step in ours] == _classes(theirs)
        assert list(ours) == sorted(ours)


def test_the_slide_raises_every_reed_a_semitone_but_perhaps_the_topmost() -> None:
    """Solo tuning, slide in: C# F G# C# / D# F# A# C; the last key-in draw is D on many."""
    plain, with_d = TUNINGS["chromatic 12"], TUNINGS["chromatic 12 top D"]
    for layout in (plain, with_d):
        assert layout.slide_blow == tuple(note + 1 for note in layout.blow)
        assert layout.slide_draw is not None
        assert layout.slide_draw[:-1] == tuple(note + 1 for note in layout.draw)[:-1]
    assert plain.slide_draw is not None
    assert with_d.slide_draw is not None
    assert (plain.slide_draw[-1] % 12, with_d.slide_draw[-1] % 12) == (0, 2)


def test_chromatics_start_on_c4_and_c3() -> None:
    """Chromatic harmonica: 12-hole in C starts on C4, 16-hole an octave lower."""
    assert harp("C", "chromatic 12").reed(1, Breath.BLOW) == 60
    assert harp("C", "chromatic 16").reed(1, Breath.BLOW) == 48


def test_keys_on_the_cover_differ_by_tuning() -> None:
    """Melody and natural minor are sold by the second-position key; harmonic minor by the first."""
    assert harp("G", "melody").root % 12 == 0
    assert harp("Gm", "natural minor").root % 12 == 0
    assert harp("Cm", "harmonic minor").root % 12 == 0
    assert position(harp("Gm", "natural minor"), parse_key("G minor")) == 2


def test_keys_take_any_case_and_both_spellings() -> None:
    for one, other in (("bb", "Bb"), ("f#", "F#"), ("LOW F", "low F"), ("c#", "Db")):
        assert harp(one).root == harp(other).root
    assert make_harp("H") is None
    assert make_harp("") is None


# Song key on a C harp by position (circle of fifths, Harp-L 1994-07, its misprint of Db mended).
POSITIONS = ["C", "G", "D", "A", "E", "B", "F#", "Db", "Ab", "Eb", "Bb", "F"]


@pytest.mark.parametrize(("number", "song"), list(enumerate(POSITIONS, start=1)))
def test_positions_follow_the_circle_of_fifths(number: int, song: str) -> None:
    key = parse_key(song)
    assert key is not None
    assert position(C, key) == number


def test_position_examples_from_the_trade() -> None:
    """A harp in second is E; G harp in third is A; a song in C in third position wants Bb;

    the tables that give third position of C as A, and second of F as Bb, are wrong.
    """

    def key(text: str):  # type: ignore[no-untyped-def]
        return parse_key(text)

    assert position(harp("A"), key("E")) == 2
    assert position(harp("G"), key("A")) == 3
    assert position(harp("Bb"), key("C")) == 3
    assert position(C, key("A")) != 3
    assert position(harp("F"), key("Bb")) != 2


@pytest.mark.parametrize("name", TUNINGS)
def test_every_tuning_gives_ways_that_it_can_play(name: str) -> None:
    """What a harp lists as a way, it can play, and it sounds what the list says."""
    for key in STANDARD_KEYS:
        made = harp(key, name)
        assert made.ways
        for way in made.ways:
            assert made.can_play(way.tone)
            assert made.intended(way.tone) == way.pitch


def test_bend_rule_by_a_slow_reading_of_the_published_sentence() -> None:
    """ "The higher reed can be bent down to one semitone above the pitch of the lower reed.\""""
    for layout in TUNINGS.values():
        if layout.has_slide:
            continue
        for number, (blow, draw) in enumerate(zip(layout.blow, layout.draw, strict=True), start=1):
            wanted = list(range(max(blow, draw) - 1, min(blow, draw), -1))
            made = Harp(layout, 60, "C")
            assert [way.pitch - 60 for way in made.bends(number)] == wanted


def test_spelling_follows_the_key() -> None:
    """Music21 spells the notes of major and minor scales the same way."""
    music21_key = pytest.importorskip("music21.key")
    for tonic in ("C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db"):
        for mode in ("major", "minor"):
            if mode == "minor" and tonic in ("Db", "Ab"):
                continue  # would need double flats or a signature of eight; not written in practice
            ours = parse_key(f"{tonic} {mode}")
            assert ours is not None
            theirs = music21_key.Key(tonic.replace("b", "-"), mode)
            assert theirs.sharps == ours.fifths
            for note in theirs.pitches:
                assert spell(note.midi, ours) == note.nameWithOctave.replace("-", "b")


TUNING = """name: my own
key: C
blow: C4 E4 G4 C5 E5 G5 C6 E6 G6 C7
draw: D4 G4 B4 D5 F#5 A5 B5 D6 F6 A6
"""


def test_a_players_own_tuning_file() -> None:
    layout, problems = read_tuning(TUNING, "own.harptuning")
    assert problems == ()
    assert layout is not None
    assert (layout.blow, layout.draw) == (TUNINGS["country"].blow, TUNINGS["country"].draw)


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        (TUNING.replace("F#5", "H5"), 4, 19, "no note with an octave"),
        (TUNING.replace("F#5", "F#"), 4, 19, "no note with an octave"),
        (TUNING.replace("key: C", "key: H"), 2, 6, "is no key"),
        (TUNING.replace(" A6", ""), 4, 7, "one note a hole"),
        (TUNING.replace("draw:", "drawn:"), 4, 1, "not a line of a tuning file"),
        (TUNING + "valves: some\n", 5, 9, "valves"),
        (TUNING + "key: D\n", 5, 1, "second time"),
        ("", 1, 1, "no 'name' line"),
    ],
)
def test_faults_of_a_tuning_file_are_told_with_their_place(
    text: str, line: int, column: int, words: str
) -> None:
    layout, problems = read_tuning(text, "own.harptuning")
    assert layout is None
    told = [p for p in problems if (p.span.line, p.span.column) == (line, column)]
    assert any(words in p.message for p in told), problems
    assert all(p.help for p in problems)
