"""Real music: public-domain tunes tabbed by hand, against music21's reading of the collection.

The tunes are from Ryan's Mammoth Collection (1883), whose encodings music21 brings along in
its corpus; the tabs in `tests/tunes` were made from the notes, by hand.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from tabtool.load import Loaded, load_file

TUNES = Path(__file__).parent / "tunes"
# Each tab with its place in music21's corpus and how many notes are played, repeats played out.
READINGS = {
    "paddy-whack": ("ryansMammoth/PaddyWhackJig", 188),
    "keel-row": ("ryansMammoth/KeelRowReel", 208),
    "off-she-goes": ("ryansMammoth/OffSheGoesJig", 138),
}


def tabbed(name: str) -> Loaded:
    return load_file(str(TUNES / f"{name}.harptab"))


def test_every_tune_is_compared() -> None:
    assert {path.stem for path in TUNES.glob("*.harptab")} == set(READINGS)


@pytest.mark.parametrize("name", READINGS)
def test_tabs_are_clean(name: str) -> None:
    assert not tabbed(name).diagnostics


@pytest.mark.parametrize("name", READINGS)
def test_tabs_equal_the_reading_of_music21_in_every_pitch_and_duration(name: str) -> None:
    """Note by note with the repeats played out: pitch, length in quarter notes, staccato."""
    corpus = pytest.importorskip("music21.corpus", reason="music21 is not installed")
    path, count = READINGS[name]
    read = corpus.parse(path).expandRepeats().flatten().notes
    wanted = [
        (
            note.pitch.midi,
            Fraction(note.quarterLength),
            any(mark.name == "staccato" for mark in note.articulations),
        )
        for note in read
    ]
    found = [
        (
            event.pitches[0],
            event.duration * event.setting.meter.beat_quarters,
            event.figure.marks.staccato,
        )
        for event in tabbed(name).score.events
    ]
    assert found == wanted
    assert len(wanted) == count


@pytest.mark.parametrize("name", READINGS)
def test_keys_and_meters_equal_the_reading_of_music21(name: str) -> None:
    corpus = pytest.importorskip("music21.corpus", reason="music21 is not installed")
    read = corpus.parse(READINGS[name][0]).flatten()
    setting = tabbed(name).score.events[0].setting
    (signature,) = read.getElementsByClass("KeySignature")
    (meter,) = read.getElementsByClass("TimeSignature")
    assert setting.key is not None
    assert setting.key.fifths == signature.sharps
    assert setting.meter.text == meter.ratioString
