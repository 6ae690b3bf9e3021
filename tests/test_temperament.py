"""Temperaments, reference pitch and Scala files, against published tables."""

from __future__ import annotations

import doctest
import json
import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tabtool import temperament
from tabtool.cli import main
from tabtool.diagnostics import TabError
from tabtool.header import find_temperament
from tabtool.load import load
from tabtool.music import cents_between, hz
from tabtool.scala import parse_scala, read_scala
from tabtool.temperament import NAMES, TemperamentError, named

SCHEMES = [named(name) for name in NAMES]

# OEIS A291810: semitones above the root, blow and draw alternating, holes 1 to 10.
RICHTER = [0, 2, 4, 7, 7, 11, 12, 14, 16, 17, 19, 21, 24, 23, 28, 26, 31, 29, 36, 33]

# Cents from equal temperament by hole, as printed in "Theory of harmonica tuning";
# the 7-limit and third-position rows are derived from the ratios of ji_hca02 and ji_hca03.scl.
BLOW = [0, -14, 2, 0, -14, 2, 0, -14, 2, 0]
DRAW = {
    "5-limit": [4, 2, -12, 4, -2, -16, -12, 4, -2, -16],
    "second-third": [4, 2, -12, 4, -2, 6, -12, 4, -2, 6],
    "19-limit": [4, 2, -12, 4, 1, 6, -12, 4, 1, 6],
    "7-limit": [4, 2, -12, 4, -29, 6, -12, 4, -29, 6],
    "third-position": [4, 2, -12, 4, 20, 6, -12, 4, 20, 6],
}


def test_examples() -> None:
    assert doctest.testmod(temperament).failed == 0


@pytest.mark.parametrize("name", DRAW)
@pytest.mark.parametrize("tonic", [53, 60, 67])
def test_hole_tables(name: str, tonic: int) -> None:
    """Source: the hole tables named above, whole cents."""
    scheme = named(name)
    blow = [round(scheme.cents(tonic + step, tonic)) for step in RICHTER[0::2]]
    draw = [round(scheme.cents(tonic + step, tonic)) for step in RICHTER[1::2]]
    assert blow == BLOW
    assert draw == DRAW[name]


def test_second_position_draw_chord_is_4_5_6_7() -> None:
    """Source: in the 7-limit tuning draw 2-3-4-5 do not beat (same table, second position)."""
    tuned = [named("7-limit").hz(60 + RICHTER[2 * hole - 1], 60) for hole in (2, 3, 4, 5)]
    assert [round(4 * f / tuned[0], 9) for f in tuned] == [4, 5, 6, 7]


def test_compromise_thirds_are_midway() -> None:
    """Source: "Es and Bs tuned midway between just and equal", a tuning list, 1996."""
    just, midway = named("5-limit"), named("compromise")
    for step in (4, 11):
        assert midway.degrees[step] == pytest.approx(just.degrees[step] / 2)
    assert all(abs(cents) < 8.9 for cents in midway.degrees)


def test_equal_temperament_frequencies() -> None:
    """Source: OEIS A214832, floor of 440·2^((n−49)/12) for piano keys n = 40 to 52, C4 to C5."""
    floors = [261, 277, 293, 311, 329, 349, 369, 391, 415, 440, 466, 493, 523]
    equal = named("equal")
    assert [math.floor(equal.hz(key, 60) + 1e-9) for key in range(60, 73)] == floors
    # OEIS A329207 and A329208.
    assert equal.hz(60, 60) == pytest.approx(261.6255653005986346, abs=1e-10)
    assert equal.hz(61, 60) == pytest.approx(277.1826309768, abs=1e-9)


def test_a_just_harp_is_referred_to_its_tonic() -> None:
    """Source: a published file note: at A4 = 443 a C harp has C4 at 263 Hz (263.41)."""
    assert named("5-limit").hz(60, 60, 443) == pytest.approx(263.41, abs=0.005)
    # The A of that harp is 5/3 of its C, not 443 Hz.
    assert named("5-limit").hz(69, 60, 443) == pytest.approx(263.4093 * 5 / 3, abs=1e-3)
    # On an A harp the same note is the tonic.
    assert named("5-limit").hz(69, 57, 443) == pytest.approx(443)


@pytest.mark.parametrize(("a4", "cents"), [(441, 3.93), (442, 7.85), (443, 11.76), (446, 23.45)])
def test_reference_pitch_in_cents(a4: float, cents: float) -> None:
    """Source: arithmetic, 1200·log2(a4/440)."""
    up = cents_between(hz(60), named("equal").hz(60, 60, a4))
    assert up == pytest.approx(cents, abs=0.006)


