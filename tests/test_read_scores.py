"""Scores of others, read and written down as tab.

The tunes are music21's corpus, read where it is installed and never copied; what they
sound is taken from music21 itself, a library outside the project, and compared with what
our notation plays.
"""

from __future__ import annotations

import contextlib
import io
import os
import quopri
import re
import subprocess
import sys
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tabtool.cli import main
from tabtool.diagnostics import TabError
from tabtool.load import load
from tabtool.player import Player
from tabtool.readers import Choice, Source, open_source
from tabtool.readers import abc as abc_reader
from tabtool.scores.choose import best_harp, fit
from tabtool.scores.measures import stream
from tabtool.scores.notate import Written, notate
from tabtool.scores.rhythm import Slot, TooFine, beats
from tabtool.tunings import TUNINGS, make_harp

music21 = pytest.importorskip("music21")
CORPUS = Path(music21.__file__).parent / "corpus"
HEAD = "X:1\nT:Sample\nM:4/4\nL:1/8\nK:C\n"


def abc(body: str, head: str = HEAD) -> bytes:
    return (head + body + "\n").encode()


def written(data: bytes, form: str = "abc", choice: Choice = Choice(), harp: str = "") -> Written:  # noqa: B008
    melody = Source(data, f"sample.{form}", form).melody(choice)
    chosen = make_harp(harp) if harp else best_harp(melody.measures, TUNINGS["Richter"])
    assert chosen is not None
    return notate(melody, chosen)


def music_lines(text: str) -> list[str]:
    """The lines of bars, runs of blanks as one; music21 ends some tunes with a final bar line."""
    return [
        " ".join(line.split()).replace("|]", "|")
        for line in text.splitlines()
        if line.lstrip()[:1] == "|"
    ]


def heard(text: str) -> list[tuple[Fraction, float]]:
    """Onset from the first note in quarters and highest pitch of every note our text plays."""
    events = load(text).score.events
    first = events[0].quarters
    return [(e.quarters - first, max(p for p in e.pitches if p is not None)) for e in events]


# Rhythm to beat groups.


@pytest.mark.parametrize(
    ("starts", "expected"),
    [
        ("0", "a"),
        ("0 1/2", "a,b"),
        ("0 1/3 2/3", "a,b,c"),
        ("0 2/3", "a,-,b"),
        ("0 3/4", "a,-,-,b"),
        ("0 1/3 1/2 2/3", "a,(b,c),d"),
        ("0 1/2 3/5 7/10 4/5 9/10", "a,(b,c,d,e,f)"),
        ("0 1/4 1/2 7/12 2/3 3/4", "a,b,(c,d,e),f"),
    ],
)
def test_a_beat_is_written_the_smallest_way(starts: str, expected: str) -> None:
    places = [Fraction(start) for start in starts.split()]
    slots = [Slot(at, name, "-") for at, name in zip(places, "abcdef", strict=False)]
    assert beats(slots, 1) == [expected]


def test_a_note_over_the_beat_is_held() -> None:
    slots = [Slot(Fraction(0), "a", "-"), Slot(Fraction(3, 2), "b", "-")]
    assert beats(slots, 2) == ["a", "-,b"]


def test_no_rhythm_is_rounded_in_silence() -> None:
    with pytest.raises(TooFine):
        beats([Slot(Fraction(0), "a", "-"), Slot(Fraction(1, 97), "b", "-")], 1)


# What a score says, in our notation. Expected values follow from the ABC standard 2.1.


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("c2d2e2f2|", "| 4^ 4v 5^ 5v |"),
        ("c3d e2f2|", "| 4^ -,4v 5^ 5v |"),  # dotted
        ("c>d e<f g4|", "| 4^,-,-,4v 5^,5v,-,- 6^ - |"),  # broken rhythm
        ("(3cde c2 z4|", "| 4^,4v,5^ 4^ . . |"),  # tuplet
        ("c4-c2d2|e8|", "| 4^ - - 4v | 5^ - - - |"),  # tie
        ("c4d4-|d4e4|", "| 4^ - 4v - | - - 5^ - |"),  # tie over the bar line
        ("g2|c8|d6:|", "| 6^ | 4^ - - - | 4v - - :|"),  # pick-up that adds up
        ("|:c8|1d8:|2e8||f8|", "|: 4^ - - - |1 4v - - - :|2 5^ - - - || 5v - - - |"),
        ("|:c8|d8::d8|e8:|", "|: 4^ - - - | 4v - - - :|: 4v - - - | 5^ - - - :|"),
        ('"C"c4"G7"d4|', '| "C"4^ - "G7"4v - |'),
        ('c8-|"F"c8|', '| 4^ - - - | "F"- - - - |'),  # a chord under a held note
        ("[ce]4[Gce]4|", "| 4+5^ - 3+4+5^ - |"),  # chords of one breath
        ("{d}c4 .c4|", "| {4v}4^ - 4^; - |"),
    ],
)
def test_abc_in_our_notation(body: str, expected: str) -> None:
    assert music_lines(written(abc(body), harp="C").text) == [expected]


def lengths(body: str) -> list[Fraction]:
    melody = Source(abc(body), "x.abc", "abc").melody(Choice())
    return [length for _, length, _ in stream(melody.measures)]


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        (f"(11:8:11{'c/d/' * 5}c/|", [Fraction(2, 11)] * 11),
        (f"(3:2:12{'cdef' * 3}|", [Fraction(1, 3)] * 12),
        (f"(5:4:10{'c/d/' * 5}e2|", [Fraction(1, 5)] * 10 + [1]),
        ("(3c{d}de f2|", [Fraction(1, 3)] * 3 + [1]),
        ("(3c>de (3zcd|", [Fraction(1, 2), Fraction(1, 6), *[Fraction(1, 3)] * 3]),
    ],
)
def test_tuplets_of_any_number(body: str, expected: list[Fraction]) -> None:
    """ABC 2.1, 4.13: p notes in the time of q for the next r; no figure is limited to one digit."""
    assert lengths(body) == expected


def test_a_tuplet_of_no_notes_is_told() -> None:
    assert lengths("(0cde|") == [Fraction(1, 2)] * 3
    assert "tuplets of no notes (1)" in " ".join(written(abc("(0cde|")).remarks)


@pytest.mark.parametrize(
    "sign", [">", ">.", ".>", ">{d}", ">-", "->", " > ", ">u", ">!p!", '>"^4v"']
)
def test_a_broken_rhythm_whatever_stands_at_it(sign: str) -> None:
    """ABC 2.1, 4.4: > makes the note before it dotted and halves the one behind it."""
    assert lengths(f"c{sign}d e2|") == [Fraction(3, 4), Fraction(1, 4), 1]


def test_broken_rhythms_of_several_signs() -> None:
    """ABC 2.1, 4.4: >> is double dotted, the other note a quarter; << the other way round."""
    assert [8 * n for n in lengths("c>>d e<<f g2<a2|")] == [7, 1, 1, 7, 4, 12]
    assert [8 * n for n in lengths("c>d>e f|")] == [6, 3, 2, 4]  # no source: each sign counts
    assert lengths("c2> | d2|") == [1, 1]
    assert "without a second note (1)" in " ".join(written(abc("c2> | d2|")).remarks)


