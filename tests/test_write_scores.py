"""Tunes written out as scores, checked by the published schema and by libraries of others.

Sources: MusicXML 4.0 schema and sounds.xml (W3C, in ../shared/reference where present);
music21 and verovio, which read the files; ABC standard 2.1 for annotations.
"""

from __future__ import annotations

import csv
import io
import json
import re
import warnings
import xml.etree.ElementTree as ElementTree
import zipfile
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tabtool.canonical import write as canonical
from tabtool.cli import main
from tabtool.load import load
from tabtool.music import FREE, parse_meter
from tabtool.readers import Choice, Source
from tabtool.scores.choose import best_harp
from tabtool.scores.measures import Melody, Sounded, filled, stream
from tabtool.scores.notate import notate
from tabtool.scores.staff import Staff, staff
from tabtool.scores.values import values
from tabtool.symbols import QUALITIES, parse_symbol
from tabtool.tunings import TUNINGS, make_harp
from tabtool.writers import abc, musicxml, mxl
from tabtool.writers.musicxml import TabAs
from tabtool.written import as_written

music21 = pytest.importorskip("music21")
ROOT = Path(__file__).resolve().parent.parent
SCHEMA = ROOT.parent / "shared" / "reference" / "musicxml-4.0"
SONGS = sorted((ROOT / "songs").glob("*.harptab"))

TUNE = """title: Kettle & Lid
composer: trad.
harp: C
key: G
tempo: 96
feel: shuffle
meter: 4/4

| . . . "D7"4v,4^ |
lyric: Oh the
|: "G"2v,3^,3v2 2v,- {5v}4^;! (4v,4v2),- | /4v~ - -,"C"- 3v |1 2+3v 6^^ "C/E"4~5v -,-,5v :|
lyric: Ket- tle on the | boil | now and then
|2 4^ 4^,4v,5^,5v,6^ - - |
lyric: end of it

[Bridge]
meter: 6/8
tempo: 80
| 4v,4v,4v 4v,-,5^ | 6^,- 5v ||

[]
meter: 3/4
key: A minor
tempo: 100
| 4v 5v 6v | - - 6v |]
"""


def laid(text: str, folder: Path = ROOT / "songs") -> Staff:
    tune = load(text, folder=str(folder)).tune
    return staff(tune, as_written(tune))


def back(data: bytes, form: str) -> Melody:
    return Source(data, f"x.{form}", form).melody(Choice())


def events(text: str) -> list[tuple[Fraction, Fraction, str, str]]:
    """What a text plays: onset, duration, the tab and the word of every note."""
    return [(e.onset, e.duration, e.figure.token, e.lyric) for e in load(text).score.events]


def schema():  # type: ignore[no-untyped-def]
    if not SCHEMA.exists():
        pytest.skip("no copy of the MusicXML 4.0 schema beside this checkout")
    xmlschema = pytest.importorskip("xmlschema")
    return xmlschema.XMLSchema(
        str(SCHEMA / "musicxml.xsd"),
        locations={
            "http://www.w3.org/XML/1998/namespace": str(SCHEMA / "xml.xsd"),
            "http://www.w3.org/1999/xlink": str(SCHEMA / "xlink.xsd"),
        },
        allow="local",
        uri_mapper=lambda uri: str(SCHEMA / uri.rsplit("/", 1)[-1]),
    )


@pytest.mark.parametrize("tab", list(TabAs))
def test_valid_against_the_published_schema(tab: TabAs) -> None:
    checker = schema()
    texts = [TUNE, *(path.read_text() for path in SONGS[:6])]
    for text in texts:
        checker.validate(io.BytesIO(musicxml.write(laid(text), tab)))
    symbols = 'harp: C\n| "N.C."4v "Ealt"4v "C7b9/E"4v "odd"4v |\n'
    checker.validate(io.BytesIO(musicxml.write(laid(symbols), tab)))


def test_the_sound_is_one_of_the_standard() -> None:
    if not SCHEMA.exists():
        pytest.skip("no copy of sounds.xml beside this checkout")
    known = {e.get("id") for e in ElementTree.parse(SCHEMA / "sounds.xml").iter("sound")}
    assert musicxml.SOUND in known
    root = ElementTree.fromstring(musicxml.write(laid(TUNE)))
    assert root.findtext(".//instrument-sound") == musicxml.SOUND
    assert root.findtext(".//midi-program") == "23"  # GM2 table, counted from 1


