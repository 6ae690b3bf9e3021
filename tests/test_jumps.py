"""D.C., D.S., Segno, Coda and Fine; the order of bars checked by music21, outside the project."""

from __future__ import annotations

import re
import warnings
from fractions import Fraction

import pytest

from tabtool.diagnostics import TabError
from tabtool.load import load
from tabtool.readers import Choice, Source
from tabtool.readers.abc_fields import order_of
from tabtool.scores.jumps import sign_of
from tabtool.scores.measures import Melody, SignKind
from tabtool.scores.notate import notate
from tabtool.tunings import make_harp

music21 = pytest.importorskip("music21")

ABC = "X:1\nT:Jumps\nM:4/4\nL:1/4\nK:C\n"
STEPS = "CDEFGAB"  # one a bar: what is heard tells the order of the bars

# Bars of one note each, named by it; before and behind them signs, words and bar lines.
CASES = {
    "C D {Fine} E F {D.C. al Fine}": "CDEFCD",
    "C [Segno] D E {Fine} F {D.S. al Fine}": "CDEFDE",
    "C [Segno] D {To Coda} E {D.S. al Coda} [Coda] F G": "CDEDFG",
    "C D {To Coda} E {D.C. al Coda} [Coda] F G": "CDECDFG",
    "C D E {D.C.}": "CDECDE",
    "C [Segno] D E {D.S.}": "CDEDE",
    "|: C D :| E {Fine} F G {D.C. al Fine}": "CDCDEFGCDE",
    "|: C |1 D :| |2 E {Fine} || F G {D.C. al Fine}": "CDCEFGCE",
}


def musicxml(case: str) -> bytes:
    """A case as MusicXML, signs drawn, words as directions."""
    measures: list[dict[str, list[str]]] = []
    ahead: list[str] = []
    ending = ""
    for token in pieces(case):
        if token in STEPS:
            measures.append({"before": ahead, "note": [token], "behind": []})
            ahead = []
        elif token == "|:":
            ahead.append('<barline location="left"><repeat direction="forward"/></barline>')
        elif token in ("|1", "|2"):
            ending = token[1]
            ahead.append(
                f'<barline location="left"><ending number="{ending}" type="start"/></barline>'
            )
        elif token in (":|", "||"):
            stop = f'<ending number="{ending}" type="stop"/>' if ending else ""
            back = '<repeat direction="backward"/>' if token == ":|" else ""
            measures[-1]["behind"].append(f'<barline location="right">{stop}{back}</barline>')
            ending = ""
        elif token[0] == "[":
            sign = {"Segno": "<segno/>", "Coda": "<coda/>"}[token[1:-1]]
            ahead.append(f"<direction><direction-type>{sign}</direction-type></direction>")
        else:
            words = f"<words>{token[1:-1]}</words>"
            said = f"<direction><direction-type>{words}</direction-type></direction>"
            measures[-1]["behind"].insert(0, said)
    head = (
        "<attributes><divisions>1</divisions><key><fifths>0</fifths><mode>major</mode></key>"
        "<time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    )
    text = ""
    for number, bar in enumerate(measures, start=1):
        note = (
            f"<note><pitch><step>{bar['note'][0]}</step><octave>5</octave></pitch>"
            "<duration>4</duration><type>whole</type></note>"
        )
        first = head if number == 1 else ""
        lines = [one for one in bar["before"] if "barline" in one]
        signs = [one for one in bar["before"] if "barline" not in one]
        inside = "".join([*lines, first, *signs, note, *bar["behind"]])
        text += f'<measure number="{number}">{inside}'
        text += "</measure>"
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name/></score-part>'
        f'</part-list><part id="P1">{text}</part></score-partwise>'
    ).encode()


def abc(case: str) -> bytes:
    """A case as ABC (2.1, 4.14: decorations, before the note or the bar line they stand at)."""
    names = {"To Coda": "!dacoda!"}
    text, bar = "", "|"
    for token in pieces(case):
        if token in STEPS:
            text += f"{token.lower()}4 | "
        elif token[0] in "[{":
            words = token[1:-1]
            sign = names.get(words, "!" + words.replace(" ", "") + "!")
            text = text + sign if token[0] == "[" else text.removesuffix("| ") + sign + "| "
        else:
            text = text.removesuffix("| ") + token + " "
    return (ABC + text.replace(bar + " |:", "|:") + "\n").encode()