def test_every_slash_halves() -> None:
    """ABC 2.1, 4.3: c// is a quarter of the unit length, and so on."""
    unit = Fraction(1, 2)
    assert lengths("c3// d//// [ce]/ [c//e//] f|") == [
        n * unit for n in (Fraction(3, 4), Fraction(1, 16), Fraction(1, 2), Fraction(1, 4), 1)
    ]


@pytest.mark.parametrize("chord", ["[Hce]", "[!fermata!c+accent+e]", '["^a"ce]', "[c-e-]", "+ce+"])
def test_signs_within_a_chord_are_no_notes(chord: str) -> None:
    """ABC 2.1, 4.17: a chord may hold decorations and annotations between its notes.

    Between ``+`` chords stood before (ABC 1.6); 2.0 put decorations there.
    """
    melody = Source(abc(f"{chord}4 g4|"), "x.abc", "abc").melody(Choice())
    assert stream(melody.measures) == [(0, 2, (72, 76)), (2, 2, (79,))]


def test_dynamics_of_old_are_no_chord() -> None:
    assert lengths("+ff+c4 +f+c4|") == [2, 2]


def test_bars_of_rest_within_a_bar() -> None:
    """Z counts bars (ABC 2.1, 4.5), but behind a note of its bar it can only be a slip for z."""
    melody = Source(abc("c4 Z2 d2|Z2|e8|"), "x.abc", "abc").melody(Choice())
    assert [(onset, length) for onset, length, _ in stream(melody.measures)] == [
        (0, 2), (3, 1), (12, 4),
    ]  # fmt: skip
    assert any("rests of whole bars within a bar (Z), read as z (1)" in s for s in melody.lost)


def test_a_bar_line_not_to_be_seen_ends_no_part() -> None:
    """ABC 2.1, 4.8: ``[|]`` is invisible; the repeat takes in the pick-up before it."""
    text = written(abc("G2[|]c2d2e2f2|c4 d2:|e8|]"), harp="C").text
    assert [pitch for _, pitch in heard(text)] == [67, 72, 74, 76, 77, 72, 74] * 2 + [76]


@pytest.mark.parametrize(
    ("key", "pitches"),
    [
        ("D", [73, 74, 76, 78]),
        ("D =c", [72, 74, 76, 78]),
        ("Dmix=c", [72, 74, 76, 78]),
        ("D exp _e ^f", [72, 74, 75, 78]),
        ("C ^f", [72, 74, 76, 78]),
        ("none", [72, 74, 76, 77]),
        ("G#", [73, 75, 77, 79]),
        ("Em ^c", [73, 74, 76, 78]),
        ("Dorian", [72, 74, 76, 77]),
        ("B loc", [72, 74, 76, 77]),
        ("Hp", [73, 74, 76, 78]),
        ("G treble-8", [60, 62, 64, 66]),
        ("G clef=treble+8 name=x8", [84, 86, 88, 90]),
        ("C octave=-1", [60, 62, 64, 65]),
        ("C clef=bass transpose=-2", [70, 72, 74, 75]),
        ("clef=alto", [72, 74, 76, 77]),
    ],
)
def test_what_a_key_line_says_of_pitch(key: str, pitches: list[int]) -> None:
    """ABC 2.1, 3.1.14 and 4.6 (from memory)."""
    head = f"X:1\nM:4/4\nL:1/4\nK:{key}\n"
    melody = Source(abc("cdef|", head), "x.abc", "abc").melody(Choice())
    assert list(melody.pitches()) == pitches
    told = " ".join(melody.lost)
    assert ("not understood" in told) is (key == "Dorian")
    assert ("than written" in told) is (pitches[0] not in (72, 73))


@pytest.mark.parametrize(
    ("bar", "pitches"),
    [
        ("^c c d c|c4", [73, 73, 74, 73, 72]),
        ("^c C c' d|", [73, 61, 85, 74]),
        ("_B2 =B B|B4", [70, 71, 71, 71]),
        ("^f f =f f|", [78, 78, 77, 77]),
        ("f =f f ^f|", [77, 77, 77, 78]),
    ],
)
def test_an_accidental_holds_to_the_end_of_the_bar(bar: str, pitches: list[int]) -> None:
    """ABC 2.1, 11.3: in all octaves; music21 reads it so where the text names that version."""
    head = HEAD.replace("1/8", "1/4")
    melody = Source(abc(bar, head), "x.abc", "abc").melody(Choice())
    assert list(melody.pitches()) == pitches
    score = music21.converter.parseData(VERSION + head + bar + "\n", format="abc")
    assert [n.pitch.ps for n in score.recurse().notes] == pitches


@pytest.mark.parametrize(
    ("bar", "pitches"),
    [
        ("[^ce]2 c2|c4", [73, 76, 73, 72]),
        ("__e e ^^f f|", [74, 74, 79, 79]),
        ("{^c}d2 c2|c4", [74, 72, 72]),
        ("^c4-|{d}c2 c2|", [73, 72]),
        ("^c4-|c2 c2|", [73, 72]),
        ("^c4|c4|", [73, 72]),
        ("[K:D]c =c c2|[K:C]c4|", [73, 72, 72, 72]),
    ],
)
def test_accidentals_wherever_they_stand(bar: str, pitches: list[int]) -> None:
    """As on a staff, where a tie carries one over the bar line; common practice, no source."""
    melody = Source(abc(bar, HEAD.replace("1/8", "1/4")), "x.abc", "abc").melody(Choice())
    assert list(melody.pitches()) == pitches


@pytest.mark.parametrize(
    ("reach", "pitches"), [("not", [73, 72, 60]), ("octave", [73, 73, 60]), ("pitch", [73, 73, 61])]
)
def test_how_far_an_accidental_holds(reach: str, pitches: list[int]) -> None:
    """ABC 2.1, 11.3, from memory."""
    head = f"%%propagate-accidentals {reach}\n" + HEAD
    assert list(Source(abc("^ccC|", head), "x.abc", "abc").melody(Choice()).pitches()) == pitches


def test_the_key_that_sounds() -> None:
    melody = Source(abc('"D"cdef|', HEAD.replace("K:C", "K:D transpose=-2")), "x.abc", "abc")
    read = melody.melody(Choice())
    assert str(read.measures[0].change.key) == "C"
    assert "notes sound 2 semitones lower than written" in " ".join(read.lost)
    assert "chord symbols stay as written" in " ".join(read.lost)