@pytest.mark.parametrize("form", ["musicxml", "mxl", "abc"])
def test_read_back_it_is_the_same_tune(form: str, tmp_path: Path) -> None:
    """All of it: notes, tab, words, chord symbols, endings, meters, keys, tempi."""
    source, out, again = (tmp_path / name for name in ("a.harptab", f"a.{form}", "b.harptab"))
    source.write_text(TUNE)
    assert main(["write", str(source), "-o", str(out)]) == 0
    assert main(["read", str(out), "-o", str(again)]) == 0
    assert events(again.read_text()) == events(TUNE)
    one, two = load(TUNE), load(again.read_text())
    assert [(s.onset, s.text) for s in one.score.symbols] == [
        (s.onset, s.text) for s in two.score.symbols
    ]
    for before, after in zip(one.score.stretches, two.score.stretches, strict=True):
        lost = {"feel": "straight", "swing": Fraction(1, 2)} if form == "abc" else {}
        assert after.setting == before.setting._replace(**lost)
    assert [bar.number for bar in one.score.bars] == [bar.number for bar in two.score.bars]


def test_technical_text_is_read_back_as_tab(tmp_path: Path) -> None:
    source, out, again = (tmp_path / name for name in ("a.harptab", "a.xml", "b.harptab"))
    source.write_text(TUNE)
    assert main(["write", str(source), "-o", str(out), "--tab", "technical"]) == 0
    assert main(["read", str(out), "-o", str(again)]) == 0
    assert events(again.read_text()) == events(TUNE)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_every_song_comes_back(path: Path, form: str) -> None:
    text = path.read_text()
    paper = laid(text)
    data = musicxml.write(paper) if form == "musicxml" else abc.write(paper)
    melody = back(data, form)
    if form == "musicxml" or not any(pitch % 1 for pitch in paper.melody.pitches()):
        assert stream(melody.measures) == stream(paper.melody.measures)


Heard = tuple[Fraction, Fraction, tuple[float, ...]]  # onset, length, pitches


def heard_by_music21(data: bytes, form: str) -> list[Heard]:
    """Onset, duration and pitches of the written notes, ties joined, as music21 reads them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        part = music21.converter.parseData(data.decode(), format=form).parts[0]
    found: list[Heard] = []
    for note in part.recurse().notes:
        if isinstance(note, music21.harmony.ChordSymbol) or note.duration.isGrace:
            continue
        at = Fraction(note.getOffsetInHierarchy(part))
        pitches = tuple(sorted(p.ps for p in note.pitches))
        if note.tie is not None and note.tie.type != "start" and found[-1][2] == pitches:
            found[-1] = found[-1][0], at + Fraction(note.quarterLength) - found[-1][0], pitches
        else:
            found.append((at, Fraction(note.quarterLength), pitches))
    return found


def as_it_stands(paper: Staff) -> list[Heard]:
    once = [m._replace(opens=False, closes=False, endings=()) for m in paper.melody.measures]
    start = next(n.onset for n in once[0].notes if n.pitches)
    return [(at + start, length, pitches) for at, length, pitches in stream(once)]


@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_music21_hears_what_we_wrote(form: str) -> None:
    """music21 by itself, without our reader: onset, duration and pitch of every note."""
    text = TUNE.split("\n[Bridge]")[0] if form == "abc" else TUNE  # it loses changes of meter
    paper = laid(text)
    data = musicxml.write(paper) if form == "musicxml" else abc.write(paper)
    assert heard_by_music21(data, form) == as_it_stands(paper)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_music21_hears_every_song(path: Path, form: str) -> None:
    """The file as it is written, tab and all: music21 reads it, and hears the tune."""
    paper = laid(path.read_text())
    wanted = as_it_stands(paper)
    if form == "musicxml":
        assert heard_by_music21(musicxml.write(paper), form) == wanted
        return
    heard = heard_by_music21(abc.write(paper), form)
    # ABC has no sign for a quarter tone, and music21 loses the ties of its chords.
    lowered = [(at, lasts, tuple(p - p % 1 for p in pitches)) for at, lasts, pitches in wanted]
    assert chords_joined(heard) == chords_joined(lowered)


@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_every_chord_symbol_comes_back(form: str) -> None:
    """Of the qualities known here, and those no one knows; what sounds is what counts."""
    symbols = [f"B♭{quality}" for quality in QUALITIES]
    symbols += ["N.C.", "Ealt", "C7b9/E", "F#7alt", "C"]
    bars = " | ".join(f'"{one}"4v - - -' for one in symbols)
    paper = laid(f"harp: C\n| {bars} |\n")
    data = musicxml.write(paper) if form == "musicxml" else abc.write(paper)
    melody = Source(data, f"x.{form}", form).melody(Choice())
    read = [text for bar in melody.measures for _, text in bar.symbols]
    assert [parse_symbol(text) or text for text in read] == [
        parse_symbol(text) or text for text in symbols
    ]


@pytest.mark.parametrize("root", ["C", "F#", "B♭"])
def test_abc_chord_symbols_are_music21s(root: str) -> None:
    """ABC 2.1, 4.18: m for minor, # and b. Where music21 knows a symbol, it has all our notes."""
    unknown = []
    for quality in QUALITIES:
        chord = parse_symbol(root + quality)
        assert chord is not None
        data = abc.write(laid(f'harp: C\nkey: C\n| "{root}{quality}"/4v 4^ 4^ 4^ |\n'))
        written = music21.converter.parseData(data.decode(), format="abc").recurse()
        for read in written.getElementsByClass("ChordSymbol"):
            assert read.root().pitchClass == chord.notes[0]
            if quality != "69":  # music21 has no third in it
                assert set(chord.notes) <= {pitch.pitchClass for pitch in read.pitches}
            break
        else:
            unknown.append(quality)
    odd = {"°", "°7", "ø", "Δ", "Δ7", "maj6", "6/9", "maj9", "M9", "mmaj7", "m(maj7)"}
    assert set(unknown) <= odd


