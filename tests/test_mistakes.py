"""Faulty text: each slip told in its own words and place, all of them, and never a traceback."""

from __future__ import annotations

import re
from pathlib import Path
from random import Random

import pytest

from tabtool.canonical import write
from tabtool.diagnostics import Diagnostic, Level
from tabtool.load import load
from tabtool.mistakes import MISTAKES, explain
from tabtool.parse import parse
from tabtool.report import as_text
from tabtool.tune import MusicLine

SONGS = Path(__file__).parent.parent / "songs"

# What is typed, the part of it that is told of, a word of the message, and what to write instead.
SLIPS = [
    ("4", "4", "breath", "4v"),
    ("4b", "4b", "breath", "4v1"),
    ("4d", "4d", "draw", "4v"),
    ("4#", "4#", "breath", "space before its #"),
    ("+4", "+4", "sign before the hole", "4^"),
    ("-4", "-4", "sign before the hole", "4v"),
    ("4+", "4+", "sign behind the hole", "4^"),
    ("4-", "4-", "sign behind the hole", "4v"),
    ("^4", "^4", "before its hole", "4^"),
    ("v4", "v4", "before its hole", "4v"),
    ('"G7"v4', "v4", "before its hole", "4v"),
    ("4v,-4", "-4", "sign before the hole", "4v"),
    ("4v5v", "4v5v", "touch", "4v 5v"),
    ("6^5v", "6^5v", "touch", "6^,5v"),
    ("6^^5v", "6^^5v", "touch", "6^^ 5v"),
    ("4^v", "4^v", "two different arrows", "4^"),
    ("4vvv", "4vvv", "too many arrows", "4vv"),
    ("4v'", "4v'", "figures", "4v1"),
    ("4v''", "4v''", "figures", "4v2"),
    ('4v"', '4v"', "figures", "4v2"),
    ("3'''", "3'''", "figures", "3v3"),
    ("6o", "6o", "'o'", "6^^"),
    ("7vo", "7vo", "'o'", "7vv"),
    ("4vb", "4vb", "'b'", "4v1"),
    ("4v#", "4v#", "'#'", "4v1"),
    ("4v.5", "4v.5", "point", "4v0.5"),
    ("3.5v", "3.5v", "whole", "3v0.5"),
    ("100v", "100", "two figures", "+"),
    ("4v100", "100", "two figures", "3v2"),
    ("4v0", "4v0", "no depth", "4v"),
    ("4v0.3", "4v0.3", "quarter tones", "4v0.5"),
    ("4v,", ",", "end with a comma", "4v,4^"),
    (",4v", ",", "begin with a comma", "4v,4^"),
    ("4v,(,4v)", ",", "begin with a comma", "4v,4^"),
    ("4v,,5v", ",,", "empty share", "."),
    ("4v,()", "()", "empty share", "(4v,4^)"),
    ("(4v", "(4v", "1 opening and 0 closing", "within one beat"),
    ("4v)", "4v)", "0 opening and 1 closing", "within one beat"),
    ("(4v,5v)6v", ")", "touches", "comma"),
    ("4v(5v)", "(", "touches", "comma"),
    ("4v-", "4v-", "hold that touches", "4v,-"),
    ("-4v", "-4v", "hold that touches", "-,4v"),
    (".4v", ".4v", "silence that touches", ".,4v"),
    ("4v.", "4v.", "silence that touches", "4v,."),
    ("..", "..", "one sign a share", "comma"),
    ("--", "--", "one sign a share", "comma"),
    ("_", "_", "hyphen", "-"),
    ("—", "—", "hyphen", "-"),
    ("4v/", "4v/", "scoop stands before", "/4v"),
    ("\\4v", "\\4v", "fall stands after", "4v\\"),
    ("~4v", "~4v", "stands behind", "4v~"),
    ("!4v", "!4v", "stands behind", "4v!"),
    ("~", "~", "mark with no note", "4v~"),
    ("4v!!", "4v!!", "twice", "keep one"),
    ("{5v}", "{5v}", "no note behind", "{5v}4v"),
    ("{5v", "{5v", "do not end", "{5v}4v"),
    ("4v{5v}", "4v{5v}", "before their note", "{5v}4v"),
    ("/{5v}4v", "/{5v}4v", "directly before", "{5v}/4v"),
    ("{{5v}4v}3v", "{{", "within grace", "{5v,6v}4v"),
    ("{5v,}4v", "{5v,}4v", "grace notes", "{5v,6v}4v"),
    ("*4v", "*", "slide", "3v*"),
    ("4v*1", "*", "slide", "3v1*"),
    ("2+v", "+", "one side only", "2+3v"),
    ("2+3v+", "+", "one side only", "2+3v"),
    ("1&2v", "&", "no sign", "1+2v"),
    ("2+2v", "2+2v", "same hole", "once"),
    ("2v+3^", "2v+3^", "one breath", "2+3v"),
    ("v", "v", "without a hole", "4v"),
    ("^", "^", "without a hole", "4v"),
    ("4⇑", "4⇑", "blow", "4^"),
    (":4v", ":", "colon", "|:"),
    ("4v:5v", ":", "colon", "|:"),
    ('"G7"', '"G7"', "nothing behind", '"G7"4v'),
    ('"G7', '"G7', "does not end", '"G7"'),
    ('4v"G7"', '4v"G7"', "stands before", '"G7"4v'),
    ("“G7”4v", "“", "quotation mark", '"G7"4v'),
    ("G7", "G7", "name of a note or a chord", '"G7"4v'),
    ("4v,x,5v", "x", "'x' is no note", "4v draw"),
    ("6x", "6x", "'6x' is no note", "6^^ overblow"),
]
# What a bad beat may look like in the middle of a line.
BAD_BEATS = [slip[0] for slip in SLIPS if slip[0] not in ('"G7',)]


