"""Sheets: every note once, nothing over anything else, nothing off the page; and the files.

Witnesses from outside: pypdf reads our PDFs (page size, fonts, text), the XML parser of
the standard library our SVGs, pillow our PNGs. Paper: ISO 216 (A4 is 210 x 297 mm); Letter
is 8 1/2 x 11 inches.
"""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from collections import Counter
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree

import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from tabtool.cli import main
from tabtool.drills import worksheet
from tabtool.load import load, load_file
from tabtool.player import Player
from tabtool.scores.staff import staff
from tabtool.sheet import html, pdf, svg
from tabtool.sheet.drawing import Box, Page, Text, around
from tabtool.sheet.engrave import Second, pretty
from tabtool.sheet.fonts import FontMetrics, missing
from tabtool.sheet.harpmap import harp_page
from tabtool.sheet.layout import Options, sheet
from tabtool.sheet.notation import Notation, _xml
from tabtool.sheet.outline import commands
from tabtool.sheet.paper import read
from tabtool.sheet.spread import Wanted, spread
from tabtool.sheet.style import Style
from tabtool.sheet.worksheet import worksheet_pages
from tabtool.tune import Figure, Tune
from tabtool.tunings import find_tuning, make_harp
from tabtool.written import as_written

SONGS = sorted((Path(__file__).parent.parent / "songs").glob("*.harptab"))
METRICS = FontMetrics()
HEAD = "title: T\nharp: C\nkey: G\n"

HARD = {
    "a long title": (
        "title: The Very Long and Winding Ballad of the Ferryman's Seven Daughters and Their "
        "Exceedingly Melancholy Harmonica, with Variations\nharp: low F#\n"
        "composer: traditional, collected and arranged at unreasonable length by everybody\n"
        "| 4v 4^ 4v 4^ |"
    ),
    "6/8": HEAD + "meter: 6/8\n|: 4v,4^,4v 5^,-,5v | 6v,.,6^ 6v,-,- | 4v,4^,4v 5^,-,5v | 4v - :|",
    "16 holes": (
        "title: Slide\nharp: C\ntuning: chromatic 16\n"
        "| 16^*,15v*,14^*,13v* 12^,12v*,11^,10v* 16v*,16^*,15v*,14^ 13^*,12v,11v*,10^ |\n"
        "| 10^,11^*,12^,13v* 14^,15^*,16^,16v* 1^ 2v* |"
    ),
    "many sections": HEAD
    + "".join(f"[part {n}]\ntempo: {60 + n}\n| 4v 4^ 4v1 - |\n" for n in range(30)),
    "chords": HEAD
    + '| "Cmaj7#11/Bb"1+2+3+4^,"F#m7b5"1+2+3v,"Bb13"2+3v,"Eb"1+4^ "G"4~5v "D"3+4+5v! - - |\n' * 6,
    "long words": HEAD
    + (
        "| 4v,4^,4v,4^ 4v,4^ 5v 6^ |\n"
        "lyric: Through straight strengths scrounged, screeched squelched throughout yesterday's\n"
        "lyric: Thoroughly un- com- pre- hen- si- ble, nonetheless\n"
    )
    * 5,
    "small shares": HEAD + "| 10v,9v,8v,7v,6v,5v,4v,3v 4v,(4^,4v),(4v,(4^,5v)) 4v,5v,6v,7v,8v 4v |",
    "one long bar": HEAD + "meter: free\n" + "4v 4^ 5v - . " * 30,
    "endings": HEAD
    + "|: 4v 4v 4v 4v |1 5v - - - | - - - - :|2 6v - - - | - - - - ||\n| 4^ 4^ 4^ 4^ |]",
    "all marks": HEAD
    + "| /4v~!;@\\ //3v2\\/ {5v,6v}4v\\\\\\ 4~5v~@ |\n| 6^^1.5! 7vv1 2v1.5; 10^2@ |\n"
    "| {4^}5v;,4v - - . |",
    "many verses": HEAD
    + "| 4v 4^ 4v 4^ |\n"
    + "".join(f"lyric: this is verse {n}\n" for n in range(9)),
    "pick-ups": HEAD + "|: 4v | 4v 4v 4v 4v | 4v 4v 4v 4v | 4v 4v 4v :|\n" * 4,
    "change of meter": HEAD
    + "| 4v - - - |\n[waltz]\nmeter: 3/4\n| 4v - - |\n[back]\nmeter: 4/4\n| 4v - - - |",
    "change of harp": HEAD
    + "| 4v - - - |\n[far bank of the river, where it is wider]\nharp: low F\nkey: Bb\ntempo: 99\n"
    "feel: swing 3:2\n| 4v - - - |",
    "no harp": "title: None\n| 4v - - - |",
}