def test_what_one_voice_of_abc_says_for_all() -> None:
    """Names in the head; tempo, sections and jumps as files have them, in the first voice."""
    head = HEAD.replace("K:", 'Q:1/4=90\nV:1 name="Tune"\nV:2 name="Low" octave=-1\nK:')
    body = (
        "V:1\nP:A\nc8|!fine!d8|\nV:2\ne8|f8|\n"
        "V:1\nP:B\n[Q:1/4=60]g8|a8!D.C.alfine!|\nV:2\nb8|c'8|\n"
    )
    data = abc(body, head)
    with pytest.raises(TabError, match="1 Tune; 2 Low"):
        Source(data, "x.abc", "abc").melody(Choice())
    for part, pitches in (("Tune", [72, 74, 79, 81, 72, 74]), ("Low", [64, 65, 71, 72, 64, 65])):
        melody = Source(data, "x.abc", "abc").melody(Choice(part))
        assert list(melody.pitches()) == pitches
        assert [m.change.section for m in melody.measures] == ["A", "", "B", "", "A", ""]
        assert [m.change.tempo for m in melody.measures] == [90, None, 60, None, 90, None]


def test_what_means_nothing_in_abc_is_told() -> None:
    data = abc('c2y2d2 y3e2`f2|^/c2 q d2 "Am e4|', "U:k=!trill!\n" + HEAD) + b"kc8|\n"
    melody = Source(data, "x.abc", "abc").melody(Choice())
    assert [note.duration for note in melody.measures[0].notes] == [1] * 4
    told = " ".join(melody.lost)
    assert 'signs that mean nothing where they stand: q (1), " (1), m (1)' in told
    assert "quarter tones and the like, read without (1)" in told
    assert "decorations (1)" in told


def test_what_mail_does_to_a_text() -> None:
    """Quoted-printable (RFC 2045, 6.7): =3D is =, =20 a blank, = at the end joins two lines."""
    melody = Source(abc("=3DB2^F2 =3DF=20\nc3 =\nd4|"), "x.abc", "abc").melody(Choice())
    assert [(length, pitch) for _, length, (pitch,) in stream(melody.measures)] == [
        (1, 71), (1, 66), (Fraction(1, 2), 65), (Fraction(3, 2), 72), (2, 74),
    ]  # fmt: skip


def test_half_a_beat_before_the_bar() -> None:
    """A pick-up of half a beat goes into the bars before it; what sounds is unchanged."""
    result = written(abc("G|c4e4|d4c3:|e|f4f4|c4c3:|"), harp="C")
    assert music_lines(result.text) == [
        "| .,3^ |: 4^ - 5^ - |1 4v - 4^ -,3^ :|2 4v - 4^ -,5^ |: 5v - 5v - |",
        "|1 4^ - 4^ -,5^ :|2 4^ - 4^ -,. ||",
    ]
    melody = Source(abc("G|c4e4|d4c3:|e|f4f4|c4c3:|"), "x", "abc").melody(Choice())
    assert [pitch for _, pitch in heard(result.text)] == [
        p for _, _, (p,) in stream(melody.measures)
    ]


def test_meter_tempo_and_key_changes() -> None:
    text = written(abc("c8|\nM:6/8\nQ:3/8=50\nK:G\nf3g3|\nM:4/4\nc8|"), harp="C").text
    assert "meter: 6/8" in text
    assert "tempo: 50" in text
    assert "key: G" in text
    # f in G is F sharp, MIDI 78; 50 dotted quarters are 75 quarters a minute.
    assert [pitch for _, pitch in heard(text)] == [72, 78, 79, 72]
    setting = load(text).score.stretches[-1].setting
    assert setting.tempo == 75
    assert setting.meter.text == "4/4"


def test_words() -> None:
    text = written(abc("c2d2e2f2|g8|\nw:Ket-tle on_ the | boil\nw:Pot a~b * d|"), harp="C").text
    assert "lyric: Ket- tle on _ | the" in text
    assert "lyric: Pot a‿b * d" in text


def test_what_has_no_place_is_listed() -> None:
    remarks = " ".join(written(abc('!trill!c2 ~d2 "^slowly"e2 (fg)|\nW:more words')).remarks)
    for said in ("decorations (2)", "words over the staff (1)", "slurs (1)", "lines of words"):
        assert said in remarks


def test_a_second_voice_within_a_bar_is_left_out_and_told() -> None:
    """ABC 2.1, 7.4: a voice overlay lasts to the bar line."""
    done = written(abc("c2d2e2f2 & G8|g8|c4d4 & E4F4 & C8|]"), harp="C")
    assert music_lines(done.text) == ["| 4^ 4v 5^ 5v | 6^ - - - | 4^ - 4v - |"]
    assert "second voices within a bar (&), left out (2)" in " ".join(done.remarks)


def test_a_note_the_harp_lacks_is_kept_and_told() -> None:
    melody = Source(abc("G,8|c8|"), "x", "abc").melody(Choice())
    harp = make_harp("C")
    assert harp is not None
    assert fit(harp, melody.measures).missing == 1
    text = notate(melody, harp).text
    assert heard(text)[0][1] == 55  # G3, below the C harp
    assert not load(text).playable


@pytest.mark.parametrize(
    ("scale", "key"),
    [
        ("d2e2f2g2|a2b2c'2d'2|", "D"),
        ("_B2c2d2_e2|f2g2a2_b2|", "Bb"),
        ("f2g2a2_b2|c'2d'2e'2f'2|", "F"),
    ],
)
def test_the_best_harp_for_a_scale_is_that_of_its_key(scale: str, key: str) -> None:
    """From hole 4 up every harp has the major scale of its key, unbent (Richter: OEIS A291810)."""
    head = HEAD.replace("K:C", "K:D") if key == "D" else HEAD
    bars = Source(abc(scale, head), "x", "abc").melody(Choice()).measures
    chosen = fit(best_harp(bars, TUNINGS["Richter"]), bars)
    assert chosen.harp.key == key
    assert (chosen.bends, chosen.overbends, chosen.missing) == (0, 0, 0)


def test_a_player_who_does_not_bend_gets_a_harp_without() -> None:
    bars = Source(abc("_B,2C2D2_E2|F2G2A2_B2|"), "x", "abc").melody(Choice()).measures
    player = Player(bends=0, overbends=False)
    chosen = fit(best_harp(bars, TUNINGS["Richter"], player), bars, player)
    assert chosen.bends == chosen.overbends == 0
    usual = fit(best_harp(bars, TUNINGS["Richter"]), bars)
    assert usual.missing == 0


# The collections: every pitch and onset as music21 plays it.