@pytest.mark.parametrize(
    ("text", "pitch"),
    [("442", 442), ("441.5 Hz", 441.5), (" 430hz ", 430), ("A442", 442), ("A4 = 443 Hz", 443)],
)
def test_reference_pitch_is_read(text: str, pitch: float) -> None:
    assert temperament.reference_pitch(text) == pitch


@pytest.mark.parametrize("text", ["429.9", "450.1", "A4", "concert", "", "-440", "44O"])
def test_reference_pitch_is_refused(text: str) -> None:
    with pytest.raises(TemperamentError, match="reference pitch"):
        temperament.reference_pitch(text)


@given(
    st.sampled_from(SCHEMES),
    st.floats(36, 108, allow_nan=False),
    st.integers(48, 72),
    st.floats(0.001, 0.5),
)
def test_glides_have_no_step(
    scheme: temperament.Temperament, pitch: float, tonic: int, part: float
) -> None:
    """Neighbouring pitches sound as neighbours, and never in the wrong order."""
    low, high = scheme.tuned(pitch, tonic), scheme.tuned(pitch + part, tonic)
    assert 0.4 * part < high - low < 1.6 * part


def test_octaves_repeat() -> None:
    for scheme in SCHEMES:
        assert scheme.degrees[0] == 0
        for pitch in range(48, 100):
            assert scheme.cents(pitch, 60) == scheme.cents(pitch, 72) == scheme.cents(pitch, 48)


def test_unknown_name_lists_the_names() -> None:
    with pytest.raises(TemperamentError) as caught:
        named("meantone")
    for scheme in SCHEMES:
        assert scheme.name in str(caught.value)


SEVEN = """! my harp
!
just, first position
 7
!
 9/8
 5/4  the third
 498.045
 3/2
 5/3
 15/8 ! leading note
 2
"""


def test_seven_note_scale_is_enough() -> None:
    """The white notes of the 5-limit table; what the scale leaves out stays equal."""
    scale = parse_scala(SEVEN, "mine.scl")
    assert (scale.name, scale.title) == ("mine", "just, first position")
    for step in range(12):
        expected = named("5-limit").degrees[step] if step in (2, 4, 5, 7, 9, 11) else 0
        assert scale.degrees[step] == pytest.approx(expected, abs=1e-3)


def test_stretched_octave_is_followed() -> None:
    """A published scheme stretches octaves by 2 cents; the tonic itself stays where it was."""
    notes = "".join(f"{cents}.\n" for cents in range(100, 1200, 100))
    scale = parse_scala(f"stretched\n12\n{notes}1202.\n")
    assert [scale.cents(60 + 12 * n, 60) for n in (-1, 0, 1, 2)] == [-2, 0, 2, 4]