def made(text: str, options: Options = Options()) -> tuple[Tune, tuple[Page, ...]]:  # noqa: B008
    loaded = load(text, "a tune")
    return loaded.tune, sheet(loaded.tune, as_written(loaded.tune), options, METRICS)


def tune_of(path: Path) -> Tune:
    return load_file(str(path)).tune


def holes(figure: Figure) -> list[str]:
    own = [str(tone.hole) for tone in figure.all_tones]
    return own + [hole for grace in figure.grace for hole in holes(grace)]


def holes_of(tune: Tune) -> Counter[str]:
    return Counter(hole for note in tune.notes() for hole in holes(note.figure))


def bold_numbers(data: bytes) -> Counter[str]:
    """The numbers in bold type on the pages of a PDF, as pypdf finds them."""
    found: Counter[str] = Counter()
    for page in pypdf.PdfReader(io.BytesIO(data)).pages:

        def visit(
            text: str, _cm: object, _tm: object, font: dict[str, str] | None, _size: float
        ) -> None:
            if font and "Bold" in font["/BaseFont"] and text.strip().isdecimal():
                found[text.strip()] += 1

        page.extract_text(visitor_text=visit)
    return found


def geometry(pages: tuple[Page, ...]) -> None:
    """Nothing off the page, and no two things over each other."""
    for page in pages:
        whole = Box(2, 5, page.width - 5, page.height - 2)
        for group in page.groups:
            box = group.box
            assert whole.left <= box.left < box.right <= whole.right, group
            assert whole.top <= box.top < box.bottom <= whole.bottom, group
            for item in group.items:
                if isinstance(item, Text):
                    assert box.left - 0.01 <= item.x
                    assert item.x + item.width <= box.right + 0.01
        solid = [group for group in page.groups if group.role != "line"]
        for one, two in combinations(solid, 2):
            assert not one.box.meets(two.box, 0.05), (one.role, one, two.role, two)


def once(tune: Tune, pages: tuple[Page, ...]) -> None:
    """Every note of the tune is on the pages, once."""
    drawn = Counter(
        item.text
        for page in pages
        for group in page.groups
        if group.role == "note"
        for item in group.items
        if isinstance(item, Text)
    )
    assert drawn == holes_of(tune)


OPTIONS = [Options(), Options("Letter"), Options(large=True)]


@pytest.mark.parametrize("options", OPTIONS, ids=["A4", "Letter", "large"])
@pytest.mark.parametrize("name", HARD)
def test_hard_tunes_fit_their_pages(name: str, options: Options) -> None:
    tune, pages = made(HARD[name], options)
    once(tune, pages)
    geometry(pages)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_songs_fit_their_pages(path: Path) -> None:
    tune = tune_of(path)
    for options in OPTIONS:
        pages = sheet(tune, as_written(tune), options, METRICS)
        once(tune, pages)
        geometry(pages)


