"""The canonical layout: meaning never changed, comments kept, the same when done again."""

from __future__ import annotations

import re
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_tunes import random_tune, text_of

from tabtool.canonical import write
from tabtool.cli import main
from tabtool.diagnostics import Span
from tabtool.parse import parse
from tabtool.resolve import resolve
from tabtool.tune import BlankLine, Tune


def laid_out(text: str) -> str:
    tune, faults = parse(text)
    assert not faults, faults
    return write(tune)


def bare(value: object) -> object:
    """A value without the places it was read at."""
    if isinstance(value, Span):
        return None
    if isinstance(value, tuple):
        return tuple(bare(part) for part in value)
    return value


def meaning(tune: Tune) -> object:
    """All a tune says, but for where it says it and its blank lines."""
    return bare(tuple(line for line in tune.lines if not isinstance(line, BlankLine)))


def played(tune: Tune) -> list[tuple[object, ...]]:
    """What sounds, and when."""
    return [
        (e.figure, e.bar, e.play, e.onset, e.duration, e.start_s, e.end_s, e.pitches, e.lyric)
        for e in resolve(tune)[0].events
    ]


def messy(text: str, rng: Random) -> str:
    """The same tune as an untidy hand writes it: other arrows, blanks, needless parentheses,
    blank lines, comments, capitals in headers, other line ends."""
    lines = []
    for line in text.split("\n"):
        if re.match(r"[a-z]+: ", line) and not line.startswith("lyric"):
            name, value = line.split(": ", 1)
            name = rng.choice((name, name.upper(), name.title()))
            line = name + rng.choice((":", ": ", " :  ")) + value
        elif line.startswith(("|", ":")):
            line = line.replace("v", rng.choice("vV↓")).replace("^", rng.choice("^↑"))
            line = re.sub(" ", lambda _: rng.choice((" ", "  ", "\t")), line)
            line = re.sub(r"(?<=\s)([0-9]+[v^])(?=\s)", rng.choice((r"\1", r"(\1)")), line)
            if rng.random() < 0.3:
                line += f" # {rng.choice(('loud', 'soft', '# twice  '))}"
        if rng.random() < 0.1:
            lines.append(rng.choice(("  # aside", "#aside")))
        indent = rng.choice(("", " ", "\t"))
        lines.append(indent + line + rng.choice(("", " ", "\t")) if line else line)
        if rng.random() < 0.1 and "lyric" not in text:
            lines += [""] * rng.randint(1, 3)
    return rng.choice(("\n", "\r\n")).join(lines)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32))
def test_random_tunes_keep_their_meaning(seed: int) -> None:
    """Reading what was laid out gives the tune that was laid out, and laying that out again
    changes nothing; the same tune untidily written gets the same layout but for its comments."""
    rng = Random(seed)
    text = text_of(random_tune(rng))
    untidy = messy(text, rng)
    for written in (text, untidy):
        tune, faults = parse(written)
        assert not faults
        once = write(tune)
        again, faults = parse(once)
        assert not faults
        assert meaning(again) == meaning(tune)
        assert write(again) == once
        assert played(again) == played(tune)
    assert played(parse(untidy)[0]) == played(parse(text)[0])


def test_beats_stand_in_columns() -> None:
    """Over the lines of bars that follow each other, bar by bar."""
    assert laid_out("|: 4v 4^,4v | 10^1 .|\n| 2+3+4v  -|4^ 5v,(5^,5v) :|2 6v 6^ |]") == (
        "|: 4v     4^,4v | 10^1 .          |\n|  2+3+4v -     | 4^   5v,(5^,5v) :|2 6v 6^ |]\n"
    )


def test_chord_symbols_stand_in_their_columns() -> None:
    assert laid_out('| "G7"2v 3v | 4v "Am"- |\n| 2v "D"(3v,4v),- | 4v . |') == (
        '| "G7"2v 3v           | 4v "Am"- |\n| 2v     "D"(3v,4v),- | 4v .     |\n'
    )


def test_lyrics_and_comments_between_do_not_part_the_columns() -> None:
    assert laid_out("| 4v 4^ |\nlyric:  oh   my\n#  so\n| 10^ 4^ |\n\n| 4v 4^ |\n") == (
        "| 4v  4^ |\nlyric: oh my\n#  so\n| 10^ 4^ |\n\n| 4v 4^ |\n"
    )


def test_lines_without_bar_lines() -> None:
    assert laid_out("meter: free\n\n4v   4^\n  10^ 4^ | 5v") == (
        "meter: free\n\n4v  4^\n10^ 4^ | 5v\n"
    )


def test_lines_under_a_pick_up_begin_beside_it() -> None:
    """So that full bars stand under full bars."""
    assert laid_out("|: 4v | 4v 4^ |\n| 10v 4^ | 5v :|2 6v 6^ |\n4v 4^ |") == (
        "|: 4v | 4v  4^ |\n"
        "      | 10v 4^ | 5v :|2 6v 6^ |\n"
        "        4v  4^ |\n"
    )  # fmt: skip
    assert laid_out("4v | 4v 4^ |\n| 10v 4^ |") == "4v | 4v  4^ |\n   | 10v 4^ |\n"
    assert laid_out("| 4v | 4v 4^ |\n| 4v |") == "| 4v | 4v 4^ |\n| 4v |\n"