FAULTS = {
    "not a number of notes": ("d\ntwelve\n2/1\n", "2:1", "number of notes"),
    "too few notes": ("d\n 3\n5/4\n3/2\n", "2:2", "3 notes are announced and 2 follow"),
    "no notes": ("d\n0\n", "2:1", "0 notes"),
    "empty": ("! only a comment\n", "2:1", "ends before its number of notes"),
    "words": ("d\n2\n  quarter\n2/1\n", "3:3", "'quarter'"),
    "negative ratio": ("d\n2\n-3/2\n2/1\n", "3:1", "not above zero"),
    "zero below": ("d\n2\n3/0\n2/1\n", "3:1", "not above zero"),
    "no octave": ("d\n3\n5/4\n3/2\n3/1\n", "5:1", "not an octave"),
    "two on a semitone": ("d\n3\n10/9\n9/8\n2/1\n", "4:1", "line 3 has already"),
    "two at the tonic": ("d\n2\n20.\n2/1\n", "3:1", "the tonic"),
    "a decimal comma": ("d\n2\n386,3\n2/1\n", "3:1", "386,3"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_are_placed(fault: str) -> None:
    text, place, words = FAULTS[fault]
    with pytest.raises(TemperamentError) as caught:
        parse_scala(text, "bad.scl")
    assert str(caught.value).startswith(f"bad.scl:{place}: ")
    assert words in str(caught.value)


@given(st.text(alphabet="!0123456789./- \ncents", max_size=80))
def test_any_text_reads_or_is_refused(text: str) -> None:
    try:
        degrees, fault = parse_scala(text).degrees, ""
    except TemperamentError as error:
        degrees, fault = (), str(error)
    assert all(abs(cents) <= 50 for cents in degrees)
    assert bool(degrees) != bool(re.match(r"scale\.scl:\d+:\d+: ", fault))


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(TabError, match=r"none\.scl: cannot be read"):
        find_temperament("none.scl", str(tmp_path))


def test_scala_archive() -> None:
    """Source: the Scala archive as shipped and read by music21, every scale a harp can take."""
    music21 = pytest.importorskip("music21")
    folder = Path(music21.__file__).parent / "scale/scala/scl"
    read = refused = 0
    for path in sorted(folder.glob("[a-h]*.scl")):
        file = music21.scale.scala.ScalaFile()
        file.open(path)
        try:
            cents = file.read().getCentsAboveTonic()
        except (ValueError, TypeError, ZeroDivisionError, OverflowError):
            continue  # music21 itself cannot read a few; then there is nothing to compare
        finally:
            file.close()
        steps = [round(value / 100) % 12 for value in cents[:-1]]
        distinct = len({0, *steps}) == len(steps) + 1
        if not (cents and abs(cents[-1] - 1200) < 50 and distinct):
            with pytest.raises(TemperamentError):
                read_scala(str(path))
            refused += 1
            continue
        scale = read_scala(str(path))
        for step, value in zip(steps, cents[:-1], strict=True):
            off = (value - 100 * step + 50) % 1200 - 50
            assert scale.degrees[step] == pytest.approx(off, abs=1e-9), path.name
        read += 1
    assert read > 300
    assert refused > 300


def test_duodene_gives_the_chromatic_degrees() -> None:
    """Source: duodene.scl (A. J. Ellis), Scala archive as shipped by music21."""
    music21 = pytest.importorskip("music21")
    path = Path(music21.__file__).parent / "scale/scala/scl/duodene.scl"
    duodene = read_scala(str(path))
    assert named("5-limit").degrees == pytest.approx(duodene.degrees)


TUNE = """harp: A
key: E
pitch: 442
temperament: 7-limit

| 2v 3v 4v 5v |
[low]
temperament: equal
| 2v 3v 4v 5v |
"""


def test_a_tune_follows_its_temperament() -> None:
    """Draw 2-3-4-5 as 4:5:6:7 above the second-position root, then in equal temperament."""
    events = load(TUNE).score.events
    sounding = [e.setting.hz(e.pitches[0] or 0) for e in events]
    assert [round(4 * f / sounding[0], 6) for f in sounding[:4]] == [4, 5, 6, 7]
    assert sounding[4:] == pytest.approx([hz(p, 442) for p in (64, 68, 71, 74)])
    # A just harp is referred to its tonic: A3 is exactly 221 Hz, its fifth 3/2 of that.
    assert sounding[0] == pytest.approx(221 * 3 / 2)


def test_options_stand_in_for_the_header() -> None:
    events = load(TUNE, temperament=named("5-limit"), a4=440.0).score.events
    assert events[3].setting.cents(74) == pytest.approx(-1.96, abs=0.005)  # 4/3
    assert events[7].setting.hz(64) == pytest.approx(330)  # 3/2 of A3 = 220 Hz


def test_headers_are_checked() -> None:
    wrong = "harp: C\npitch: 460\ntemperament: meantone\n| 2v |\n"
    found = [(d.span.line, d.rule.name) for d in load(wrong).diagnostics]
    assert found == [(2, "header-value"), (3, "header-value")]


def test_a_scale_beside_the_tune(tmp_path: Path) -> None:
    (tmp_path / "mine.scl").write_text(SEVEN)
    text = "harp: C\ntemperament: mine.scl\n| 3^ 3v |\n"
    loaded = load(text, folder=str(tmp_path))
    assert not loaded.diagnostics
    assert [e.setting.cents(e.pitches[0] or 0) for e in loaded.score.events] == pytest.approx(
        [1.96, -11.73], abs=0.005
    )


def test_layout_shows_the_cents(capsys: pytest.CaptureFixture[str]) -> None:
    """Source: the 7-limit hole table above, in a table a person reads and as JSON."""
    assert main(["layout", "A", "--temperament", "7-limit", "--pitch", "442"]) == 0
    printed = capsys.readouterr().out
    draw = next(line for line in printed.splitlines() if line.split()[:1] == ["draw"])
    assert [int(cents) for cents in draw.split()[2::2]] == DRAW["7-limit"]
    assert "A3 at 221.00 Hz" in printed
    assert main(["layout", "C", "--temperament", "19-limit", "--json"]) == 0
    holes = json.loads(capsys.readouterr().out)["holes"]
    assert [round(hole["draw"]["cents"]) for hole in holes] == DRAW["19-limit"]
    assert [round(hole["blow"]["cents"]) for hole in holes] == BLOW
    assert holes[4]["draw"]["hz"] == pytest.approx(hz(77) * 2 ** (1.42 / 1200), abs=0.01)