def pieces(case: str) -> list[str]:
    found: list[str] = []
    for word in case.split():
        if found and found[-1][0] in "[{" and found[-1][-1] not in "]}":
            found[-1] += " " + word
        else:
            found.append(word)
    return found


def read(data: bytes, form: str) -> Melody:
    return Source(data, f"x.{form}", form).melody(Choice())


def played(melody: Melody) -> str:
    """The notes in the order our notation plays them, by name."""
    harp = make_harp("C")
    assert harp is not None
    names = dict(zip((72, 74, 76, 77, 79, 81, 83), STEPS, strict=True))
    events = load(notate(melody, harp).text).score.events
    return "".join(names[int(e.pitches[0])] for e in events if e.pitches[0] is not None)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_bars_stand_in_the_order_of_the_jumps(case: str, form: str) -> None:
    melody = read(musicxml(case) if form == "musicxml" else abc(case), form)
    assert played(melody) == CASES[case]
    assert any("is written out" in said for said in melody.lost)
    assert not any(bar.signs for bar in melody.measures)


@pytest.mark.parametrize("case", [case for case in CASES if "|1" not in case])
def test_music21_plays_the_same(case: str) -> None:
    """Its own expander of repeats; beside a D.C. it does not follow endings."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        part = music21.converter.parseData(musicxml(case), format="musicxml").parts[0]
        expanded = part.expandRepeats()
    assert "".join(note.name for note in expanded.recurse().notes) == CASES[case]


def directed(*bars: str) -> str:
    """A part of such bars, notes by their step, the rest as it stands."""
    note = r"<note><pitch><step>\1</step><octave>5</octave></pitch><duration>4</duration></note>"
    made = "".join(f"<measure>{re.sub('~([A-G])', note, bar)}</measure>" for bar in bars)
    divisions = "<attributes><divisions>1</divisions></attributes>"
    return made.replace("<measure>", "<measure>" + divisions, 1)


def said(words: str, sound: str = "") -> str:
    kind = f"<direction-type>{words}</direction-type>"
    return f"<direction>{kind}{sound}</direction>"


def score(*parts: str) -> bytes:
    listed = "".join(
        f'<score-part id="P{n}"><part-name>{n}</part-name></score-part>'
        for n in range(1, len(parts) + 1)
    )
    body = "".join(f'<part id="P{n}">{part}</part>' for n, part in enumerate(parts, 1))
    return f"<score-partwise><part-list>{listed}</part-list>{body}</score-partwise>".encode()


@pytest.mark.parametrize(
    "part",
    [
        directed("~C", '~D<sound fine="yes"/>', '~E<sound dacapo="yes"/>'),
        directed(
            "~C",
            "~D" + said("<words>Ende</words>", '<sound fine="yes"/>'),
            "~E" + said("<words>von vorn</words>", '<sound dacapo="yes"/>'),
        ),
        directed(
            "~C",
            "~D" + said("<words>Fine</words>") + '<sound fine="yes"/>',
            "~E" + said("<words>D.C. al Fine</words>", '<sound dacapo="yes"/>'),
        ),
    ],
)
def test_jumps_that_sound_elements_say(part: str) -> None:
    """The sound element of MusicXML 4.0, alone or beside words, once where both say the same."""
    assert played(read(score(part), "musicxml")) == "CDECD"


def test_signs_at_a_bar_line() -> None:
    """The barline element of MusicXML 4.0 holds segno and coda."""
    part = directed(
        "~C",
        '<barline location="left"><segno/></barline>~D',
        "~E<barline><coda/></barline>",
        "~F" + said("<words>D.S. al Coda</words>"),
        '<barline location="left"><coda/></barline>~G',
    )
    assert played(read(score(part), "musicxml")) == "CDEFDEG"


def test_what_is_said_over_one_part_holds_for_all() -> None:
    """As most programs print it: tempo, sections and jumps over the topmost staff alone.

    The second part counts its time in other divisions.
    """
    metronome = "<metronome><beat-unit>quarter</beat-unit><per-minute>72</per-minute></metronome>"
    top = directed(
        said(metronome) + "~C",
        said("<rehearsal>B</rehearsal>") + "~D" + said("<words>Fine</words>"),
        "~E" + said("<words>D.C. al Fine</words>"),
    )
    low = directed("~F", "~G", "~A").replace(">1<", ">4<")
    low = low.replace("<duration>4<", "<duration>16<")
    data = score(top, low)
    with pytest.raises(TabError, match="2 parts sound at once"):
        read(data, "musicxml")
    melody = Source(data, "x.musicxml", "musicxml").melody(Choice("2"))
    assert played(melody) == "FGAFG"
    assert [bar.length for bar in melody.measures] == [4] * 5
    assert melody.measures[0].change.tempo == 72
    assert [bar.change.section for bar in melody.measures] == ["", "B", "", "", "B"]


def test_what_is_said_over_one_staff_holds_for_the_other() -> None:
    def bar(high: str, low: str, words: str = "") -> str:
        direction = said(f"<words>{words}</words>") if words else ""
        direction = direction.replace("</direction>", "<staff>1</staff></direction>")
        return f"~{high}1{direction}<backup><duration>4</duration></backup>~{low}2"

    bars = directed(bar("C", "F"), bar("D", "G", "Fine"), bar("E", "A", "D.C. al Fine"))
    bars = bars.replace("</divisions>", "</divisions><staves>2</staves>")
    for number in "12":
        bars = bars.replace(f"</note>{number}", f"<staff>{number}</staff></note>")
    melody = Source(score(bars), "x.musicxml", "musicxml").melody(Choice("staff 2"))
    assert played(melody) == "FGAFG"


@pytest.mark.parametrize(
    ("case", "why"),
    [
        ("C D {D.C. al Fine}", "there is no Fine"),
        ("C D {D.C.} [Coda] E", "there is no To Coda"),
        ("C D {Fine} E", "there is no D.C. or D.S."),
        ("C {Fine} D {D.S. al Fine}", "there is no Segno"),
        ("C {Fine} D {D.C. al Fine} E", "nothing leads on to bar 3"),
        ("C {To Coda} D {D.C. al Coda}", "there is no Coda"),
        ("C {Fine} D {D.C. al Fine} E {D.C. al Fine}", "there is more than one D.C. or D.S."),
        ("C {Fine} [Segno] D E {D.S. al Fine}", "does not come to its end"),
        ("|: C |1 D {Fine} :| |2 E || F {D.C. al Fine}", "does not come to its end"),
    ],
)
@pytest.mark.parametrize("form", ["musicxml", "abc"])
def test_signs_that_leave_it_open_are_told(case: str, why: str, form: str) -> None:
    melody = read(musicxml(case) if form == "musicxml" else abc(case), form)
    (said,) = [one for one in melody.lost if one.startswith("not followed")]
    assert why in said
    assert "the bars are as printed" in said
    notes = "".join(token for token in pieces(case) if token in STEPS)
    assert "".join(n for n in played(melody)[: len(notes)] if n in notes)[:2] == notes[:2]
    assert len(melody.measures) == len(notes)


def test_what_holds_is_said_again() -> None:
    """Meter, tempo and key of the passage it goes back to, and of the Coda behind it."""
    body = (
        "Q:1/4=90\nc4 | d4 !dacoda!|\nM:3/4\nQ:1/4=120\ne3 !D.C.alcoda!|\nM:2/4\n!coda! f2 | g2 |\n"
    )
    melody = read((ABC + body).encode(), "abc")
    assert played(melody) == "CDECDFG"
    lengths = [bar.length for bar in melody.measures]
    assert lengths == [4, 4, 3, 4, 4, 2, 2]
    assert [bar.meter.text for bar in melody.measures] == [
        "4/4", "4/4", "3/4", "4/4", "4/4", "2/4", "2/4",
    ]  # fmt: skip
    assert [bar.change.tempo for bar in melody.measures] == [90, None, 120, 90, None, 120, None]


def test_a_fine_within_a_bar_is_no_end() -> None:
    melody = read((ABC + "c4 | d !fine! e f g | a4 !D.C.alfine!|\n").encode(), "abc")
    assert "the Fine stands within bar 2" in " ".join(melody.lost)
    assert [bar.length for bar in melody.measures] == [Fraction(4)] * 3


def test_a_fine_before_the_pick_up_leaves_the_pick_up_out() -> None:
    """The Fine follows the last note (MusicXML 4.0, sound); with a pick-up that is no bar's end."""
    melody = read((ABC + "g | c4 | d3 !fine! b | f4 | a3 !D.C.alfine!|\n").encode(), "abc")
    assert played(melody) == "GCDBFAGCD"
    assert [bar.length for bar in melody.measures] == [1, 4, 4, 4, 3, 1, 4, 3]