def test_lines_of_different_length_and_bars_of_different_beats() -> None:
    assert laid_out("4v | 4v 4^ |\n| 4v 4^ | 5v 5^ | 6v 6^ |\n| 10v |") == (
        "  4v     | 4v 4^ |\n"
        "| 4v  4^ | 5v 5^ | 6v 6^ |\n"
        "| 10v    |\n"
    )  # fmt: skip


def test_blank_lines() -> None:
    """One at most, one before each section, none at either end; a comment right over a section
    stays with it."""
    assert laid_out(
        "\n\ntitle: a\n\n\n\n[one]\n| 4v |\n[two]\n\n| 4v |\n# on three\n[three]\n\n"
    ) == ("title: a\n\n[one]\n| 4v |\n\n[two]\n\n| 4v |\n# on three\n[three]\n")


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("HARP:bb", "harp: Bb"),
        ("Harp :  LOW f# # mine", "harp: low F# # mine"),
        ("key: am", "key: A minor"),
        ("key: F# Minor", "key: F# minor"),
        ("tuning: STANDARD", "tuning: Richter"),
        ("tuning: half-valved  richter", "tuning: half-valved Richter"),
        ("meter: 6 / 8", "meter: 6/8"),
        ("meter: Free", "meter: free"),
        ("feel: Swing 3 : 2", "feel: swing 3:2"),
        ("pitch: 442.0 hz", "pitch: 442"),
        ("tempo: 96.50", "tempo: 96.50"),
        ("title:  A  tune #3  # aside", "title: A  tune #3 # aside"),
        ("[ a   b ] # aside", "[a b] # aside"),
        ("lyric:", None),
        ("   # aside  ", "# aside"),
    ],
)
def test_other_lines(text: str, canonical: str | None) -> None:
    if canonical is None:
        assert laid_out("| 4v |\n" + text) == "| 4v |\nlyric:\n"
    else:
        assert laid_out(text) == canonical + "\n"


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("4V", "4v"), ("2↓2", "2v2"), ("6↑↑", "6^^"), ("(4v,5v)", "4v,5v"), ("4v,((5v))", "4v,5v"),
        ("4~5V", "4~5v"), ("2v+3v", "2+3v"), ("2v1+3v1", "2+3v1"), ("4v@~", "4v~@"),
        ("4v\\~", "4v~\\"), ("{5V,6v}4v", "{5v,6v}4v"), ('" G7 "4v', '"G7"4v'), ('""4v', "4v"),
        ("3v1.0", "3v1"), ("3v01", "3v1"), ("04v", "4v"), ("|4v|", "| 4v |"), ("4v:|", "4v :|"),
        ("4v :| |: 5v", "4v :|: 5v"), ("4v |1 5v :| |2 6v", "4v |1 5v :|2 6v"),
        ("4v |1 ", "4v |1"), ("4v #  so", "4v #  so"), ("4v |#so", "4v | #so"),
        ("3v\\\\/", "3v\\\\/"), ("3v\\/\\\\", "3v\\/\\\\"),
    ],
)  # fmt: skip
def test_tokens(text: str, canonical: str) -> None:
    assert laid_out(text) == canonical + "\n"
    assert laid_out(canonical) == canonical + "\n"


def test_an_empty_tune() -> None:
    assert laid_out("") == "\n"
    assert laid_out("\n") == "\n"


def test_what_is_not_understood_is_not_laid_out() -> None:
    for text in (
        "| 4 |",
        "| 4v5v |",
        "what is this",
        "lyric: oh",
        "tempo:",
        "tempo: fast",
    ):
        tune, faults = parse(text)
        assert faults
        with pytest.raises(ValueError, match="could not be read"):
            write(tune)


def test_the_command_rewrites_checks_and_leaves_alone(
    tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path_factory.mktemp("tunes")
    untidy, tidy, faulty = (folder / f"{name}.harptab" for name in ("untidy", "tidy", "faulty"))
    untidy.write_bytes(b"harp:c\r\n|4V  4^|\r\n")
    tidy.write_text("harp: C\n| 4v 4^ |\n", encoding="utf-8")
    faulty.write_text("harp:C\n| 4 |\n", encoding="utf-8")
    assert main(["format", "--check", str(tidy)]) == 0
    assert main(["format", "--check", str(untidy)]) == 1
    assert untidy.read_bytes() == b"harp:c\r\n|4V  4^|\r\n"
    assert main(["format", str(untidy)]) == 0
    assert untidy.read_bytes() == tidy.read_bytes()
    before = faulty.read_bytes()
    assert main(["format", str(folder)]) == 1
    assert faulty.read_bytes() == before
    assert "left as it is" in capsys.readouterr().err
    assert sorted(path.name for path in folder.iterdir()) == [
        "faulty.harptab", "tidy.harptab", "untidy.harptab",
    ]  # fmt: skip