def chords_joined(notes: list[Heard]) -> list[Heard]:
    """The notes, with chords that follow themselves without a gap as one."""
    found: list[Heard] = []
    for at, lasts, pitches in notes:
        start, before, same = found[-1] if found else (at, Fraction(0), ())
        if len(pitches) > 1 and (start + before, same) == (at, pitches):
            found[-1] = start, before + lasts, pitches
        else:
            found.append((at, lasts, pitches))
    return found


def test_verovio_hears_what_we_wrote() -> None:
    verovio = pytest.importorskip("verovio")
    paper = laid(TUNE.replace("3v0.5", "3v"))
    toolkit = verovio.toolkit()
    toolkit.setOptions({"xmlIdSeed": 1})
    assert toolkit.loadData(musicxml.write(paper).decode())
    found = {
        (round(moment["qstamp"], 3), float(toolkit.getMIDIValuesForElement(name)["pitch"]))
        for moment in toolkit.renderToTimemap()  # repeats are played out in it
        for name in moment.get("on", ())
    }
    start = next(n.onset for n in paper.melody.measures[0].notes if n.pitches)
    wanted = {
        (round(float(at + start), 3), pitch)
        for at, _, pitches in stream(paper.melody.measures)
        for pitch in pitches
    }
    assert wanted <= found
    others = found - wanted  # verovio strikes tied notes again, and grace notes just before
    graces = sum(len(note.grace) for m in paper.melody.measures for note in m.notes)
    tied = sum(1 for m in paper.melody.measures for v in values(m) if not v.first or v.note.tied)
    assert len(others) <= 2 * (graces + tied)


def test_abc_annotations_are_not_played() -> None:
    """4.19: a quoted string that begins with ^ stands over the note and is not played."""
    text = abc.write(laid(TUNE)).decode()
    tokens = re.findall(r'"\^([^"]*)"', text)
    written = [note.figure.token for note in load(TUNE).tune.notes()]
    assert [token.replace(" ", ",") for token in tokens] == written
    assert abc.write(laid(TUNE), tab=False).decode().count('"^') == 0


def test_accidentals_in_abc_survive_every_way_of_holding_on() -> None:
    """F sharp, F, F in one bar of C: each is marked, so that no rule of holding on matters."""
    text = abc.write(laid("harp: C\nkey: C\n| 2v1 2v2 5v 4^ |")).decode()
    assert re.sub(r'"[^"]*"', "", text).splitlines()[-1] == " ^F2 =F2 =f2 c2 |"