SHARE = st.sampled_from(
    ["4v", "4^", "10^2", "3v3", "-", ".", "1+2+3+4v", "6^^", "7vv1", "4~5v", "{5v}4v", "/2v~!@\\",
     "(4v,5v)", '"C#m7"4v', "(.,4v;,-)"]
)  # fmt: skip
BEAT = st.lists(SHARE, min_size=1, max_size=5).map(",".join)
BARS = st.lists(
    st.lists(BEAT, min_size=4, max_size=4).map(lambda beats: " ".join(beats)),
    min_size=1, max_size=5,
).map(lambda bars: "| " + " | ".join(bars) + " |")  # fmt: skip
WORDS = st.lists(st.text("aimW'", min_size=1, max_size=14), min_size=0, max_size=4).map(" ".join)


@given(st.lists(st.tuples(BARS, WORDS), min_size=1, max_size=3), st.sampled_from(OPTIONS))
@settings(max_examples=12, deadline=None)
def test_any_tune_fits_its_pages(lines: list[tuple[str, str]], options: Options) -> None:
    text = HEAD + "4v 4v 4v 4v |\n"
    for bars, words in lines:
        text += f"{bars}\nlyric: {words}\n" if words else f"{bars}\n"
    tune, pages = made(text, options)
    once(tune, pages)
    geometry(pages)


def test_beats_stand_in_columns() -> None:
    """Four equal lines are four rows with notes at the same places: a pick-up and 11 taps."""
    _, pages = made(HARD["pick-ups"])
    lefts = Counter(round(g.box.left, 2) for p in pages for g in p.groups if g.role == "note")
    assert sorted(lefts.values()) == [4] * 12


def test_a_pick_up_breaks_no_bar_that_fits_without_it() -> None:
    """It stands on a row of its own then, and every bar behind it on one row too."""
    bar = "4v,4^,3v1 (4v,5^),6^ 2v,(3v,4v) /4v\\/"
    words = "Through straight strengths scrounged, screeched squelched throughout far and wide"
    text = HEAD + f"| 6^,7v | {' | '.join([bar] * 4)} |\nlyric: ket- tle {' '.join([words] * 4)}\n"
    for options in (Options(large=True, paper="Letter"), Options(large=True)):
        tune, pages = made(text, options)
        notes = [g for page in pages for g in page.groups if g.role == "note"]
        starts = [round(g.box.left, 2) for g in notes[:1] + notes[2::10]]
        assert len(starts) == 5
        assert len(set(starts)) == 1, "all rows begin at the left"
        once(tune, pages)
        geometry(pages)


def test_width_is_time() -> None:
    """A note twice as long takes twice the room, up to the gap between notes."""
    _, pages = made(HEAD + "| 4v 5v - 6v,7v |", Options(signs=False))
    x = {g.title[0]: g.box.left for g in pages[0].groups if g.role == "note"}
    assert x["6"] - x["5"] == pytest.approx(2 * (x["5"] - x["4"]))
    assert x["7"] - x["6"] == pytest.approx((x["5"] - x["4"]) / 2)


def test_breath_shows_in_place_and_tone() -> None:
    """Blown above drawn, the one's number black, the other's white."""
    _, pages = made(HEAD + "| 4v 5^ 4v 5^ |", Options(signs=False))
    notes = [g for g in pages[0].groups if g.role == "note"]
    drawn, blown = notes[0], notes[1]
    assert blown.box.bottom < drawn.box.top
    assert [i.ink for g in (drawn, blown) for i in g.items if isinstance(i, Text)] == [1.0, 0.0]


@pytest.mark.parametrize(("token", "teeth"), [("3v", 0), ("3v1", 1), ("3v3", 3), ("2v1.5", 2)])
def test_a_tooth_a_semitone(token: str, teeth: int) -> None:
    _, pages = made(HEAD + f"| {token} . . . |", Options(signs=False))
    (note,) = (g for g in pages[0].groups if g.role == "note")
    triangles = [i for i in note.items if not isinstance(i, Text) and len(i.commands) == 4]
    assert len(triangles) == teeth


def test_a_note_over_the_end_of_a_row_goes_on_without_its_number() -> None:
    tune, pages = made(HEAD + "meter: free\n" + "4v " + "- " * 60 + "5^")
    once(tune, pages)
    assert any(group.role == "held" for page in pages for group in page.groups)


