"""Tab typed by hand. The habits are the trade's, from the published facts on written
conventions: signs, letters, arrows, apostrophes, circles; a bare number contradicts itself."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tabtool.cli import main
from tabtool.diagnostics import TabError
from tabtool.load import load
from tabtool.readers.txt import Typed, read
from tabtool.resolve import as_written
from tabtool.scores.spellings import SPELLINGS
from tabtool.tunings import TUNINGS
from tabtool.writers.txt import lost, write

RICHTER = TUNINGS["Richter"]


def typed(text: str, spelling: str = "", harp: str = "C") -> Typed:
    return read(text.encode(), "mail.txt", spelling, harp, RICHTER)


def notes(text: str, spelling: str = "") -> list[str]:
    return [note.figure.token for note in typed(text, spelling).tune.notes()]


@pytest.mark.parametrize(
    ("text", "name", "expected"),
    [
        ("+4 -4 +5 -5", "plus-minus", "4^ 4v 5^ 5v"),
        ("4 -4 5 -5", "minus", "4^ 4v 5^ 5v"),
        ("+4 4 +5 5", "plus", "4^ 4v 5^ 5v"),
        ("4+ 4 5+ 5", "plus-after", "4^ 4v 5^ 5v"),
        ("4> 4 5> 5", "angle", "4^ 4v 5^ 5v"),
        ("4B 4D 5B 5D", "letters", "4^ 4v 5^ 5v"),
        ("4b 4d 5b 5d", "letters", "4^ 4v 5^ 5v"),
        ("4↑ 4↓ ↑5 ↓5", "arrows", "4^ 4v 5^ 5v"),
        ("–4 4", "minus", "4v 4^"),  # a dash for a minus, as word processors make it
    ],
)
def test_each_habit_is_told_by_its_signs(text: str, name: str, expected: str) -> None:
    found = typed(text)
    assert found.spelling.name == name
    assert [note.figure.token for note in found.tune.notes()] == expected.split()
    assert found.spelling.meaning in found.evidence


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("-3' -3'' -3''' +8'", "3v1 3v2 3v3 8^1"),  # an apostrophe a semitone
        ("-3’ -3” -3// -3bb", "3v1 3v2 3v2 3v2"),  # typographic ones, slashes, flats
        ("+6o -7o +4° +5#", "6^^ 7vv 4^^ 5^^"),
        ("+x6 +4", "6^^ 4^"),
        ("(+1+2) (-2 -3 -4) -2&-3 +4", "1+2^ 2+3+4v 2+3v 4^"),
        ("+45 +910 +10 +123", "4+5^ 9+10^ 10^ 1+2+3^"),  # stacked digits
        ("-3* +4", "3v* 4^"),
    ],
)
def test_bends_overblows_and_chords(text: str, expected: str) -> None:
    assert notes(text, "plus-minus") == expected.split()


def test_a_circle_alone_is_decided_by_the_reeds_of_the_hole() -> None:
    """Overblow on 1-6, overdraw on 7-10 of the standard layout (Harp-L 2005-03)."""
    assert notes("6o 7o -4 4") == ["6^^", "7vv", "4v", "4^"]


@pytest.mark.parametrize("text", ["4 5 6 6", "4 5 +6 -6", "4' 5 6"])
def test_bare_numbers_are_never_guessed(text: str) -> None:
    with pytest.raises(TabError) as told:
        typed(text)
    message = str(told.value)
    assert "blow for some and draw for others" in message
    assert "4^" in message or "4^1" in message
    assert "--spelling minus" in message
    assert "4v" in message
    assert "--spelling plus" in message


def test_both_readings_can_be_had() -> None:
    assert notes("4 5 6", "minus") == ["4^", "5^", "6^"]
    assert notes("4 5 6", "plus") == ["4v", "5v", "6v"]


def test_the_command_writes_nothing_where_it_would_have_to_guess(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.txt").write_text("4 5 6\n")
    out = tmp_path / "a.harptab"
    assert main(["read", str(tmp_path / "a.txt"), "-o", str(out)]) == 2
    assert not out.exists()
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert main(["read", str(tmp_path / "a.txt"), "-o", str(out), "--spelling", "plus"]) == 0
    assert "meter: free" in out.read_text()
    assert "every note is one beat of free meter" in capsys.readouterr().err


def test_a_mail() -> None:
    mail = """Kettle on the Boil