# What music21 reads otherwise than it is written, by the reason: all tunes that may differ.
MISREAD = {
    "it ties no chords (ABC 2.1, 4.11)": (
        "EssenceOfOldKentucky.abc X:20", "MardiGrasReel.abc X:1", "WalkAroundHeyDaddy.abc X: 1",
    ),
    "it leaves out Z, which stands for z in these": (
        "0351-0400.abc X: 387", "0626-0700.abc X: 637", "1176-1275.abc X: 1185",
    ),
    "it counts but one of two signs of broken rhythm at a note": (
        "BuckleysHornpipe.abc X: 1", "TidalWaveJig.abc X:1", "1625-1700.abc X: 1684",
        "1625-1700.abc X: 1685",
    ),
    "it takes 3// for a quarter note (ABC 2.1, 4.3)": ("book5.abc X:0811",),
    "a tie at a broken rhythm, left out by `plain_abc`": (
        "0001-0050.abc X: 36", "0626-0635.abc X: 631",
    ),
    "it carries no accidental from chord to chord": ("0550-0625.abc X: 599",),
    "the sign of a triplet is damaged (^3 for (3)": ("HeadlightJig.abc X: 1",),
    "it takes a bracket before words for a chord": (
        "MyLadysGoonHasGairsOntStrathspey.abc X: 1",
    ),
    "it takes the key Bn, which is none and is told, for B major": (
        "0732-0758_bs.abc X: 745", "0732-0758_mh.abc X: 745",
    ),
    "it does not join | at the end of a line to :: in the next": ("SkinThePeelerJig.abc X: 1",),
}  # fmt: skip


VERSION = "%abc-2.1\n"  # without it music21 lets an accidental count for its own note alone
PART_ENDS = {"double", "final", "heavy-light"}  # bar lines, as music21 calls them


def tunes(folder: str) -> list[tuple[str, bytes]]:
    found = []
    for path in sorted((CORPUS / folder).glob("*.abc")):
        data = path.read_bytes()
        starts = [m.start() for m in re.finditer(rb"(?m)^X:", data)]
        for begin, end in zip(starts, [*starts[1:], len(data)], strict=True):
            number = data[begin : begin + 20].split(b"\n")[0].decode().strip()
            found.append((f"{path.name} {number}", data[: starts[0]] + data[begin:end]))
    assert found, f"music21 has no {folder}"
    return found


def parts_of(data: bytes) -> list[str]:
    """The names of the voices of a tune; one without a name where it has none."""
    names = re.findall(rb"(?m)^\[?V:\s*([^\]\s]+)", data)
    return [name.decode() for name in dict.fromkeys(names)] or [""]


def _undecorated(line: re.Match[str]) -> str:
    """A line of music without decorations and slurs, at which music21 loses a note or a dot."""
    text = re.sub(r'"[^"]*"|![^!\s]+!|!|\{[^}]*\}', "", line[0])
    text = re.sub(r"\+((?:[A-G]\d*){2,})\+", r"[\1]", text)
    text = re.sub(r"\((?!\d)|\)", "", text)
    text = re.sub(r"[.~HLMOPRSTuv](?=[.^_=xz\[A-Ga-g<>])", "", text)
    text = re.sub(r"-?([<>]+)-?", r"\1", text)
    return text.replace("[|]", "|").replace("::", ":||:").replace("x", "z")


def plain_abc(data: bytes, part: str) -> str:
    """One voice of a tune, the same music without what music21 stumbles over.

    Those are comments, lines in the head that are no fields, decorations, grace notes (which
    are not compared, and which it counts among the notes of a triplet), marks of a new line
    (``!``), fields within a line, more voices than one, and ``::``, before which it loses a note.
    What mail did to some of them is undone by the standard library.
    """
    if re.search(rb"(?m)=3D|=20$", data.replace(b"\r", b"")):
        data = quopri.decodestring(data)
    text = re.sub(r"(?m)%.*$", "", data.decode("utf-8", "replace").replace("\r", ""))
    head, key, body = re.split(r"(?m)^(K:.*)$", text, maxsplit=1)
    head = "".join(line for line in head.splitlines(True) if line[1:2] == ":" and line[0] != "V")
    body = re.sub(rf"(?m)^\[V:(?!{re.escape(part)}\]).*\n|\[V:[^\]]*\]|^V:.*\n", "", body)
    body = re.sub(r"\[([KMLQP]:[^\]]*)\]", r"\n\1\n", body)
    music = re.sub(r"(?m)^(?![A-Za-z]:).*$", _undecorated, body)
    return VERSION + head + key + music


def by_music21(data: bytes, part: str) -> Any:
    """The part music21 reads from a whole tune, its text as it is but for `plain_abc`.

    music21 takes a ``:|`` without ``|:`` back to the beginning of the tune; these tunes
    mean the last double bar or repeat (common practice, no source), so that is put in. A bar
    too long for its meter it splits, and leaves the ``:|`` behind it before the second half.
    """
    bar = music21.bar
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        read = music21.converter.parseData(plain_abc(data, part), format="abc").parts[0]
    measures = list(read.getElementsByClass(music21.stream.Measure))
    for measure in measures:
        line = measure.leftBarline
        if isinstance(line, bar.Repeat) and line.direction == "end":
            measure.leftBarline, measure.rightBarline = None, line
    for number, (one, two) in enumerate(pairwise(measures), start=1):
        again = any(isinstance(m.rightBarline, bar.Repeat) for m in measures[number:])
        line = one.rightBarline
        ends = isinstance(line, bar.Repeat) or getattr(line, "type", "") in PART_ENDS
        if ends and again and not isinstance(two.leftBarline, bar.Repeat):
            two.leftBarline = bar.Repeat(direction="start")
    return read


def struck_in(part: Any) -> list[tuple[Fraction, float]]:
    """Onset from the first note and highest pitch of every note struck, as music21 has them."""
    struck: list[tuple[Fraction, float]] = []
    for n in part.recurse().notes:
        if isinstance(n, music21.harmony.ChordSymbol) or n.duration.isGrace:
            continue
        pitch = max(p.ps for p in n.pitches)
        goes_on = n.tie is not None and n.tie.type != "start"
        if not (goes_on and struck and struck[-1][1] == pitch):
            struck.append((Fraction(n.getOffsetInHierarchy(part)), pitch))
    return [(at - struck[0][0], pitch) for at, pitch in struck]


def difference(data: bytes, name: str, part: str, counts: Counter[str]) -> str:
    """What of a voice sounds otherwise than music21 reads it; empty where nothing does.

    `counts` gains how far it could be compared: music21 takes a second ending for one
    bar, so tunes with endings are compared as they stand. It knows no D.C. in ABC, so the
    bars are compared before that is written out (see `test_jumps`).
    """
    counts["all"] += 1
    melody = abc_reader.read(data, name, Choice(part))
    result = notate(melody, best_harp(melody.measures, TUNINGS["Richter"]))
    if any(d.rule.reads for d in load(result.text).diagnostics):
        return "our own notation is not clear"
    read = by_music21(data, part)
    once = [m._replace(opens=False, closes=False, endings=()) for m in melody.measures]
    if [(at, max(p)) for at, _, p in stream(once)] != struck_in(read):
        return "as it stands"
    counts["as they stand"] += 1
    if read.recurse().getElementsByClass(music21.spanner.RepeatBracket):
        return ""
    if any("repeat" in remark or "not the score's" in remark for remark in result.remarks):
        return ""  # told: the file's own repeat signs or bars do not add up
    try:
        played = struck_in(read.expandRepeats())
    except music21.repeat.ExpanderException:
        return ""
    if heard(result.text) != played:
        return "as it is played"
    counts["as they are played"] += 1
    return ""