def test_a_note_held_into_both_endings_is_drawn_in_both() -> None:
    loaded = load(HEAD + "|: 4v 4v 4v 4v |1 - - 5v - :|2 - - 6v - |]")
    paper = read(loaded.tune, as_written(loaded.tune))
    held = next(s for s in paper.sounds if len(s.stretches) > 1)
    assert [(int(a), int(b)) for a, b in held.stretches] == [(3, 6), (8, 10)]
    assert [(e.number, e.first, e.last, e.closed) for e in paper.endings] == [
        (1, 1, 1, True),
        (2, 2, 2, False),
    ]


@pytest.mark.parametrize(("paper", "size"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_a_pdf_has_its_paper_and_embeds_its_fonts(paper: str, size: tuple[float, float]) -> None:
    tune, pages = made(HARD["many sections"], Options(paper, signs=False))
    data = pdf.write(pages, "Title")
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert len(reader.pages) == len(pages) > 1
    assert reader.metadata is not None
    assert reader.metadata.title == "Title"
    names = set()
    for page in reader.pages:
        box = page.mediabox
        # Points are 1/72 inch, an inch 25.4 mm.
        assert (float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4) == pytest.approx(
            size, abs=0.01
        )
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            described = font.get_object()
            names.add(described["/BaseFont"])
            assert "/FontFile2" in described["/FontDescriptor"], described["/BaseFont"]
    assert len(names) >= 2
    assert bold_numbers(data) == holes_of(tune)
    assert pdf.write(pages, "Title") == data  # the same tune, the same bytes


@pytest.mark.parametrize("name", HARD)
def test_every_note_can_be_read_from_the_pdf(name: str) -> None:
    tune, pages = made(HARD[name], Options(signs=False))
    assert bold_numbers(pdf.write(pages, "T")) == holes_of(tune)


def test_svg_is_well_formed_and_needs_no_font() -> None:
    tune, pages = made(HARD["all marks"].replace("title: T", "title: <Salt & Pepper> ♭"))
    root = ElementTree.fromstring(svg.write(pages, tune.title)[0])
    assert root.attrib["width"] == "210mm"
    assert root.attrib["viewBox"] == "0 0 210 297"
    space = "{http://www.w3.org/2000/svg}"
    assert root.findtext(f"{space}title") == tune.title
    assert "font/woff;base64" in (root.findtext(f"{space}style") or "")
    notes = [g for g in root.iter(f"{space}g") if g.attrib["class"] == "note"]
    assert len(notes) == sum(1 for _ in tune.notes())
    assert notes[0].findtext(f"{space}title", "").startswith("4 draw, scoop, fall, vibrato")


def test_html_prints_a_page_each() -> None:
    tune, pages = made(HARD["many sections"])
    text = html.write(pages, tune.title).decode()
    assert text.count("<svg ") == len(pages) > 1
    assert "@page{size:210mm 297mm;margin:0}" in text
    assert text.count("@font-face") == 2
    assert not re.search(r'(src|href)="?http', text)


def test_spread_words_never_overlap() -> None:
    """Any crowd is moved apart or stacked, within its bounds."""
    wanted = [Wanted(x, "Wilhelmina") for x in (10, 12, 14, 15, 90)]
    lines = spread(METRICS, wanted, 5.0, 0.0, 100.0, strays=6.0)
    assert sorted(t.text for line in lines for t in line) == ["Wilhelmina"] * 5
    for line in lines:
        for one, two in pairwise(line):
            assert one.x + one.width < two.x
        assert line[0].x >= 0
        assert line[-1].x + line[-1].width <= 100 + 1e-6


def test_symbols_have_real_accidentals() -> None:
    assert [pretty(s) for s in ("Bb7", "F#m/C#", "Abb", "Cadd9", "G7(b9)")] == [
        "B♭7", "F♯m/C♯", "A♭b", "Cadd9", "G7(b9)"
    ]  # fmt: skip


def run(*arguments: str) -> int:
    return main(["sheet", *arguments])


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "song.harptab"
    path.write_text(HARD["many sections"], encoding="utf-8")
    return path


@pytest.mark.parametrize("suffix", [".pdf", ".html", ".svg", ".png"])
def test_the_command_writes_every_format(
    song: Path, suffix: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = song.with_name("out" + suffix)
    assert run(str(song), "-o", str(out), "--dpi", "50") == 0
    made_files = sorted(path.name for path in song.parent.glob("out*"))
    if suffix in (".pdf", ".html"):
        assert made_files == [out.name]
    else:
        assert len(made_files) > 1
        assert f"out-1{suffix}" in made_files
        assert "pages, a file each" in capsys.readouterr().err
    if suffix == ".png":
        with Image.open(song.parent / "out-1.png") as picture:
            # 210 mm at 50 dots an inch.
            assert picture.size == pytest.approx((413, 585), abs=1)
            assert picture.convert("L").getextrema() == (0, 255)


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_pages_of_a_longer_run_before_are_told_and_left(
    song: Path, suffix: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = song.with_name("out" + suffix)
    run(str(song), "-o", str(out), "--dpi", "30")
    pages = sorted(song.parent.glob("out-*"))
    assert len(pages) > 2
    assert "left from before" not in capsys.readouterr().err
    run(str(song), "-o", str(out), "--dpi", "30")  # the same pages again: nothing is left over
    assert "left from before" not in capsys.readouterr().err
    before = {page: page.read_bytes() for page in pages}
    song.write_text("harp: C\n| 4^ 4v 5^ 5v |\n", encoding="utf-8")
    song.with_name(f"out-2024{suffix}").write_bytes(b"not of this run of numbers")
    run(str(song), "-o", str(out), "--dpi", "30", "--json")
    told = capsys.readouterr()
    *first, last = map(str, pages)
    assert f"left from before and no page of this: {', '.join(first)} and {last}" in told.err
    assert json.loads(told.out)["files"] == [str(out)]
    assert json.loads(told.out)["older"] == [str(page) for page in pages]
    assert {page: page.read_bytes() for page in pages} == before
    # Longer again, the single page is what is left over; and one more page than there is now.
    song.write_text(HARD["many sections"], encoding="utf-8")
    song.with_name(f"out-{len(pages) + 1}{suffix}").write_bytes(b"older still")
    run(str(song), "-o", str(out), "--dpi", "30", "--json")
    older = json.loads(capsys.readouterr().out)["older"]
    assert older == [str(out), str(song.with_name(f"out-{len(pages) + 1}{suffix}"))]


def test_a_failed_sheet_leaves_the_old_one(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = song.with_name("old.pdf")
    out.write_bytes(b"old")
    song.write_text("| 4v what |", encoding="utf-8")
    assert run(str(song), "-o", str(out)) == 2
    assert out.read_bytes() == b"old"
    assert sorted(p.name for p in song.parent.iterdir()) == ["old.pdf", "song.harptab"]
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["-o", "x.doc"], "a sheet is written as .pdf, .svg, .png, .html"),
        (["-o", "x.png", "--dpi", "9"], "from 30 to 1200"),
        (["-o", "no/such/folder/x.pdf"], "cannot be written"),
        (["-o", "-", "--json"], "cannot both go to standard output"),
    ],
)
def test_misuse_is_one_line(
    song: Path, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(str(song), *arguments) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1


def test_no_notes_is_one_line(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    song.write_text(HEAD, encoding="utf-8")
    assert run(str(song), "-o", str(song.with_name("x.pdf"))) == 2
    assert "no notes" in capsys.readouterr().err


@pytest.mark.parametrize("library", ["fontTools", "reportlab", "pypdfium2", "verovio"])
def test_a_missing_extra_is_one_line(song: Path, library: str, tmp_path: Path) -> None:
    """Run with the library hidden; nothing is written."""
    code = (
        f"import sys; sys.modules['{library}'] = None\n"
        "from tabtool.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "sheet", str(song), "--staff", "-o", str(tmp_path / "x.png")],
        capture_output=True, text=True, cwd=Path(__file__).parent.parent, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "pip install 'tabtool[sheet]'" in done.stderr
    assert not list(tmp_path.glob("x*"))


def test_letters_without_a_picture_are_told(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    song.write_text("title: 渡し船 ferry\nharp: C\n| 4v - - - |", encoding="utf-8")
    assert run(str(song), "-o", str(song.with_name("x.pdf"))) == 0
    assert "no picture for 渡 し 船" in capsys.readouterr().err


def test_european_letters_have_pictures() -> None:
    _, pages = made("title: Źdźbło Ærø čeština Ελληνικά Кириллица ♭♯♮\nharp: C\n| 4v - - - |")
    assert missing(pages) == ""


def test_impossible_notes_are_told(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    song.write_text(HEAD + "| 5v3 4v 4v 4v |", encoding="utf-8")
    assert run(str(song), "-o", str(song.with_name("x.pdf"))) == 0
    assert "1 note cannot be played" in capsys.readouterr().err


def test_pages_to_standard_output(song: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert run(str(song), "-o", "-") == 0
    assert len(pypdf.PdfReader(io.BytesIO(capfdbinary.readouterr().out)).pages) > 1


def test_the_fonts_carry_their_licence() -> None:
    from tabtool.sheet.fonts import path

    folder = os.path.dirname(path(True))
    text = Path(folder, "LICENSE").read_text()
    assert "Permission is hereby granted, free of charge" in text


def test_a_second_harp_stands_below_in_the_same_columns(
    song: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As many plates in the row below as in the row above."""
    song.write_text(HEAD + "| 4^ 5^ 6^ 7^ | 4^,5^ 6v - 7^ |", encoding="utf-8")
    out = song.with_name("x.svg")
    assert run(str(song), "-o", str(out), "--second", "G", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["second"]["harp"] == "G"
    space = "{http://www.w3.org/2000/svg}"
    root = ElementTree.parse(out).getroot()
    roles = Counter(g.attrib["class"] for g in root.iter(f"{space}g"))
    assert roles["second"] == roles["note"] == 8


def test_a_second_harp_fits_the_page() -> None:
    loaded = load(HARD["all marks"])
    figures = {note.span: note.figure for note in loaded.tune.notes()}
    figures[next(iter(figures))] = None
    second = Second("low F♯", figures)
    for options in (Options(second=second, harp_map=True), Options(large=True, second=second)):
        pages = sheet(loaded.tune, as_written(loaded.tune), options, METRICS)
        once(loaded.tune, pages)
        geometry(pages)


def test_a_map_shows_each_note_used() -> None:
    """The small map: a plate for every tone of the tune, all twenty reeds named."""
    loaded = load(HEAD + "| 4v 4v1 8^1 6^^ | 2v1.5 4v 4^ 4^ |")
    options = Options(harp_map=True, signs=False)
    pages = sheet(loaded.tune, as_written(loaded.tune), options, METRICS)
    geometry(pages)
    titles = [g.title for p in pages for g in p.groups if g.role == "map" and g.title != "holes"]
    assert len(titles) == 20 + 4
    assert {"4 draw bent 1: C#5", "8 blow bent 1: Eb6", "6 overblow: Bb5"} <= set(titles)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("key", "tuning"), [("C", "Richter"), ("low F#", "chromatic 16")])
def test_a_harp_page_has_every_note(paper: str, key: str, tuning: str) -> None:
    """All ways of the harp, 19 + 12 + 7 different pitches on a Richter (FACTS 1.3: 38)."""
    layout = find_tuning(tuning)
    assert layout is not None
    harp = make_harp(key, layout)
    assert harp is not None
    page = harp_page(harp, Style(paper), METRICS)
    geometry((page,))
    titles = {g.title for g in page.groups if g.role == "map"} - {"holes"}
    assert len(titles) == len(harp.ways)
    if tuning == "Richter":
        assert len({title.split(": ")[1] for title in titles}) == 38


def test_layout_prints_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "map.pdf"
    assert main(["layout", "Bb", "-o", str(out)]) == 0
    assert capsys.readouterr().out == ""
    text = pypdf.PdfReader(out).pages[0].extract_text()
    assert "B♭ harp" in text
    assert "E♭6" in text


@pytest.mark.parametrize(("key", "tuning"), [("C", "Richter"), ("low F#", "chromatic 16")])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_worksheets_fit_their_pages(key: str, tuning: str, paper: str) -> None:
    """Blank or filled in; every question numbered on both."""
    layout = find_tuning(tuning)
    assert layout is not None
    harp = make_harp(key, layout)
    assert harp is not None
    asked = worksheet(harp, Player(overbends=True), count=40)
    counted = []
    for answers in (False, True):
        pages = worksheet_pages(asked, Style(paper), METRICS, answers=answers)
        for page in pages:  # what is asked stands with three rows of it at least
            heads = [g.box.bottom for g in page.groups if g.role == "section"]
            cells = [g.box.top for g in page.groups if g.role == "question"]
            assert not heads or sum(top > max(heads) for top in cells) >= 3 * 4
        geometry(pages)
        counted.append(
            sum(t.text.endswith(".") and t.text[0].isdigit() for p in pages for t in p.texts)
        )
    assert counted == [len(asked.questions)] * 2


def test_drill_prints_pages(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A page of drills and a worksheet, as PDF; the answers are on the answer sheet alone."""
    texts = {}
    for name, options in (
        ("drill", ["--bends", "4v1", "--kinds", "scale"]),
        ("blank", ["--worksheet"]),
        ("full", ["--answers"]),
    ):
        out = tmp_path / f"{name}.pdf"
        assert main(["drill", "--harp", "C", "-o", str(out), *options]) == 0
        texts[name] = "".join(page.extract_text() for page in pypdf.PdfReader(out).pages)
    assert "C" in texts["drill"]
    assert texts["full"].count("E♭") > texts["blank"].count("E♭")


def with_staff(text: str, options: Options = Options()) -> tuple[Tune, tuple[Page, ...]]:  # noqa: B008
    tune = load(text, "a tune").tune
    written = as_written(tune)
    staves = Notation(staff(tune, written), written.first_number)
    return tune, sheet(tune, written, options._replace(staves=staves), METRICS)


@pytest.mark.parametrize("name", [name for name in HARD if name not in ("no harp",)])
def test_staves_fit_their_pages(name: str) -> None:
    """Every row has its staff, and nothing else changes."""
    tune, pages = with_staff(HARD[name])
    once(tune, pages)
    geometry(pages)
    roles = Counter(group.role for page in pages for group in page.groups)
    assert roles["staff"] >= 1


@given(st.lists(BARS, min_size=1, max_size=2))
@settings(max_examples=10, deadline=None)
def test_any_tune_can_be_engraved(lines: list[str]) -> None:
    tune, pages = with_staff(HEAD + "4v 4v 4v 4v |\n" + "\n".join(lines))
    once(tune, pages)
    geometry(pages)


def test_note_heads_stand_over_their_plates() -> None:
    """Each plate of this scale has a glyph of the staff whose left edge is its own."""
    _, pages = with_staff(HEAD + "| 4^ 4v 5^ 5v | 6^,6v 7v,7^ 6^ - |", Options(signs=False))
    (page,) = pages
    (above,) = (g for g in page.groups if g.role == "staff")
    lefts = [around((item,)).left for item in above.items]
    for group in page.groups:
        if group.role == "note":
            assert any(abs(left - group.box.left) < 0.1 for left in lefts), group.title


def test_the_staff_has_the_heights_of_the_tune() -> None:
    """C5 stands half a space above B4's middle line, D5 a half more (common notation)."""
    _, pages = with_staff("title: T\nharp: C\nkey: C\n| 3v 4^ 4v 5^ |", Options(signs=False))
    (above,) = (g for g in pages[0].groups if g.role == "staff")
    plates = sorted(g.box.left for g in pages[0].groups if g.role == "note")
    heads = []
    for left in plates:
        box = next(
            box
            for item in above.items
            if abs((box := around((item,))).left - left) < 0.1 and box.right - box.left < 4
            and item.fill is not None and item.stroke is None
        )  # fmt: skip
        heads.append((box.top + box.bottom) / 2)
    ys = sorted(
        box.top for item in above.items
        if (box := around((item,))).right - box.left > 100 and box.bottom - box.top < 1
    )  # fmt: skip
    space = ys[1] - ys[0]
    steps = [(ys[2] - head) / (space / 2) for head in heads]
    assert steps == pytest.approx([0, 1, 2, 3], abs=0.2)


def test_accidentals_follow_the_key() -> None:
    """G major has one sharp: F sharp needs no sign, F natural one, and the next F sharp again."""
    tune = load("harp: C\nkey: G\n| 9v 9^1 9v 9v | 9v 9^1 9^1 9v |").tune
    written = as_written(tune)
    root = ElementTree.fromstring(_xml(staff(tune, written), staff(tune, written).melody.measures))
    signs = [note.findtext("accidental", "") for note in root.iter("note")]
    assert signs == ["natural", "sharp", "natural", "", "natural", "sharp", "", "natural"]


def test_high_passages_stand_under_an_octave_line() -> None:
    """music21 reads what verovio is given: the same pitches, those under the line an octave up."""
    music21 = pytest.importorskip("music21")
    text = "title: T\nharp: C\nkey: C\n| 4^ 6^,7^ 9^ 10^ | 5^ 8^ 4^ {9^}10^,4^ |"
    tune = load(text).tune
    laid = staff(tune, as_written(tune))
    score = music21.converter.parseData(_xml(laid, laid.melody.measures), format="musicxml")
    under = [
        [note.nameWithOctave for note in line.getSpannedElements()]
        for line in score.recurse().getElementsByClass("Ottava")
    ]
    assert under == [["G5", "C6", "G6", "C7"], ["G6", "C7"]]
    sounding = [note.pitch.ps for note in score.recurse().notes if not note.duration.isGrace]
    assert sounding == [p for m in laid.melody.measures for n in m.notes for p in n.pitches]


def test_a_staff_needs_a_harp(song: Path, capsys: pytest.CaptureFixture[str]) -> None:
    song.write_text("title: T\n| 4v - - - |", encoding="utf-8")
    assert run(str(song), "--staff", "-o", str(song.with_name("x.pdf"))) == 2
    assert capsys.readouterr().err.count("\n") >= 1


@pytest.mark.parametrize(
    ("data", "wanted"),
    [
        ("M1 2h3v-1l-1-1z", [
            ("M", (1, 2)), ("L", (4, 2)), ("L", (4, 1)), ("L", (3, 0)), ("Z", ())]),
        ("m1 1 2 2", [("M", (1, 1)), ("L", (3, 3))]),
        ("M0 0c0 1 1 2 2 2s2-1 2-2", [
            ("M", (0, 0)), ("C", (0, 1, 1, 2, 2, 2)), ("C", (3, 2, 4, 1, 4, 0))]),
        ("M0 0Q3 3 6 0", [("M", (0, 0)), ("C", (2, 2, 4, 2, 6, 0))]),
    ],
)  # fmt: skip
def test_path_data(data: str, wanted: list[object]) -> None:
    """Relative and smooth commands by SVG 1.1, section 8.3."""
    found = [(letter, tuple(round(n, 9) for n in numbers)) for letter, numbers in commands(data)]
    assert found == wanted