def test_a_tie_does_not_reach_over_a_jump() -> None:
    melody = read((ABC + "c4- | c4 !fine!| d4 !D.C.alfine!|\n").encode(), "abc")
    assert played(melody) == "CDC"
    again = read((ABC + "c4 | d4- |!segno! d4 !fine!| e4 !D.S.alfine!|\n").encode(), "abc")
    assert played(again) == "CDED"


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("D. C.", SignKind.DA_CAPO),
        ("Da Capo al Fine", SignKind.DA_CAPO),
        ("dal segno al coda", SignKind.DAL_SEGNO),
        ("FINE", SignKind.FINE),
        ("𝄋", SignKind.SEGNO),
        ("to 𝄌", SignKind.TO_CODA),
        ("To Coda ⊕", SignKind.TO_CODA),
        ("To Coda 𝄌", SignKind.TO_CODA),
        ("⊕ Coda", SignKind.CODA),
        ("(Fine)", SignKind.FINE),
        ("D.S. 𝄋 al Coda 𝄌", SignKind.DAL_SEGNO),
        ("D.C. al Fine (no repeats)", SignKind.DA_CAPO),
        ("D.C. al Fine, senza rep.", SignKind.DA_CAPO),
    ],
)
def test_words_for_signs(words: str, kind: SignKind) -> None:
    sign = sign_of(words)
    assert sign is not None
    assert sign.kind is kind