def differing(
    some: list[tuple[str, bytes]], difference: Callable[[bytes, str, str], str]
) -> dict[str, str]:
    """The voices of some tunes in which `difference` finds one, with what it finds."""
    found: dict[str, str] = {}
    for name, data in some:
        for part in parts_of(data):
            try:
                said = difference(data, name, part)
            except Exception as error:  # told with the others, not instead of them
                said = f"{type(error).__name__}: {error}"
            if said:
                found[f"{name} {part}".strip()] = said
    return found


def compare(folder: str, step: int) -> None:
    """Every voice of every tune as music21 reads it, note by note; played out too where it can."""
    counts = Counter[str]()
    some = tunes(folder)[::step]
    found = differing(some, lambda data, name, part: difference(data, name, part, counts))
    names = {name for name, _ in some}
    known = {name for told in MISREAD.values() for name in told if name in names}
    new = {name: said for name, said in found.items() if name not in known}
    assert not new, new
    assert not known - found.keys(), "these no longer differ: take them off the list"
    assert counts["as they are played"] > 0.6 * counts["all"], counts


@pytest.mark.parametrize(
    ("folder", "step"), [("airdsAirs", 118), ("ryansMammoth", 106), ("oneills1850", 200)]
)
def test_old_tunes_sound_the_same(folder: str, step: int) -> None:
    compare(folder, step)


@pytest.mark.long
@pytest.mark.parametrize("folder", ["airdsAirs", "ryansMammoth", "oneills1850"])
def test_all_old_tunes_sound_the_same(folder: str) -> None:
    compare(folder, 1)


# Parts, voices, tunes of a collection.


def test_parts_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    chorale = str(CORPUS / "bach" / "bwv66.6.mxl")
    assert main(["read", chorale]) == 2
    told = capsys.readouterr().err
    assert "4 parts sound at once" in told
    assert "1 Soprano; 2 Alto; 3 Tenor; 4 Bass" in told
    assert main(["read", chorale, "--part", "Soprano", "-o", str(tmp_path / "x.harptab")]) == 0
    score = music21.converter.parse(chorale)
    soprano = [n.pitch.ps for n in score.parts[0].stripTies().recurse().notes]
    assert [p for _, p in heard((tmp_path / "x.harptab").read_text())] == soprano


def test_a_tempo_that_is_only_heard_counts() -> None:
    """The sound element of MusicXML gives quarters a minute, whether or not one is printed."""
    data = (CORPUS / "bach" / "bwv1.6.mxl").read_bytes()
    melody = Source(data, "x.mxl", "mxl").melody(Choice(part="1"))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        inner = next(n for n in archive.namelist() if n.endswith(".xml") and "META" not in n)
        tempo = re.search(rb'tempo="(\d+)"', archive.read(inner))
    assert tempo is not None
    assert melody.measures[0].change.tempo == int(tempo[1])


def test_cue_notes_are_silent() -> None:
    """MusicXML 4.0: "a cue note is a silent note with no playback"."""
    plain = "<pitch><step>{}</step><octave>5</octave></pitch><duration>1</duration>"
    cue = "<note><cue/>" + plain.format("E") + "</note>"
    chord = "<note><cue/><chord/>" + plain.format("G") + "</note>"
    own = f"<note>{plain.format('C')}</note>"
    part = f'<part id="P1"><measure>{own}{cue}{chord}{own}</measure></part>'
    listed = '<part-list><score-part id="P1"><part-name/></score-part></part-list>'
    data = f"<score-partwise>{listed}{part}</score-partwise>".encode()
    melody = Source(data, "x.musicxml", "musicxml").melody(Choice())
    assert [n.pitches for n in melody.measures[0].notes] == [(72,), (), (72,)]
    assert "left out: cue notes, which are not played (2)" in melody.lost


NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration></note>"


def one_part(measure: str) -> bytes:
    listed = '<part-list><score-part id="P1"><part-name/></score-part></part-list>'
    part = f'<part id="P1"><measure number="7">{measure}</measure></part>'
    return f"<score-partwise>{listed}{part}</score-partwise>".encode()


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [
        (">1</d", ">-1</d", "bar 7: duration is '-1', not a number above 0"),
        (">1</d", ">long</d", "bar 7: duration is 'long'"),
        ("<duration>1</duration>", "", "bar 7: a note without a duration"),
        (">C<", ">H<", "bar 7: 'H' is no step of the scale"),
        ("<note>", "<attributes><divisions>0</divisions></attributes><note>", "divisions is '0'"),
    ],
)
def test_numbers_that_are_none_are_told_by_their_bar(one: str, other: str, said: str) -> None:
    data = one_part(NOTE.replace(one, other) + NOTE)
    with pytest.raises(TabError, match=re.escape(said)):
        Source(data, "x.musicxml", "musicxml").melody(Choice())


@pytest.mark.parametrize(
    ("kind", "figure"),
    [
        ("<kind>power</kind>", "C5"),
        ('<kind text="alt">other</kind>', "Calt"),
        ('<kind text="N.C.">none</kind>', "N.C."),
        ("<kind>major-sixth</kind>{9:0:add}", "C6/9"),
        ("<kind>major</kind>{9:0:add}", "Cadd9"),
        ("<kind>dominant</kind>{9:1:add}", "C7#9"),
        ("<kind>dominant</kind>{5:-1:alter}", "C7b5"),
        ("<kind>augmented-seventh</kind>", "C+7"),
    ],
)
def test_chord_symbols_as_players_write_them(kind: str, figure: str) -> None:
    """Kinds and degrees of MusicXML 4.0; common practice, no source, for the symbols."""
    degree = (
        r"<degree><degree-value>\1</degree-value><degree-alter>\2</degree-alter>"
        r"<degree-type>\3</degree-type></degree>"
    )
    inside = re.sub(r"\{(.*):(.*):(.*)\}", degree, kind)
    harmony = f"<harmony><root><root-step>C</root-step></root>{inside}</harmony>"
    melody = Source(one_part(harmony + NOTE), "x.musicxml", "musicxml").melody(Choice())
    assert [text for _, text in melody.measures[0].symbols] == [figure]


def test_tremolos_and_chords_of_grace_notes_are_told() -> None:
    grace = NOTE.replace("<note>", "<note><grace/>").replace("<duration>1</duration>", "")
    chord = grace.replace("<grace/>", "<grace/><chord/>").replace(">C<", ">E<")
    tremolo = "<notations><ornaments><tremolo type='{}'>3</tremolo></ornaments></notations></note>"
    two = NOTE.replace("</note>", tremolo.format("start"))
    two += NOTE.replace("</note>", tremolo.format("stop"))
    data = one_part("<attributes><divisions>1</divisions></attributes>" + grace + chord + two)
    melody = Source(data, "x.musicxml", "musicxml").melody(Choice())
    assert melody.measures[0].notes[0].grace == (76,)
    assert "tremolos (1)" in " ".join(melody.lost)
    assert "lower notes of chords of grace notes (1)" in " ".join(melody.lost)