def test_accidentals_in_abc_where_no_key_is_named() -> None:
    """ABC 2.1, 3.1.14: K:none has no accidentals, so each note has its own; checked by music21."""
    paper = laid("harp: D\n| 4^ 4v 5^ 5v | 6^ 6v 7v 7^ |\n")
    data = abc.write(paper)
    assert b"K:none" in data
    assert heard_by_music21(data, "abc") == as_it_stands(paper)
    assert stream(back(data, "abc").measures) == stream(paper.melody.measures)


@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_an_ending_goes_on_over_a_change_of_meter(form: str) -> None:
    """The first ending lasts to its :| (ABC 2.1, 4.9), whatever changes on the way."""
    text = (
        "harp: C\nkey: C\nmeter: 4/4\n|: 4^ - - - |1 4v - - - |\n\n"
        "[]\nmeter: 3/4\n| 5^ - - :|2 5v - - |\n\n[]\nmeter: 4/4\n| 6^ - - - |\n"
    )
    paper = laid(text)
    assert [pitch for _, _, (pitch,) in stream(paper.melody.measures)] == [
        72, 74, 76, 72, 77, 79,
    ]  # fmt: skip
    assert [e.quarters for e in load(text).score.events] == [0, 4, 8, 11, 15, 18]
    data = musicxml.write(paper) if form == "musicxml" else abc.write(paper)
    assert stream(back(data, form).measures) == stream(paper.melody.measures)


def test_compressed_form() -> None:
    """MusicXML 4.0: the archive begins with its type, and the container names the score."""
    data = mxl.write(laid(TUNE))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.namelist()[0] == "mimetype"
        assert archive.read("mimetype") == b"application/vnd.recordare.musicxml"
        assert archive.read("score.musicxml") == musicxml.write(laid(TUNE))
    assert mxl.write(laid(TUNE)) == data


PARTS = st.recursive(
    st.sampled_from(["4^", "5v", "3v1", "-", ".", "6^"]),
    lambda inner: st.lists(inner, min_size=2, max_size=3).map(lambda p: f"({','.join(p)})"),
    max_leaves=6,
)
BEAT = st.lists(PARTS, min_size=1, max_size=5).map(",".join)
BARS = st.lists(st.lists(BEAT, min_size=4, max_size=4).map(" ".join), min_size=2, max_size=3)


@settings(max_examples=40, deadline=None)
@given(bars=BARS, meter=st.sampled_from(["4/4", "12/8", "4/2"]))
def test_any_rhythm_there_and_back(bars: list[str], meter: str) -> None:
    """Any division of beats comes back from MusicXML and ABC exactly, through music21."""
    text = f"harp: C\nmeter: {meter}\n| 4^ 4^ 4^ 4^ | " + " | ".join(bars) + " |\n"
    paper = laid(text)
    data = musicxml.write(paper)
    wanted = stream(paper.melody.measures)
    assert stream(back(data, "musicxml").measures) == wanted
    harp = make_harp("C")
    assert harp is not None
    again = notate(back(data, "musicxml"), harp)
    assert stream(laid(again.text).melody.measures) == wanted


@given(onset=st.integers(0, 15), length=st.integers(1, 16))
def test_printed_notes_add_up(onset: int, length: int) -> None:
    """Values are at most double-dotted and add up to the sound they print."""
    meter = parse_meter("4/4")
    assert meter is not None
    start, lasts = Fraction(onset, 4), min(Fraction(length, 4), Fraction(16 - onset, 4))
    from tabtool.scores.measures import Measure

    bar = filled(Measure(Fraction(4), meter, (Sounded(start, lasts, (60.0,)),)))
    printed = [value for value in values(bar) if value.note.pitches]
    assert sum(value.duration for value in printed) == lasts
    assert all(value.dots <= 2 and value.actual == 1 for value in printed)


def test_free_meter_there_and_back() -> None:
    text = "harp: C\nmeter: free\n| 4^ 4v 5^ 5v 6^ |\n"
    melody = back(musicxml.write(laid(text)), "musicxml")
    assert all(measure.meter == FREE for measure in melody.measures)
    assert stream(melody.measures) == stream(laid(text).melody.measures)