Harp: A

+4  -4 +5  +4
Ket-tle on the
+6     -5  +4
boil   for tea

[Chorus]
+4 -4 (+4+5) | -4' x2
la la la       la
"""
    found = typed(mail, harp="")
    assert found.tune.title == "Kettle on the Boil"
    assert found.tune.header("harp") == "A"
    assert [" ".join(line.split()) for line in found.text.splitlines()[4:]] == [
        "| 4^ 4v 5^ 4^ |",
        "lyric: Ket- tle on the",
        "| 6^ 5v 4^ |",
        "lyric: boil for tea",
        "",
        "[Chorus]",
        "| 4^ 4v 4+5^ | 4v1 |",
        "lyric: la la la la",
    ]
    assert "'x2' has no meaning here and is left out (1)" in found.remarks
    assert not [d for d in load(found.text).diagnostics if d.rule.reads]


def test_words_above_the_tab() -> None:
    found = typed("La la la\n+4 -4 +5\nlo lo\n+6 -6\n\nDo  do\n+4  -4\n")
    lyrics = [line for line in found.text.splitlines() if line.startswith("lyric")]
    assert lyrics == ["lyric: La la la", "lyric: lo lo", "lyric: Do do"]


def test_fewer_words_than_notes_go_by_their_columns() -> None:
    found = typed("+4 -4 +5 -5\nOh       my\n")
    assert "lyric: Oh * * my" in found.text


def test_words_that_do_not_fit_are_kept_as_a_comment() -> None:
    found = typed("+4 -4\none two three four\n")
    assert "# one two three four" in found.text
    assert any("kept as comments (1)" in remark for remark in found.remarks)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("+0 +4", "there is no hole 0"),
        ("(+4-5) +4 +4", "blow and draw at once"),
        ("+4 5 +6", "no sign tells blow or draw"),
    ],
)
def test_what_makes_no_sense_is_told_with_its_place(text: str, said: str) -> None:
    with pytest.raises(TabError, match=said) as told:
        typed(text, "plus-minus")
    assert "mail.txt:1:" in str(told.value)


def test_no_tab_at_all() -> None:
    with pytest.raises(TabError, match="no line of tab"):
        typed("Dear friend,\nsee you in 1999, at 5 o'clock.\n")


TONES = st.one_of(
    st.tuples(st.integers(1, 10), st.sampled_from(["^", "v"])).map(lambda p: f"{p[0]}{p[1]}"),
    st.sampled_from(["2v1", "2v2", "3v3", "8^1", "10^2", "6^^", "1^^", "7vv", "2+3v", "4+5+6^"]),
)


@given(
    bars=st.lists(st.lists(TONES, min_size=1, max_size=8), min_size=1, max_size=3),
    name=st.sampled_from(sorted(SPELLINGS)),
    words=st.booleans(),
)
def test_any_tune_there_and_back(bars: list[list[str]], name: str, words: bool) -> None:
    """Holes, breath, bends, overbends, chords, bar lines and words survive every spelling."""
    text = "title: Any Tune\nharp: C\nmeter: free\n\n| " + " | ".join(map(" ".join, bars)) + " |\n"
    if words:
        count = sum(map(len, bars))
        text += "lyric: " + " ".join(["la", "Lo-"][i % 2] for i in range(count)) + "\n"
    tune = load(text).tune
    mail = write(tune, as_written(tune).words, SPELLINGS[name])
    back = read(mail, "mail.txt", "", "", RICHTER)
    assert back.spelling.name == name
    assert [n.figure for n in back.tune.notes()] == [n.figure for n in tune.notes()]
    assert [e.lyric for e in load(back.text).score.events] == [
        e.lyric for e in load(text).score.events
    ]
    assert (back.tune.title, back.tune.header("harp")) == ("Any Tune", "C")


def test_what_is_lost_is_told() -> None:
    said = " ".join(lost(load("harp: C\n| /4v 4~5v {5v}4v 3v0.5 |\n").tune))
    for words in ("rhythm", "marks", "shakes", "grace notes", "quarter tones"):
        assert words in said


@pytest.mark.parametrize("data", [b"\0\1\2", bytes(range(1, 256)) * 4])
def test_noise(data: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.txt").write_bytes(data)
    assert main(["read", str(tmp_path / "a.txt")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