@pytest.mark.parametrize(("typed", "part", "says", "instead"), SLIPS, ids=[s[0] for s in SLIPS])
def test_each_slip_is_told_in_its_own_words(typed: str, part: str, says: str, instead: str) -> None:
    """One fault: at the smallest place, saying what is wrong and what to write instead."""
    line = f"| 5v {typed} 5^ |"
    _, found = parse(line)
    assert len(found) == 1
    (fault,) = found
    assert line[fault.span.column - 1 : fault.span.end_column - 1] == part
    assert says in fault.message
    assert instead in fault.help


def test_a_line_that_begins_with_a_letter_may_be_bars_all_the_same() -> None:
    """Each beat of it is told by itself; prose is told of as a whole."""
    _, found = parse("v4 v5 4^ | G7\n")
    assert [d.span.column for d in found] == [1, 4, 12]
    _, found = parse("v4 5^ :|\n")
    assert [d.span.column for d in found] == [1]
    _, found = parse("what is this\n")
    assert [d.span[1:] for d in found] == [(1, 1, 13)]


def test_every_row_of_mistakes_is_reached() -> None:
    """Each explanation is the one given for some slip listed here, and none lies in the shadow of
    another."""
    given = {explain(typed)[2:] for typed in [*BAD_BEATS, "4ˇ", '"G7']}
    for mistake in MISTAKES:
        message = re.escape(mistake.message).replace(re.escape("{it}"), ".*")
        assert any(re.fullmatch(message, said) for said, _ in given), mistake.message


def test_explanations_fit_their_place() -> None:
    """The place lies within the piece; no name of a group is left unfilled."""
    for typed in BAD_BEATS:
        start, end, message, help = explain(typed)
        assert 0 <= start < end <= len(typed)
        assert "None" not in message + help
        assert message[0].islower() or not message[0].isalpha()
        assert not message.endswith(".")
        assert help


def clean_songs() -> list[str]:
    texts = [path.read_text(encoding="utf-8") for path in sorted(SONGS.glob("*.harptab"))]
    found = [text for text in texts if ".harptuning" not in text]
    assert len(found) > 10
    return found


def places_of_beats(text: str) -> list[tuple[int, int, int]]:
    """Line and columns of every beat of a tune."""
    tune, _ = parse(text)
    return [
        (beat.span.line, beat.span.column, beat.span.end_column)
        for line in tune.lines
        if isinstance(line, MusicLine)
        for bar in line.bars
        for beat in bar.beats
        if text.split("\n")[beat.span.line - 1][beat.span.column - 2] != '"'  # after a chord symbol
    ]


def errors(text: str) -> list[Diagnostic]:
    return [d for d in load(text).diagnostics if d.level is Level.ERROR]