@pytest.mark.parametrize("words", ["Definitely", "Decoda", "D", "C", "Segnor", "", "The End"])
def test_other_words(words: str) -> None:
    assert sign_of(words) is None


@pytest.mark.parametrize(
    "words", ["Fine", "D.C.", "^D.S.", "Segno", "Chorus", "Allegro", "Drone", "A tempo"]
)
def test_words_in_abc_are_no_chord_symbols(words: str) -> None:
    """Old tunes have them between plain quotes, where a chord would stand (4.18)."""
    melody = read(
        (
            ABC + f'"{words}"c4 | "Am7"d4 | "B♭"e4 | "Cmaj7"f4 | "N.C."g4 | "Gmadd9"a4 | "Ano3"b4\n'
        ).encode(),
        "abc",
    )
    symbols = [text for bar in melody.measures for _, text in bar.symbols]
    assert symbols == ["Am7", "B♭", "Cmaj7", "N.C.", "Gmadd9", "Ano3"]
    assert melody.lost


# Sections in an order of their own.


@pytest.mark.parametrize(
    ("order", "sections"),
    [("ABA", "ABA"), ("A2.B", "AAB"), ("((AB)3.(CD)3)2", "ABABABCDCDCD" * 2), ("(AB)C", "ABC")],
)
def test_orders_of_sections(order: str, sections: str) -> None:
    """ABC 2.1, 3.1.9 (from memory): numbers repeat a section or a bracket, dots mean nothing."""
    assert order_of(order) == tuple(sections)


@pytest.mark.parametrize("order", ["", "Modern Version.", "A(B", "(A99)99", "2A"])
def test_what_is_no_order(order: str) -> None:
    assert order_of(order) == ()


SECTIONS = "P:A\nc4 :|\nP:B\n|: d4 :| e4 |1 f4 :|2 g4 |\n"


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ("AB", "CCDDEFEG"),
        ("ABA", "CCDDEFEGCC"),
        ("BA", "DDEFEGCC"),
        ("BB", "DDEFEG" * 2),
    ],
)
def test_sections_stand_in_the_order_of_the_head(order: str, expected: str) -> None:
    melody = read(ABC.replace("K:", f"P:{order}\nK:").encode() + SECTIONS.encode(), "abc")
    assert played(melody) == expected
    assert any("in their order" in said for said in melody.lost) is (order != "AB")


@pytest.mark.parametrize(
    ("order", "body", "why"),
    [
        ("ABC", SECTIONS, "there is no section C"),
        ("AAB", "P:A\nc4 |\nP:B\nd4 |\nP:A\ne4 |\n", "there is more than one section A"),
        ("BA", "c4 |\nP:A\nd4 |\nP:B\ne4|\n", "bars stand before section A"),
        ("twice", SECTIONS, "not understood"),
    ],
)
def test_orders_that_cannot_be_followed_are_told(order: str, body: str, why: str) -> None:
    melody = read(ABC.replace("K:", f"P:{order}\nK:").encode() + body.encode(), "abc")
    assert why in " ".join(melody.lost)
    assert "".join(bar.change.section for bar in melody.measures) in ("AB", "ABA")