def test_voices_of_one_part(capsys: pytest.CaptureFixture[str]) -> None:
    path = str(CORPUS / "demos" / "two-voices.xml")
    assert main(["read", path]) == 2
    assert "2 voices sound at once in this part; choose one with --voice: 3, 4" in (
        capsys.readouterr().err
    )
    assert main(["read", path, "--voice", "4"]) == 0
    text = capsys.readouterr().out
    voice = [
        n
        for m in music21.converter.parse(path).parts[0].getElementsByClass("Measure")
        for v in m.voices
        if v.id == "4"
        for n in v.notes
    ]
    assert [pitch for _, pitch in heard(text)] == [max(p.ps for p in n.pitches) for n in voice]


def test_voices_of_abc_line_by_line() -> None:
    """V: as the standard has it (7): the lines of several voices in turn."""
    data = abc('V:1 name="Tune"\nV:2\n[V:1] c2d2e2f2|\n[V:2] C8|\n[V:1] g8|\n[V:2] G,8|')
    with pytest.raises(TabError, match="1 Tune; 2 2"):
        Source(data, "x.abc", "abc").melody(Choice())
    assert list(Source(data, "x.abc", "abc").melody(Choice("tune")).pitches()) == [
        72, 74, 76, 77, 79,
    ]  # fmt: skip
    assert list(Source(data, "x.abc", "abc").melody(Choice("2")).pitches()) == [60, 55]