@pytest.mark.parametrize("seed", range(60))
def test_as_many_faults_as_were_put_in_are_told(seed: int) -> None:
    """Bad beats put in place of good ones, one to forty in a song: each is told once, within
    itself, and nothing else is."""
    rng = Random(seed)
    text = rng.choice(clean_songs())
    beats = places_of_beats(text)
    spoilt = sorted(rng.sample(beats, rng.randint(1, min(40, len(beats)))), reverse=True)
    lines = text.split("\n")
    for number, column, end in spoilt:  # from the end, so that the places stay true
        line = lines[number - 1]
        bad = rng.choice(BAD_BEATS)
        lines[number - 1] = line[: column - 1] + bad + line[end - 1 :]
    faulty = "\n".join(lines)
    found = errors(faulty)
    assert len(found) == len(spoilt), as_text(found, faulty)
    assert {d.rule.name for d in found} == {"unreadable"}
    assert [d.span.line for d in found] == [line for line, *_ in reversed(spoilt)]
    for fault in found:
        inside = lines[fault.span.line - 1][fault.span.column - 1 : fault.span.end_column - 1]
        assert any(inside in bad for bad in BAD_BEATS), (inside, fault, lines[fault.span.line - 1])


def test_faults_of_every_kind_in_one_tune_are_all_told() -> None:
    """In the head, the sections, the bars, the lyrics and the playing, in one run."""
    text = (
        "tite: one\nharp: C\ntempo: fast\n[a\n| 4v 4 4v 4v |\nlyric: a b c d e f\n"
        "| 4v 4v 4v |\n| 5v1 4v 4v5v 4v |\n[b]\nkey: H\n| 4^ 11^ 4^ 4^ |\n| 4^ |: 4^ 4^ 4^ |\n"
    )
    assert [(d.span.line, d.rule.name) for d in errors(text)] == [
        (1, "unknown-header"),
        (3, "header-value"),
        (4, "unreadable"),
        (5, "unreadable"),
        (6, "lyric"),
        (7, "bar-length"),
        (8, "only-a-sag"),
        (8, "unreadable"),
        (10, "header-value"),
        (11, "hole-not-on-harp"),
        (12, "repeat"),
    ]


def well_placed(found: tuple[Diagnostic, ...], text: str) -> bool:
    """Whether every diagnostic points at text that is there."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return all(
        1 <= d.span.line <= len(lines)
        and 1 <= d.span.column < d.span.end_column <= len(lines[d.span.line - 1]) + 1
        for d in found
    )


def judged(text: str) -> None:
    """All that must hold of any text whatever."""
    loaded = load(text)
    assert well_placed(loaded.diagnostics, text), (text, loaded.diagnostics)
    assert all(d.message and d.rule.name for d in loaded.diagnostics)
    as_text(loaded.diagnostics, text)
    if loaded.readable:
        once = write(loaded.tune)
        tune, faults = parse(once)
        assert not faults
        assert write(tune) == once


ALPHABET = (
    "0123456789^^vvVV↑↓~!;@*/\\+-.,(){}\"|:[]# \t\n_'’oxbdABCDEFG♭♯é\u00a0\u200b\ud7ff🎵"
    "tempo: harp: key: lyric: | | |: :| 4v 4^ 2v2 "
)


@pytest.mark.parametrize("seed", range(40))
def test_mutated_songs_give_diagnostics_never_a_traceback(seed: int) -> None:
    """Fifty mutations of a few lines of a song a seed: signs dropped, put in, changed, swapped,
    lines cut short, doubled and shuffled."""
    rng = Random(seed)
    for _ in range(50):
        lines = rng.choice(clean_songs()).split("\n")
        start = rng.randrange(len(lines))
        text = "harp: C\n" * (rng.random() < 0.8) + "\n".join(lines[start : start + 4])
        for _ in range(rng.randint(1, 8)):
            at = rng.randrange(len(text) + 1)
            what = rng.randrange(6)
            if what == 0:
                text = text[:at] + text[at + rng.randint(1, 4) :]
            elif what == 1:
                text = text[:at] + rng.choice(ALPHABET) + text[at:]
            elif what == 2:
                text = text[:at] + rng.choice(ALPHABET) + text[at + 1 :]
            elif what == 3:
                text = text[:at] + text[max(0, at - rng.randint(1, 20)) :]
            elif what == 4:
                text = text[: at + rng.randint(0, 30)]
            else:
                parts = text.split(rng.choice(" |\n"))
                rng.shuffle(parts)
                text = rng.choice(" |\n").join(parts)
        judged(text)


@pytest.mark.parametrize("seed", range(20))
def test_random_texts_give_diagnostics_never_a_traceback(seed: int) -> None:
    """A hundred strings of the notation's signs a seed, and of any characters at all."""
    rng = Random(1000 + seed)
    for _ in range(100):
        if rng.random() < 0.8:
            text = "".join(rng.choice(ALPHABET) for _ in range(rng.randint(0, 80)))
        else:
            text = "".join(chr(rng.choice((rng.randrange(1, 256), rng.randrange(0x3000))))
                           for _ in range(rng.randint(0, 60)))  # fmt: skip
        judged(text)
