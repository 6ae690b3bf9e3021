"""Chords typed as stacks. "Stacked numbers" for notes sounding together is the habit of printed
books, from the published facts on written conventions; how people set the lines of a stack in
typed text is common practice, no source."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tabtool.cli import main
from tabtool.diagnostics import TabError
from tabtool.load import load
from tabtool.notation import parse_figure
from tabtool.readers.stacks import Row, Sign, gathered
from tabtool.readers.txt import Typed, read
from tabtool.scores.spellings import SPELLINGS
from tabtool.tunings import TUNINGS
from tabtool.writers.txt import write
from tabtool.written import as_written

RICHTER = TUNINGS["Richter"]


def typed(text: str, lines: str = "", spelling: str = "plus-minus") -> Typed:
    return read(text.encode(), "mail.txt", spelling, "C", RICHTER, together=lines)


def bars(text: str, lines: str = "", spelling: str = "plus-minus") -> list[str]:
    """The lines of music, each as its tokens without the bar lines around."""
    found = typed(text, lines, spelling).text.splitlines()
    return [" ".join(line.split()[1:-1]) for line in found if line.startswith("|")]


def refused(text: str, lines: str = "") -> str:
    with pytest.raises(TabError) as told:
        typed(text, lines)
    message = str(told.value)
    assert "\n" not in message
    return message


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # the lower line leaves out notes between its own
        ("+4 -4 +5 +6\n   -5    +7\n", ["4^ 4+5v 5^ 6+7^"]),
        # both before and after them
        ("+4 -4 +5\n   -5\n", ["4^ 4+5v 5^"]),
        # the upper line does: single notes stand at the bottom
        ("   -5    +7\n+4 -4 +5 +6\n", ["4^ 4+5v 5^ 6+7^"]),
        # notes by themselves on both lines
        ("+4 +5    +6\n+1    +2\n", ["1+4^ 5^ 2^ 6^"]),
        # three high; one stack below another
        ("+4 +5 +6 +4\n   +6\n   +7\n", ["4^ 5+6+7^ 6^ 4^"]),
        ("+4 -4 +5\n   -5\n+6 -6 +5\n   -5\n", ["4^ 4+5v 5^", "6^ 5+6v 5^"]),
        ("   -5\n+4 -4 +5\n   -6\n+6 -5 +5\n", ["4^ 4+5v 5^", "6^ 5+6v 5^"]),
        # bar lines in both, or in one
        ("| +4 -4 | +5 -5 |\n|    -5 |       |\n", ["4^ 4+5v | 5^ 5v"]),
        ("| +4 -4 | +5 -5 |\n     -5\n", ["4^ 4+5v | 5^ 5v"]),
        # a bent reed in a chord, chords within a stack, tabulators
        ("+4 -3   +5\n   -2'\n", ["4^ 2v1+3v 5^"]),
        ("+4 (-4-5) +5\n   -6\n", ["4^ 4+5+6v 5^"]),
        ("+4\t-4\t+5\n\t-5\n", ["4^ 4+5v 5^"]),
    ],
)
def test_columns_that_leave_out_notes_are_stacks(text: str, expected: list[str]) -> None:
    found = typed(text)
    assert bars(text) == expected
    assert any("read as chords (lines 1-" in remark for remark in found.remarks)


@pytest.mark.parametrize(
    ("spelling", "text"),
    [
        ("plus-minus", "+4 -4 +5\n   -5\n"),
        ("minus", "4 -4 5\n  -5\n"),
        ("plus", "+4  4 +5\n    5\n"),
        ("plus-after", "4+ 4 5+\n   5\n"),
        ("angle", "4> 4 5>\n   5\n"),
        ("letters", "4B 4D 5B\n   5D\n"),
        ("arrows", "4↑ 4↓ 5↑\n   5↓\n"),
    ],
)
def test_stacks_in_every_spelling(spelling: str, text: str) -> None:
    assert bars(text, spelling=spelling) == ["4^ 4+5v 5^"]


@pytest.mark.parametrize(
    "text",
    [
        "+4 -4 +5\n+6 +6 -5\n",  # full, but blow over draw
        "+4 -4 +5\n+4 -5\n",  # the same hole twice
        "+4 -4 +5 -5\n+10 -3' +4\n",  # not in columns
        "+4 -4 +5\n+5 -5 +6\n".replace("\n", "\n\n"),  # an empty line between
        "+4 -4 +5\n\n   -5\n",
        "+4 -4 +5\nla la la\n   -5\nlo\n",  # words between
        "+4 -4 +5\n         -5 +6\n",  # one after the other in any reading
        "5 6 7\n-4 5\n",  # typed with one blank between: nothing is left out
    ],
)
def test_lines_that_cannot_be_a_stack_are_melody(text: str) -> None:
    spelling = "minus" if text[0] == "5" else "plus-minus"
    assert bars(text, spelling=spelling) == bars(text, "melody", spelling)
    assert len(bars(text, spelling=spelling)) == 2
    assert not any("chords" in remark for remark in typed(text, spelling=spelling).remarks)


@pytest.mark.parametrize(
    ("text", "stacked", "melody"),
    [
        ("+4 +5 +6\n+5 +6 +7\n", ["4+5^ 5+6^ 6+7^"], ["4^ 5^ 6^", "5^ 6^ 7^"]),
        ("+4 -4 +5\n+5\n", ["4+5^ 4v 5^"], ["4^ 4v 5^", "5^"]),  # or a short line
        ("+4 -4 +5\n   -5 +6\n", ["4^ 4+5v 5+6^"], ["4^ 4v 5^", "5v 6^"]),  # or an indented one
        ("+4    +5\n   -4    -5\n", ["4^ 4v 5^ 5v"], ["4^ 5^", "4v 5v"]),  # rows turn by turn
        ("+4  -4  +5  -5\n    -5   +6\n", ["4^ 4+5v 5+6^ 5v"], ["4^ 4v 5^ 5v", "5v 6^"]),  # askew
    ],
)
def test_lines_that_read_either_way_are_shown_both_ways(
    text: str, stacked: list[str], melody: list[str]
) -> None:
    message = refused(text)
    assert "lines 1 and 2" in message
    assert f"{' '.join(stacked)} with --lines stacked" in message
    assert f"{' '.join(melody)} with --lines melody" in message
    assert bars(text, "stacked") == stacked
    assert bars(text, "melody") == melody
    assert bars(text.replace("\n", "\n\n")) == melody  # as the message says


def test_two_ways_to_stack_are_told_by_an_empty_line() -> None:
    text = "+4 +5 +4\n   +6\n+5 +7 +6\n"
    for lines in ("", "stacked"):
        message = refused(text, lines)
        assert "lines 1 to 3" in message
        assert "4^ 5+6^ 4^ 5^ 7^ 6^ with an empty line under line 2" in message
        assert "4^ 5^ 4^ 5^ 6+7^ 6^ with an empty line under line 1" in message
    assert bars("+4 +5 +4\n   +6\n\n+5 +7 +6\n") == ["4^ 5+6^ 4^", "5^ 7^ 6^"]
    assert bars("+4 +5 +4\n\n   +6\n+5 +7 +6\n") == ["4^ 5^ 4^", "5^ 6+7^ 6^"]
    assert bars(text, "melody") == ["4^ 5^ 4^", "6^", "5^ 7^ 6^"]


@pytest.mark.parametrize(
    ("text", "lines", "said"),
    [
        ("+4 -4 +5\n   +5\n", "", "mail.txt:2:4: '+5' stands under '-4' as in a chord: blow and"),
        ("+4 +5 +6\n   +6\n   +5\n", "", "mail.txt:3:4: '+5' stands under '+6' as in a chord: the"),
        ("+4 -4\n+5 +5\n", "stacked", "mail.txt:2:4: '+5' stands under '-4' as in a chord: blow"),
        ("+4 -4 +5\n   -99\n", "", "mail.txt:2:4: '-99'"),
    ],
)
def test_a_stack_that_is_no_chord_is_told_with_its_place(text: str, lines: str, said: str) -> None:
    assert refused(text, lines).startswith(said)


def test_a_stack_is_checked_as_the_same_chord_is_anywhere() -> None:
    """Holes far apart, two bends at once: what `check` says of the chord in parentheses."""
    stack = load(typed("+4 +1 -2' +5\n   +6 -3'\n").text)
    side = load(typed("+4 (+1+6) (-2'-3') +5\n").text)
    told = [(found.rule.name, found.message) for found in stack.diagnostics]
    assert told == [(found.rule.name, found.message) for found in side.diagnostics]
    assert told


def test_words_go_with_the_columns_of_the_stack() -> None:
    found = typed("Oh\n\n+4 -4 +5\n   -5\nOh my dear\n").text
    assert "| 4^ 4+5v 5^ |\nlyric: Oh my dear\n" in found


def test_the_command_asks_and_takes_the_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.txt").write_text("+4 -4 +5\n+5 -5 +6\n")
    (tmp_path / "a.abc").write_text("X:1\nK:C\nC\n")
    out = tmp_path / "a.harptab"
    assert main(["read", str(tmp_path / "a.txt"), "-o", str(out)]) == 2
    assert not out.exists()
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert main(["read", str(tmp_path / "a.txt"), "-o", str(out), "--lines", "stacked"]) == 0
    assert "4+5^ 4+5v 5+6^" in out.read_text()
    assert "read as chords (lines 1-2)" in capsys.readouterr().err
    assert main(["read", str(tmp_path / "a.abc"), "--lines", "stacked"]) == 2
    assert "--lines is for tab typed by hand" in capsys.readouterr().err


CHORDS = st.lists(
    st.tuples(
        st.sampled_from("+-"),
        st.lists(st.integers(1, 10), min_size=1, max_size=3, unique=True).map(sorted),
    ),
    min_size=1,
    max_size=8,
)


def stack_of(chords: list[tuple[str, list[int]]], top: bool) -> str:
    """Chords as a stack, single notes on the top line or on the bottom line."""
    high = max(len(holes) for _, holes in chords)
    rows = []
    for line in range(high):
        level = line if top else high - 1 - line
        cells = [f"{b}{holes[level]}" if level < len(holes) else "" for b, holes in chords]
        rows.append(" ".join(cell.ljust(3) for cell in cells).rstrip())
    return "\n".join(rows) + "\n"


def tokens_of(chords: list[tuple[str, list[int]]]) -> list[str]:
    return ["+".join(map(str, holes)) + {"+": "^", "-": "v"}[b] for b, holes in chords]


def read_or_asked(text: str, lines: str = "") -> list[str] | str:
    """The notes read, or what is said where they are not."""
    try:
        return [note.figure.token for note in typed(text, lines).tune.notes()]
    except TabError as error:
        return str(error)


@given(stacks=st.lists(CHORDS, min_size=1, max_size=3), top=st.booleans())
def test_any_stack_is_read_or_asked_about(
    stacks: list[list[tuple[str, list[int]]]], top: bool
) -> None:
    text = "\n".join(stack_of(chords, top) for chords in stacks)
    expected = [token for chords in stacks for token in tokens_of(chords)]
    assert read_or_asked(text, "stacked") == expected
    found = read_or_asked(text)
    assert found == expected or "nothing tells" in found


@given(
    lines=st.lists(
        st.lists(st.tuples(st.sampled_from("+-"), st.integers(1, 10)), min_size=1, max_size=9),
        min_size=1,
        max_size=6,
    )
)
def test_melody_typed_with_single_blanks_is_never_taken_for_chords(
    lines: list[list[tuple[str, int]]],
) -> None:
    text = "".join(" ".join(f"{b}{hole}" for b, hole in line) + "\n" for line in lines)
    expected = [token for line in lines for token in tokens_of([(b, [h]) for b, h in line])]
    assert read_or_asked(text, "melody") == expected
    found = read_or_asked(text)
    assert found == expected or "nothing tells" in found


def test_what_is_written_has_no_lines_to_stack() -> None:
    """Two lines of a tune that would make chords come back as two lines."""
    tune = load("harp: C\nmeter: free\n\n| 4^ 5^ 6^ |\n| 5^ 6^ 7^ |\n").tune
    mail = write(tune, as_written(tune).words, SPELLINGS["plus-minus"])
    assert bars(mail.decode(), spelling="") == ["4^ 5^ 6^", "5^ 6^ 7^"]


def test_a_line_costs_alike_among_many_and_among_few() -> None:
    """From 1,000 to 16,000 lines of one number each, directly below each other."""

    def seconds_a_line(count: int) -> float:
        figure = parse_figure("4^")
        rows: list[Row] = [(Sign(line, 0, "+4", figure),) for line in range(count)]
        start = time.process_time()
        assert gathered(rows, "", "mail.txt") == [(row,) for row in rows]
        return (time.process_time() - start) / count

    few = min(seconds_a_line(1000) for _ in range(10))
    assert min(seconds_a_line(16_000) for _ in range(2)) / few < 4
