"""The notation, sentence by sentence: what each text means as a `Tune`."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from tabtool.diagnostics import Diagnostic
from tabtool.harp import Breath, Technique, Tone
from tabtool.music import Key
from tabtool.notation import NoteError, parse_figure
from tabtool.parse import parse
from tabtool.tune import (
    Barline,
    Beat,
    BlankLine,
    Broken,
    CommentLine,
    Figure,
    HeaderLine,
    Hold,
    LyricLine,
    Marks,
    MusicLine,
    Note,
    Rest,
    SectionLine,
    Share,
    Split,
    UnreadLine,
)

BLOW, DRAW = Breath.BLOW, Breath.DRAW


def faults(text: str) -> tuple[Diagnostic, ...]:
    return parse(text)[1]


def line(text: str) -> MusicLine:
    """The one line of bars of a text, which must be without fault."""
    tune, found = parse(text)
    assert not found
    (music,) = (each for each in tune.lines if isinstance(each, MusicLine))
    return music


def beats(text: str) -> tuple[Beat, ...]:
    return tuple(beat for bar in line(text).bars for beat in bar.beats)


def shape(share: Share | Beat) -> object:
    """Shares as nested lists of tokens."""
    if isinstance(share, Note):
        return share.figure.token
    if isinstance(share, (Split, Beat)):
        return [shape(part) for part in share.parts]
    return {Rest: ".", Hold: "-"}[type(share)]


def tone(token: str) -> Tone:
    (only,) = parse_figure(token).tones
    return only


def test_white_space_separates_beats_and_commas_split_them() -> None:
    """Four beats: in halves, in a half and two quarters, in thirds, whole."""
    assert [shape(beat) for beat in beats("| 2v2,3v1 4v,(4^,4v) 3v2,-,2v 2v |")] == [
        ["2v2", "3v1"], ["4v", ["4^", "4v"]], ["3v2", "-", "2v"], ["2v"],
    ]  # fmt: skip


def test_splits_nest() -> None:
    assert [shape(beat) for beat in beats("4v,(4^,(5v,5^),.),-")] == [
        ["4v", ["4^", ["5v", "5^"], "."], "-"]
    ]


@pytest.mark.parametrize(
    ("text", "same"),
    [("(4v,5v)", "4v,5v"), ("(4v)", "4v"), ("(4v),5v", "4v,5v"), ("4v,((5v,6v))", "4v,(5v,6v)")],
)
def test_needless_parentheses_change_nothing(text: str, same: str) -> None:
    assert list(map(shape, beats(text))) == list(map(shape, beats(same)))


def test_blanks_count_for_nothing_but_to_part_beats() -> None:
    assert list(map(shape, beats("|4v\t 4^|  5v|"))) == list(map(shape, beats("| 4v 4^ | 5v |")))


@pytest.mark.parametrize(
    ("token", "meaning"),
    [
        ("4^", Tone(4, BLOW)),
        ("4v", Tone(4, DRAW)),
        ("2v2", Tone(2, DRAW, Technique.BEND, 2)),
        ("10^1", Tone(10, BLOW, Technique.BEND, 1)),
        ("6^^", Tone(6, BLOW, Technique.OVERBLOW)),
        ("7vv", Tone(7, DRAW, Technique.OVERDRAW)),
        ("6^^1", Tone(6, BLOW, Technique.OVERBLOW, 1)),
        ("7vv1", Tone(7, DRAW, Technique.OVERDRAW, 1)),
        ("3v0.5", Tone(3, DRAW, Technique.BEND, 0.5)),
        ("3v1.5", Tone(3, DRAW, Technique.BEND, 1.5)),
        ("3v*", Tone(3, DRAW, slide=True)),
        ("3v1*", Tone(3, DRAW, Technique.BEND, 1, slide=True)),
        ("16^", Tone(16, BLOW)),
    ],
)
def test_a_note_is_hole_breath_depth(token: str, meaning: Tone) -> None:
    """Depths count down for a bend, up for an overbend; a star is the slide held in."""
    assert tone(token) == meaning
    assert parse_figure(token).token == token


@pytest.mark.parametrize(
    ("token", "typed"),
    [("4V", "4v"), ("4↑", "4^"), ("4↓", "4v"), ("6↑↑", "6^^"), ("7VV", "7vv"), ("7vV", "7vv"),
     ("7↓↓1", "7vv1"), ("2V2", "2v2"), ("3v1.0", "3v1")],
)  # fmt: skip
def test_other_arrows_are_accepted_and_mean_the_typed_ones(token: str, typed: str) -> None:
    assert parse_figure(token) == parse_figure(typed)
    assert parse_figure(token).token == typed


@pytest.mark.parametrize(
    ("token", "holes"),
    [("2+3+4v", [2, 3, 4]), ("1+4v", [1, 4]), ("1+4^", [1, 4]), ("10+7^", [10, 7])],
)
def test_an_arrow_counts_for_the_holes_before_it(token: str, holes: list[int]) -> None:
    """Chords and split octaves."""
    figure = parse_figure(token)
    assert [each.hole for each in figure.tones] == holes
    assert len({each.breath for each in figure.tones}) == 1
    assert figure.token == token


def test_one_note_of_a_chord_may_be_bent() -> None:
    two, three = parse_figure("2v1+3v").tones
    assert two == Tone(2, DRAW, Technique.BEND, 1)
    assert three == Tone(3, DRAW)
    assert parse_figure("2v1+3v").token == "2v1+3v"
    assert parse_figure("2+3v1").token == "2+3v1"  # both bent


def test_a_space_keeps_a_depth_and_a_hole_apart() -> None:
    """``6^ 5v`` is two beats, ``6^5`` a bend of five, ``6^5v`` no beat at all."""
    assert [shape(beat) for beat in beats("6^ 5v")] == [["6^"], ["5v"]]
    assert tone("6^5") == Tone(6, BLOW, Technique.BEND, 5)
    (fault,) = faults("| 6^5v |")
    assert (fault.span.column, fault.span.end_column) == (3, 7)
    assert "6^ 5v" in fault.help


@pytest.mark.parametrize(
    ("token", "marks"),
    [
        ("/4v", Marks(scoop=1)),
        ("//3v", Marks(scoop=2)),
        ("4v\\", Marks(fall=1)),
        ("3v\\\\", Marks(fall=2)),
        ("4v\\/", Marks(dip=1)),
        ("3v\\\\/", Marks(dip=2)),
        ("4v~", Marks(vibrato=True)),
        ("4v!", Marks(accent=True)),
        ("4v;", Marks(staccato=True)),
        ("4v@", Marks(wah=True)),
        ("/4v\\/~!;@\\", Marks(1, 1, 1, True, True, True, True)),
    ],
)
def test_marks_decorate_and_change_no_pitch(token: str, marks: Marks) -> None:
    """Scoop, fall, dip, vibrato, accent, staccato, wah; the note itself stays the same."""
    figure = parse_figure(token)
    assert figure.marks == marks
    assert [(each.breath, each.technique, each.depth) for each in figure.tones] == [
        (DRAW, Technique.NATURAL, 0)
    ]
    assert figure.token == token


def test_marks_behind_a_note_come_in_any_order() -> None:
    assert parse_figure("4v@;!~") == parse_figure("4v~!;@")
    assert parse_figure("4v@;!~").token == "4v~!;@"


def test_a_shake_goes_between_two_holes() -> None:
    figure = parse_figure("4~5v")
    assert figure == Figure((Tone(4, DRAW),), shake=Tone(5, DRAW))
    assert figure.token == "4~5v"
    assert parse_figure("4v1~5v").token == "4v1~5v"


def test_grace_notes_come_before_in_braces() -> None:
    figure = parse_figure("{5v,4^}/4v~")
    assert [grace.token for grace in figure.grace] == ["5v", "4^"]
    assert figure.marks == Marks(scoop=1, vibrato=True)
    assert figure.token == "{5v,4^}/4v~"


@pytest.mark.parametrize(
    ("token", "says"),
    [
        ("4", "which way the breath goes"),
        ("2+3", "which way the breath goes"),
        ("4v0", "no depth"),
        ("4v0.3", "semitones and quarter tones"),
        ("2v+3^", "one breath"),
        ("4^~5v", "one breath"),
        ("2+2v", "same hole twice"),
        ("4~5~6v", "between two holes"),
        ("4v~~", "twice"),
        ("4v*+5v", "slide"),
        ("{}4v", "grace"),
        ("{5v,}4v", "grace"),
        ("{4}5v", "which way the breath goes"),
    ],
)
def test_what_is_written_right_and_makes_no_note_is_told(token: str, says: str) -> None:
    with pytest.raises(NoteError, match=says) as raised:
        parse_figure(token)
    (fault,) = faults(f"| {token} |")
    assert says in fault.message
    assert fault.help == raised.value.help
    assert fault.span[1:] == (1, 3, 3 + len(token))


def test_a_chord_symbol_stands_before_the_share_it_begins_on() -> None:
    texts = '"G7"2v "C",2v'
    assert faults(texts)  # with nothing behind it, it is told
    (one, two, three, four) = beats('"G7"2v 3v,"C m7"- "D". "A"(4v,4^),5v')
    assert one.parts[0].symbol == "G7"
    assert [part.symbol for part in two.parts] == ["", "C m7"]
    assert three.parts[0].symbol == "D"
    assert isinstance(four.parts[0], Split)
    assert four.parts[0].symbol == "A"


def test_two_chord_symbols_at_one_place_are_told() -> None:
    (fault,) = faults('"A"("C"4v,4^),5v')
    assert "two chord symbols" in fault.message


@pytest.mark.parametrize(
    ("text", "barline"),
    [
        ("|", Barline()),
        ("||", Barline(double=True)),
        ("|]", Barline(final=True)),
        ("|:", Barline(opens=True)),
        (":|", Barline(closes=True)),
        (":|:", Barline(opens=True, closes=True)),
        (":||:", Barline(opens=True, closes=True, double=True)),
        (":|]", Barline(closes=True, final=True)),
        ("|1", Barline(ending=1)),
        (":|2", Barline(closes=True, ending=2)),
        (":| |:", Barline(opens=True, closes=True)),
        (":| |2", Barline(closes=True, ending=2)),
    ],
)
def test_bar_lines(text: str, barline: Barline) -> None:
    one, two = line(f"4v {text} 4^").bars
    assert one.after == two.before == barline
    alone = line(f"4v {text}").bars
    assert len(alone) == 1 or text in (":| |:", ":| |2")
    assert alone[-1].after == barline


def test_a_hole_behind_a_bar_line_is_no_ending() -> None:
    (bar,) = line("|1v |").bars
    assert bar.before == Barline()
    assert shape(bar.beats[0]) == ["1v"]


def test_a_line_end_closes_a_bar_and_bar_lines_are_optional() -> None:
    tune, _ = parse("4v 4^\n5v 5^ | 6v\n")
    assert [len(bar.beats) for each in tune.lines if isinstance(each, MusicLine)
            for bar in each.bars] == [2, 2, 1]  # fmt: skip


def test_headers() -> None:
    tune, found = parse(
        "title: Kettle #3\nComposer:  A. Nother # and friends\nHARP: bb\ntuning: paddy richter\n"
        "key: Am\ntempo: 96.5\nmeter: 6/8\nfeel: SWING 3 : 2\npitch: 442 Hz\n"
    )
    assert not found
    assert [(each.name, each.value) for each in tune.lines if isinstance(each, HeaderLine)] == [
        ("title", "Kettle #3"),
        ("composer", "A. Nother"),
        ("harp", "Bb"),
        ("tuning", "Paddy Richter"),
        ("key", "A minor"),
        ("tempo", "96.5"),
        ("meter", "6/8"),
        ("feel", "swing 3:2"),
        ("pitch", "442"),
    ]
    parsed = {each.name: each.parsed for each in tune.lines if isinstance(each, HeaderLine)}
    assert parsed["key"] == Key("A", "minor")
    assert parsed["tempo"] == Fraction(193, 2)
    assert parsed["feel"] == Fraction(3, 5)
    assert parsed["pitch"] == 442.0
    assert tune.title == "Kettle #3"
    assert [each.comment for each in tune.lines if isinstance(each, HeaderLine)][1] == (
        "# and friends"
    )


@pytest.mark.parametrize(
    "key", ["C", "c", "Bb", "bb", "F#", "f#", "low F", "LOW f", "high G", "low low F"]
)
def test_harp_keys_in_any_case(key: str) -> None:
    tune, found = parse(f"harp: {key}\n")
    assert not found
    assert tune.header("harp").lower() == key.lower()


@pytest.mark.parametrize(
    ("text", "rule", "column", "helped"),
    [
        ("harp: H", "header-value", 7, "C, Bb or F#"),
        ("tuning: Paddy Ritcher", "header-value", 9, "Paddy Richter"),
        ("key: E blues", "header-value", 6, "A minor"),
        ("tempo: fast", "header-value", 8, "96"),
        ("tempo: 4000", "header-value", 8, "400"),
        ("meter: 5", "header-value", 8, "6/8"),
        ("feel: swing 2:3", "header-value", 7, "long part first"),
        ("pitch: 44", "header-value", 8, "442"),
        ("harp:", "header-value", 1, "low F"),
        ("tempp: 90", "unknown-header", 1, "tempo"),
        ("colour: red", "unknown-header", 1, "title"),
    ],
)
def test_unknown_headers_and_values_name_the_right_ones(
    text: str, rule: str, column: int, helped: str
) -> None:
    (fault,) = faults(text)
    assert fault.rule.name == rule
    assert fault.span.column == column
    assert helped in fault.help


def test_a_header_stands_once_and_where_it_counts() -> None:
    text = "harp: C\nharp: D\n[a]\ntitle: late\ntempo: 90\n| 4v |\nmeter: 3/4\n[b]\ntempo: 80\n"
    assert [(fault.rule.name, fault.span.line) for fault in faults(text)] == [
        ("header-place", 2),
        ("header-place", 4),
        ("header-place", 7),
    ]


def test_a_mistyped_header_draws_no_further_fault() -> None:
    """``hrp: C`` is told once, and read as the harp it means."""
    tune, (fault,) = parse("hrp: C\n| 4v |\n")
    assert fault.rule.name == "unknown-header"
    assert tune.header("harp") == "C"


def test_sections() -> None:
    tune, found = parse("[ the  head ] # loud  \n| 4v |\n")
    assert not found
    section = tune.lines[0]
    assert isinstance(section, SectionLine)
    assert (section.name, section.comment) == ("the head", "# loud")
    assert [fault.span.line for fault in faults("[a\n[]b\n[a] b\n")] == [1, 2, 3]


def test_comments_stand_alone_and_behind_any_line() -> None:
    tune, found = parse("# all\nharp: F# # sharp\n[a]# b\n| 4v | # c\nlyric: oh # d\n|4v|#e\n")
    assert not found
    assert [getattr(each, "comment", None) for each in tune.lines] == [
        "# all", "# sharp", "# b", "# c", "# d", "#e",
    ]  # fmt: skip
    assert tune.header("harp") == "F#"


def test_a_sharp_straight_behind_a_note_is_no_comment() -> None:
    """Or the rest of the line would be lost without a word."""
    (fault,) = faults("| 4v# 4^ 5v 5^ |")
    assert fault.span.column == 3
    assert "'#'" in fault.message


def test_lyrics_belong_to_the_line_of_bars_above() -> None:
    tune, found = parse("| 4v 4^ |\n# between\nlyric: Ket- tle | _ *\nlyric: two\n")
    assert not found
    words = [each for each in tune.lines if isinstance(each, LyricLine)]
    assert [word for word, _ in words[0].syllables] == ["Ket-", "tle", "|", "_", "*"]
    assert [span.column for _, span in words[0].syllables] == [8, 13, 17, 19, 21]
    (fault,) = faults("| 4v |\n\nlyric: oh\n")
    assert fault.span.line == 3


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_any_line_ends_and_none_at_the_last_line(ends: str) -> None:
    tune, found = parse(ends.join(["harp: C", "", "| 4v |"]))
    assert not found
    assert [type(each) for each in tune.lines] == [HeaderLine, BlankLine, MusicLine]


def test_every_place_is_kept() -> None:
    """Lines and columns count from 1, ends are exclusive; a beat spans its shares."""
    tune, _ = parse("# one\n|  4v,(5v,5^) .\n")
    music = tune.lines[1]
    assert isinstance(music, MusicLine)
    (bar,) = music.bars
    assert [(beat.span.column, beat.span.end_column) for beat in bar.beats] == [(4, 14), (15, 16)]
    assert [note.span[1:] for note in tune.notes()] == [(2, 4, 6), (2, 8, 10), (2, 11, 13)]


def test_one_bad_beat_hides_nothing_else() -> None:
    """Each is told, in its place; what is right stays; the bars keep their beats."""
    tune, found = parse("| 4v 4 4v5v 4^ | 6o 5^, 5v 4^ | # end\n")
    assert [(fault.span.column, fault.span.end_column) for fault in found] == [
        (6, 7), (8, 12), (18, 20), (23, 24),
    ]  # fmt: skip
    music = tune.lines[0]
    assert isinstance(music, MusicLine)
    assert [len(bar.beats) for bar in music.bars] == [4, 4]
    assert music.comment == "# end"
    kinds = [type(beat.parts[0]) for bar in music.bars for beat in bar.beats]
    assert kinds == [Note, Broken, Broken, Note, Broken, Broken, Note, Note]


def test_an_unread_line_hides_nothing_else() -> None:
    tune, found = parse("harp: C\nwhat is this\n| 4v |\nand this\nlyric: oh\n")
    assert [(fault.span.line, fault.rule.name) for fault in found] == [
        (2, "unreadable"), (4, "unreadable"),
    ]  # fmt: skip
    assert [type(each) for each in tune.lines] == [
        HeaderLine, UnreadLine, MusicLine, UnreadLine, UnreadLine,
    ]  # fmt: skip


def test_a_comment_line_keeps_its_text() -> None:
    tune, _ = parse("  #  two  blanks \n")
    assert tune.lines[0].comment == "#  two  blanks"  # type: ignore[union-attr]
    assert isinstance(tune.lines[0], CommentLine)


def test_tuning_files_lie_beside_the_tune(tmp_path: Path) -> None:
    (tmp_path / "own.harptuning").write_text(
        "name: own\nkey: C\nblow: C4 E4\ndraw: D4 G4\n", encoding="utf-8"
    )
    tune, found = parse("tuning: own.harptuning\n", str(tmp_path / "tune.harptab"))
    assert not found
    assert tune.header("tuning") == "own.harptuning"
    (fault,) = faults("tuning: nowhere.harptuning\n")
    assert "cannot be read" in fault.message