def test_staves_of_one_part(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from music21 import layout, metadata, note, stream

    staves = []
    for name in ("c5", "c3"):
        staff = stream.PartStaff([note.Note(name, quarterLength=4), note.Note(name)])
        staff.partName = "Piano"
        staves.append(staff)
    score = stream.Score([metadata.Metadata(), *staves, layout.StaffGroup(staves)])
    path = Path(score.write("musicxml", tmp_path / "piano.musicxml"))
    assert main(["read", str(path)]) == 2
    assert "1 Piano, staff 1; 2 Piano, staff 2" in capsys.readouterr().err
    assert main(["read", str(path), "--part", "staff 2"]) == 0
    assert [pitch for _, pitch in heard(capsys.readouterr().out)] == [48, 48]


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_humdrum_through_music21(number: int) -> None:
    path = CORPUS / "bach" / "bwv277.krn"
    melody = Source(path.read_bytes(), "x.krn", "krn").melody(Choice(part=str(number)))
    part = music21.converter.parse(path).parts[number - 1]
    sounding = [
        max(p.ps for p in n.pitches)
        for n in part.recurse().notes
        if not n.tie or n.tie.type == "start"
    ]
    written = [n for bar in melody.measures for n in bar.notes if n.pitches and not n.tied]
    assert [max(n.pitches) for n in written] == sounding


def test_humdrum_words_are_those_in_the_spines_beside_the_notes() -> None:
    """Against the columns of the file itself: the soprano's are the last three, none splits."""
    path = CORPUS / "bach" / "bwv277.krn"
    rows = [line.split("\t")[-3:] for line in path.read_text("latin-1").splitlines()]
    rows = [row for row in rows if row[0][0] not in "!*=." and "r" not in row[0]]
    melody = Source(path.read_bytes(), "x.krn", "krn").melody(Choice(part="soprano"))
    played = [n for bar in melody.measures for n in bar.notes if n.pitches]
    assert len(rows) == len(played)
    for verse in (0, 1):
        sung = [n.lyrics[verse] if len(n.lyrics) > verse else "" for n in played]
        printed = [row[1 + verse] for row in rows]
        held = ["_" if one == "|" else "" if one == "." else one.lstrip("-") for one in printed]
        assert sung == held


@pytest.mark.parametrize(("piece", "sections"), [("bwv277", "AAB"), ("bwv366", "AAB")])
def test_humdrum_sections_are_played_as_often_as_the_file_says(piece: str, sections: str) -> None:
    """``*>[A,A,B]`` in the file; what stands between its labels is counted in its columns."""
    path = CORPUS / "bach" / f"{piece}.krn"
    melody = Source(path.read_bytes(), "x.krn", "krn").melody(Choice(part="soprano"))
    count: Counter[str] = Counter()
    section = ""
    rows = [line.split("\t") for line in path.read_text("latin-1").splitlines()]
    for row in (row[-3] for row in rows if len(row) > 2):
        if re.fullmatch(r"\*>\w", row):
            section = row[2:]
        elif row[0] not in "!*=." and "r" not in row and "]" not in row and "_" not in row:
            count[section] += 1
    assert [bar.change.section for bar in melody.measures if bar.change.section] == ["A", "B"]
    assert not any(bar.opens for bar in melody.measures)
    assert len(stream(melody.measures)) == sum(count[name] for name in sections)


@pytest.mark.parametrize(
    ("order", "expected"),
    [("A,B", "c d e"), ("A,B,A", "c d e c"), ("B,A,A", "d e c c"), ("A,C", "c d e")],
)
def test_humdrum_sections_in_their_order(order: str, expected: str) -> None:
    """The syntax of labels and their order, ``*>A`` and ``*>[A,B,A]``; from memory."""
    text = f"**kern\n*M2/4\n*>[{order}]\n*>A\n2cc\n=2\n*>B\n2dd\n=3\n2ee\n==\n*-\n"
    melody = Source(text.encode(), "x.krn", "krn").melody(Choice())
    names = {72.0: "c", 74.0: "d", 76.0: "e"}
    assert " ".join(names[pitch] for _, _, (pitch,) in stream(melody.measures)) == expected
    told = " ".join(melody.lost)
    assert ("there is no section C" in told) is (order == "A,C")
    assert ("written out in their order" in told) is ("A,C" != order != "A,B")


SPLIT = """**kern\t**kern\t**text\t**dynam
*I"Low\t*I"High\t*\t*
*k[]\t*k[]\t*\t*
*a:\t*a:\t*\t*
*M2/4\t*M2/4\t*\t*
4C\t4a\tmor-\tp
*\t*^\t*\t*
4C\t4b\t4g\t-ning\t.
*\t*v\t*v\t*\t*
=2\t=2\t=2\t=2
2C\t2a\tnow\t.
==\t==\t==\t==
*-\t*-\t*-\t*-
"""


@pytest.mark.parametrize(
    ("body", "played"),
    [
        ("=1!|:\n4c\n4d\n=2\n2e\n=3:|!\n2f\n==", "cdecdef"),
        ("=1\n2c\n=2!|:\n4d\n4e\n=:|!|:\n2f\n=4\n2g\n==:|!", "cdedefgfg"),
        ("4g\n=1\n2c\n=2\n4d\n==:|!", "gcdgcd"),
        ("=1\n2c\n=2\n2d\n=:|!\n2e\n==", "cdcde"),
    ],
)
def test_humdrum_repeats(body: str, played: str) -> None:
    """Bar lines of Humdrum: !|: opens a repeat, :|! closes it; no order of sections is given."""
    data = f"**kern\n*M2/4\n{body}\n*-\n".encode()
    melody = Source(data, "x.krn", "krn").melody(Choice())
    names = {60: "c", 62: "d", 64: "e", 65: "f", 67: "g"}
    assert "".join(names[int(p[0])] for _, _, p in stream(melody.measures)) == played
    assert all(bar.notes for bar in melody.measures)


def test_humdrum_parts_by_name_and_voices_by_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The syntax of spines: ``*I"`` names, ``*^`` splits, ``*v`` joins; from memory."""
    path = tmp_path / "split.krn"
    path.write_text(SPLIT)
    assert main(["read", str(path)]) == 2
    assert "1 High; 2 Low" in capsys.readouterr().err
    assert main(["read", str(path), "--part", "high"]) == 2
    assert "choose one with --voice: 1, 2" in capsys.readouterr().err
    assert main(["read", str(path), "--part", "high", "--voice", "1", "--harp", "C"]) == 0
    told = capsys.readouterr()
    assert "lyric: mor- ning | now" in told.out
    assert "| 3v2 3v | 3v2 - |]" in told.out
    assert "key: A minor" in told.out
    assert "no mode" not in told.err
    assert "**dynam (1)" in told.err
    assert main(["read", str(path), "--part", "low"]) == 0
    assert "lyric" not in capsys.readouterr().out


def test_a_tune_of_a_collection(capsys: pytest.CaptureFixture[str]) -> None:
    book = str(CORPUS / "airdsAirs" / "book1.abc")
    assert main(["read", book]) == 2
    assert "choose one by number or title with --tune" in capsys.readouterr().err
    assert main(["read", book, "--tune", "3"]) == 0
    assert "title: The Lads of the Village" in capsys.readouterr().out


# Bad files: one line, status 2, in bounded time and memory.


def bomb(method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>',
        )
        archive.writestr("a.xml", b" " * 60_000_000)
    return out.getvalue()


LAUGHS = b"""<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY a "ha">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><score-partwise>&b;</score-partwise>"""
OUTSIDE = (
    b"""<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><x>&a;</x>"""
)
LASTING = b"""<score-partwise><part-list><score-part id="P1"><part-name>x</part-name></score-part>
</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><pitch><step>C</step><octave>4</octave></pitch><duration>999999999999</duration></note>
</measure></part></score-partwise>"""
NOISE = bytes((i * 7919 + i * i) % 256 for i in range(5000))


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.mxl", bomb(), "unpacks to more than 30 MB"),
        ("a.mxl", bomb()[:200], "damaged archive"),
        ("a.mxl", bomb(zipfile.ZIP_LZMA), "packed in a way that is not allowed"),
        ("a.musicxml", LASTING, "lasts more than 20000 quarter notes"),
        ("a.abc", b"X:1\nM:4/4\nL:1/4\nK:C\nc999999999999 d|\n", "lasts more than"),
        ("a.krn", b"**kern\n4c\n99999999999999999d\n4e\n*-\n", "a.krn:3: '99999999999999999d'"),
        ("a.txt", b"+4 -4 " * 100_000, "200000 notes in one part, more than 8000"),
        ("a.musicxml", LAUGHS, "declares entities"),
        ("a.musicxml", OUTSIDE, "declares entities"),
        ("a.musicxml", b"<score-partwise><part>", "not well-formed XML"),
        ("a.musicxml", b"<html><body/></html>", "no MusicXML score"),
        ("a.musicxml", b"<a>" * 1000, "nested more than"),
        ("a.musicxml", b"X:1\nK:C\nc|", "this is no MusicXML file"),
        ("a.musicxml", b"MThd" + NOISE, "this is MIDI; rename it to end in .mid"),
        ("a.mid", LAUGHS, "this is MusicXML"),
        ("a.mid", b"MThd\0\0\0\6\0\1\0\1\0\x60MTrk\0\0\0\x20\0\x90", "damaged MIDI file"),
        ("a.mid", b"MThd" + NOISE, "tabtool: "),
        ("a.mid", NOISE, "this is no MIDI file"),
        ("a.abc", NOISE, "not a text file"),
        ("a.abc", b"just a letter to a friend", "needs a line K:"),
        ("a.krn", b"**kern\n4c\n*-\n" + NOISE, "not a text file"),
        ("a.krn", b"no spine", "no Humdrum file"),
        ("a.abc", b"", "an empty file"),
        ("a.doc", b"x", "read knows"),
        ("a.abc", b"X:1\nK:C\n" + b"c" * 6_000_000, "larger than 5 MB"),
    ],
)
def test_bad_files(
    name: str, data: bytes, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    assert main(["read", str(path)]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert len(told.strip().splitlines()) == 1


def test_every_truncation_of_a_midi_file_is_told_or_read(tmp_path: Path) -> None:
    import mido

    from tabtool.writers.mid import write

    data = write(load("harp: C\n| 4^ 4v 5^ 5v |\n").score)
    assert len(mido.MidiFile(file=io.BytesIO(data)).tracks) == 2
    for length in range(4, len(data), 7):
        with contextlib.suppress(TabError):  # anything else is a traceback, and fails
            Source(data[:length], "x.mid", "mid").melody(Choice())


def test_a_large_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "big.musicxml"
    with open(path, "wb") as file:
        file.truncate(100_000_000)
        file.seek(0)
        file.write(b"<?xml version='1.0'?>")
    with pytest.raises(TabError, match="larger than 30 MB"):
        open_source(str(path))


# MIDI: our own files back again.


@pytest.mark.parametrize(
    "bars",
    [
        "| 4^ 4v,5^ 5v,-,6^ - |",
        "| 2v2 3v1,6^^ 4^,(4v,5^),5v . |",
        "| 2+3^ 4^~ 3v0.5 4v |",
    ],
)
def test_midi_back_again(bars: str) -> None:
    from tabtool.writers.mid import write

    text = f"harp: C\ntempo: 90\n{bars}\n"
    score = load(text).score
    melody = Source(write(score), "x.mid", "mid").melody(Choice())
    assert melody.measures[0].change.tempo == 90
    expected = [(e.quarters, e.duration, tuple(sorted(e.pitches))) for e in score.events]
    assert stream(melody.measures) == expected


def test_without_music21_one_line_says_how_to_get_it(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_bytes(abc("c2d2e2f2|"))
    code = (
        "import sys; sys.modules['music21'] = None\n"
        f"from tabtool.cli import main; sys.exit(main(['read', {str(tmp_path / 'a.abc')!r}]))"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env)
    assert result.returncode == 2
    assert result.stderr.splitlines() == [
        "tabtool: reading scores needs music21: pip install 'tabtool[read]'"
    ]


# MIDI of others, made with mido.


def midi(*tracks: list[Any], ticks: int = 480) -> bytes:
    import mido

    file = mido.MidiFile(type=1, ticks_per_beat=ticks)
    for messages in tracks:
        file.tracks.append(mido.MidiTrack(messages))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def struck_at(*notes: tuple[int, int, int], channel: int = 0) -> list[Any]:
    """Messages for notes given as tick, pitch and length."""
    import mido

    events = [(at, "note_on", pitch) for at, pitch, _ in notes]
    events += [(at + length, "note_off", pitch) for at, pitch, length in notes]
    now, out = 0, []
    for at, kind, pitch in sorted(events, key=lambda e: (e[0], e[1])):
        out.append(mido.Message(kind, note=pitch, channel=channel, time=at - now))
        now = at
    return out


def test_midi_parts_by_name() -> None:
    import mido

    name = mido.MetaMessage("track_name", name="Fiddle")
    other = mido.MetaMessage("track_name", name="Bass")
    data = midi([], [name, *struck_at((0, 72, 480))], [other, *struck_at((0, 60, 480))])
    with pytest.raises(TabError, match=r"2 parts sound at once.*1 Fiddle; 2 Bass"):
        Source(data, "x.mid", "mid").melody(Choice())
    melody = Source(data, "x.mid", "mid").melody(Choice(part="bass"))
    assert list(melody.pitches()) == [60]


def test_midi_chords_ask_for_a_voice() -> None:
    data = midi([], struck_at(*[(i * 480, p, 900) for i in range(8) for p in (60, 64 + i)]))
    with pytest.raises(TabError, match="--voice highest or --voice lowest"):
        Source(data, "x.mid", "mid").melody(Choice())
    melody = Source(data, "x.mid", "mid").melody(Choice(voice="highest"))
    assert list(melody.pitches()) == [64 + i for i in range(8)]
    assert any("8 notes left out" in remark for remark in melody.lost)


def test_midi_played_freely_is_moved_and_told() -> None:
    """Onsets within a few ticks of the beat become the beat; the remark says by how much."""
    data = midi([], struck_at((3, 60, 460), (477, 62, 470), (966, 64, 220), (1205, 65, 220)))
    melody = Source(data, "x.mid", "mid").melody(Choice())
    assert [at for at, _, _ in stream(melody.measures)] == [0, 1, 2, Fraction(5, 2)]
    assert any("a performance, not in strict time" in remark for remark in melody.lost)


def test_midi_gaps_that_are_a_way_of_playing_are_no_rests() -> None:
    """A quarter held for five sixths of it is a quarter, half of it is an eighth and a rest."""
    data = midi([], struck_at((0, 60, 400), (480, 62, 400), (960, 64, 240), (1440, 65, 360)))
    melody = Source(data, "x.mid", "mid").melody(Choice())
    assert [lasts for _, lasts, _ in stream(melody.measures)] == [
        1, 1, Fraction(1, 2), Fraction(3, 4),
    ]  # fmt: skip
    free = midi([], struck_at((3, 60, 390), (470, 62, 410), (966, 64, 200), (1430, 65, 400)))
    melody = Source(free, "x.mid", "mid").melody(Choice())
    assert [lasts for _, lasts, _ in stream(melody.measures)][:2] == [1, 1]
    assert stream(melody.measures)[2][1] < Fraction(3, 4)


def test_midi_notes_never_ended_sound_to_the_next() -> None:
    import mido

    on = mido.Message("note_on", note=60, velocity=64)
    after = [
        mido.Message("note_on", note=62, time=480),
        mido.Message("note_off", note=62, time=480),
    ]
    melody = Source(midi([], [on, *after]), "x.mid", "mid").melody(Choice())
    assert stream(melody.measures) == [(0, 1, (60,)), (1, 1, (62,))]


def test_midi_percussion_is_told() -> None:
    drums = [m.copy(channel=9) for m in struck_at((0, 36, 480), (480, 36, 480))]
    melody = Source(midi([], [*drums, *struck_at((0, 60, 480))]), "x.mid", "mid").melody(Choice())
    assert any("percussion" in remark and "2 notes" in remark for remark in melody.lost)
    with pytest.raises(TabError, match="only percussion"):
        Source(midi([], drums), "x.mid", "mid").melody(Choice())


def test_midi_bends_count_by_the_range_the_file_sets() -> None:
    """A bend of a quarter of the wheel: half a semitone at 2 semitones (GM2), 3 at 12 (RPN 0)."""
    import mido

    wheel = mido.Message("pitchwheel", pitch=-2048)
    notes = struck_at((0, 72, 480))
    melody = Source(midi([], [wheel, *notes]), "x.mid", "mid").melody(Choice())
    assert list(melody.pitches()) == [71.5]
    rpn = [
        mido.Message("control_change", control=control, value=value)
        for control, value in ((101, 0), (100, 0), (6, 12))
    ]
    melody = Source(midi([], [*rpn, wheel, *notes]), "x.mid", "mid").melody(Choice())
    assert list(melody.pitches()) == [69]


def test_midi_meter_and_tempo() -> None:
    import mido

    head = [
        mido.MetaMessage("time_signature", numerator=6, denominator=8),
        mido.MetaMessage("set_tempo", tempo=500_000),
        mido.MetaMessage("time_signature", numerator=2, denominator=4, time=1440),
        mido.MetaMessage("set_tempo", tempo=1_000_000),
    ]
    data = midi(head, struck_at((0, 72, 1440), (1440, 74, 960)))
    text = notate(Source(data, "x.mid", "mid").melody(Choice()), make_harp("C")).text
    stretches = load(text).score.stretches
    assert [s.setting.meter.text for s in stretches] == ["6/8", "2/4"]
    # 120 quarters a minute are 80 dotted quarters; then 60 quarters.
    assert [s.setting.tempo for s in stretches] == [80, 60]


def test_a_file_that_would_last_for_ever_is_refused() -> None:
    import mido

    late = [mido.Message("note_on", note=60, time=200_000_000), mido.Message("note_off", note=60)]
    late[1].time = 480
    with pytest.raises(TabError, match="lasts more than"):
        Source(midi([], late, ticks=24), "x.mid", "mid").melody(Choice())


@pytest.mark.parametrize("form", ["musicxml", "abc", "krn", "mxl"])
def test_truncated_scores_are_told_or_read(form: str) -> None:
    from tabtool.scores.staff import staff
    from tabtool.writers import musicxml, mxl
    from tabtool.written import as_written

    tune = load("harp: C\nmeter: 4/4\n| 4^ 4v 5^ 5v | 6^ - - - |\n").tune
    paper = staff(tune, as_written(tune))
    data = {
        "musicxml": musicxml.write(paper),
        "mxl": mxl.write(paper),
        "abc": abc("c2d2 (3efg [ce]2|{d}c8|\nw:one two-three"),
        "krn": b"**kern\n*M4/4\n*k[]\n=1\n4cc\n4dd\n(8ee\n8ff)\n4gg\n==\n*-\n",
    }[form]
    told = 0
    for length in range(1, len(data), max(1, len(data) // 25)):
        try:
            Source(data[:length], f"x.{form}", form).melody(Choice())
        except TabError:
            told += 1
    assert told