def test_tables(tmp_path: Path) -> None:
    source = tmp_path / "a.harptab"
    source.write_text(TUNE)
    for suffix in ("csv", "json"):
        assert main(["write", str(source), "-o", str(tmp_path / f"a.{suffix}")]) == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "a.csv").read_text())))
    table = json.loads((tmp_path / "a.json").read_text())
    assert [row["written"] for row in rows] == [note["written"] for note in table["notes"]]
    assert [row["onset"] for row in rows] == [str(e.onset) for e in load(TUNE).score.events]
    assert table["title"] == "Kettle & Lid"


def test_a_cell_is_never_a_formula(tmp_path: Path) -> None:
    source = tmp_path / "a.harptab"
    source.write_text("harp: C\n| 4^ 4v 5^ 5v |\nlyric: =1+1 @x b c\n")
    assert main(["write", str(source), "-o", str(tmp_path / "a.csv")]) == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "a.csv").read_text())))
    assert rows[0]["lyric"] == "'=1+1"


def test_what_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / "a.harptab"
    source.write_text("| 4^ 4v 5^ 5v |\n")
    assert main(["write", str(source), "-o", str(tmp_path / "a.musicxml")]) == 2
    assert not (tmp_path / "a.musicxml").exists()
    assert main(["write", str(source), "-o", str(tmp_path / "a.doc")]) == 2
    assert "write knows .musicxml" in capsys.readouterr().err
    source.write_text("# by ear\n" + TUNE.replace("harp: C\n", "harp: C\npitch: 442\n"))
    assert main(["write", str(source), "-o", str(tmp_path / "a.abc")]) == 0
    told = capsys.readouterr().err
    assert "the feel is not written" in told
    assert "headers (pitch) have no place in it" in told
    assert "comments (1) have no place in it" in told
    assert "shakes (1) stand in the tab only" in told


@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_another_harp_half_way_is_told(
    form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source, out = tmp_path / "a.harptab", tmp_path / f"a.{form}"
    source.write_text("harp: C\n| 4^ 4v 5^ 5v |\n\n[b]\nharp: G\n| 4^ 4v 5^ 5v |\n")
    assert main(["write", str(source), "-o", str(out)]) == 0
    assert main(["read", str(out)]) == 0
    assert "bar 2 asks for another harp (G harp, Richter tuning)" in capsys.readouterr().err


def test_canonical_text_is_unchanged_by_the_way_through_music_xml(tmp_path: Path) -> None:
    plain = "title: Scale\nharp: C\nkey: C\nmeter: 4/4\n\n| 4^ 4v 5^ 5v | 6^ 6v 7v 7^ |\n"
    out = tmp_path / "a.musicxml"
    out.write_bytes(musicxml.write(laid(plain)))
    assert main(["read", str(out), "-o", str(tmp_path / "b.harptab")]) == 0
    assert (tmp_path / "b.harptab").read_text() == canonical(load(plain).tune)


# The collections: in, out and in again.


def difference(data: bytes, name: str, part: str) -> str:
    """What of a voice, written as MusicXML and as ABC, is not read again; empty if all is."""
    melody = Source(data, name, "abc").melody(Choice(part))
    harp = best_harp(melody.measures, TUNINGS["Richter"])
    paper = laid(notate(melody, harp).text)
    wanted = stream(paper.melody.measures)
    for form, written in (("musicxml", musicxml.write(paper)), ("abc", abc.write(paper))):
        again = back(written, form)
        if stream(again.measures) != wanted:
            return f"as {form}"
        if stream(laid(notate(again, harp).text).melody.measures) != wanted:
            return f"as {form}, in tab again"
    return ""


def there_and_back(folder: str, step: int) -> None:
    """Every voice of every tune read, written and read again: pitch and time equal."""
    from test_read_scores import differing, tunes

    assert differing(tunes(folder)[::step], difference) == {}


@pytest.mark.parametrize(
    ("folder", "step"), [("airdsAirs", 236), ("ryansMammoth", 212), ("oneills1850", 400)]
)
def test_old_tunes_there_and_back(folder: str, step: int) -> None:
    there_and_back(folder, step)


@pytest.mark.long
@pytest.mark.parametrize("folder", ["airdsAirs", "ryansMammoth", "oneills1850"])
def test_all_old_tunes_there_and_back(folder: str) -> None:
    there_and_back(folder, 1)
