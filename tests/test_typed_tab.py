"""Tab typed by hand. The habits are the trade's, from the published facts on written
conventions: signs, letters, arrows, apostrophes, circles; a bare number contradicts itself."""

from __future__ import annotations

import re
from pathlib import Path
from random import Random

import pytest
import random_tunes
from hypothesis import given
from hypothesis import strategies as st

from tabtool.cli import main
from tabtool.diagnostics import TabError
from tabtool.harp import Layout
from tabtool.header import load_tuning
from tabtool.load import load
from tabtool.readers.txt import Typed, read
from tabtool.scores.spellings import SPELLINGS
from tabtool.tune import Figure
from tabtool.tunings import TUNINGS
from tabtool.writers.txt import lost, write
from tabtool.written import as_written

RICHTER = TUNINGS["Richter"]
SONGS = Path(__file__).resolve().parent.parent / "songs"


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
        ("(1↑2↑3↑) (↓4↓5) 6↑o (10↑)", "1+2+3^ 4+5v 6^^ 10^"),
        ("(4D5D) (1B2B3B) 4D'", "4+5v 1+2+3^ 4v1"),
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
    assert (
        "'x2' is left out: write the line again, or |: before and :| behind it (1)" in found.remarks
    )
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


def there_and_back(text: str, name: str, layout: Layout = RICHTER, tuning: str = "") -> None:
    """What a tune sounds is the same when it is read from a mail, but for what `lost` tells."""
    tune = load(text, folder=str(SONGS)).tune
    mail = write(tune, as_written(tune).words, SPELLINGS[name])
    back = read(mail, "mail.txt", "", "", layout, tuning, folder=str(SONGS))
    assert back.spelling.name == name
    assert back.tune.title == tune.title
    before = load(text, folder=str(SONGS)).score.events
    after = load(back.text, folder=str(SONGS)).score.events
    assert len(after) == len(before) > 0
    for old, new in zip(before, after, strict=True):
        whole = tuple(tone._replace(depth=int(tone.depth + 0.5)) for tone in old.figure.tones)
        assert new.figure == Figure(whole)
        assert new.lyric == old.lyric
        if old.figure.shake is None and whole == old.figure.tones:
            assert new.pitches == old.pitches


@pytest.mark.parametrize("name", SPELLINGS)
@pytest.mark.parametrize("song", sorted(SONGS.glob("*.harptab")), ids=lambda path: path.stem)
def test_the_songs_there_and_back(song: Path, name: str) -> None:
    """Harps and tunings, changes of both, chords, repeats and words among them."""
    text = song.read_text()
    own = re.search(r"^tuning: (.+\.harptuning)$", text, re.M)
    if own:  # a player's own tuning is in a file, which a mail does not carry
        there_and_back(text, name, load_tuning(own[1], str(SONGS)), own[1])
    else:
        there_and_back(text, name)


@pytest.mark.parametrize("number", range(40))
def test_random_tunes_there_and_back(number: int) -> None:
    """Lines of rests that end a repeat, raised and impossible overbends, twelve holes …"""
    text = random_tunes.text_of(random_tunes.random_tune(Random(number)))
    there_and_back(text, list(SPELLINGS)[number % len(SPELLINGS)])


@pytest.mark.parametrize(
    "text",
    [
        "harp: C\n\n| 4^ 5^ 6^ 5^ |\n",  # no title
        "harp: C\n\n[verse 2]\n| 4^ 5^ 6^ 5^ |\n",
        "title: 4 4 4\nharp: C\n\n| 4^ 5^ 6^ 5^ |\n",
        "title: Bells on an A harp\nharp: C\n\n| 4^ 5^ 6^ 5^ |\n",
        "title: Counting\nharp: C\n\n| 4^ 5^ 6^ 5^ |\nlyric: one two 3 4\n",
        "title: Raised\nharp: C\n\n| 6^^1 6^^ 10vv1 7^^ |\n",  # the last is impossible
        "title: Circular\nharp: G\ntuning: circular\n\n| 7^^ 1^^ 9^^ 4v |\n",
        "title: Minor\nharp: Em\ntuning: natural minor\n\n| 4^ 5^ 6^ 5^ |\n",
    ],
)
@pytest.mark.parametrize("name", SPELLINGS)
def test_awkward_tunes_there_and_back(text: str, name: str) -> None:
    there_and_back(text, name)


def test_words_that_are_numbers_stand_in_quotes() -> None:
    text = "harp: C\nmeter: free\n\n| 4^ 5^ 6^ |\nlyric: 1 2 3\n"
    tune = load(text).tune
    mail = write(tune, as_written(tune).words, SPELLINGS["plus-minus"]).decode()
    assert mail.endswith('| +4  +5  +6  |\n  "1" "2" "3"\n')
    back = typed(mail, harp="")
    assert [note.figure.token for note in back.tune.notes()] == ["4^", "5^", "6^"]


def test_harps_and_tunings_named_between_the_lines_hold_from_there() -> None:
    mail = """Ferry
Harp: A

+4 -4

Harp: low F
+5 -5

[Last]
Tuning: country
-5
"""
    found = typed(mail, harp="")
    assert [line for line in found.text.splitlines() if line and line[0] != "|"] == [
        "title: Ferry",
        "harp: A",
        "meter: free",
        "[low F harp]",
        "harp: low F",
        "[Last]",
        "tuning: country",
    ]
    assert any("the harps, A, low F, are those the text names" in said for said in found.remarks)
    assert typed(mail, harp="C").text.count("harp: ") == 1  # the one given holds throughout


@pytest.mark.parametrize(
    ("words", "harp"),
    [
        ("Harp: Bb", "Bb"),
        ("harp key = d", "D"),
        ("Play it on a low F harp.", "low F"),
        ("a harp of any key will do", ""),  # no A harp
        ("for a C harp, or so\nHarp: G", "G"),
    ],
)
def test_a_harp_named_in_words(words: str, harp: str) -> None:
    assert typed(f"Tune\n\n{words}\n\n+4 -4\n", harp="").tune.header("harp") == harp


def test_a_tuning_that_is_none_known_is_told() -> None:
    found = typed("Tuning: mine\n\n+4 -4\n")
    assert "no tuning is called 'mine': give --tuning" in found.remarks


def test_overbends_with_the_sign_of_their_breath_fit_every_spelling() -> None:
    assert typed("4 -4 +6o").spelling.name == "minus"
    assert typed("+4 4 -7o").spelling.name == "plus"


def test_a_tuning_file_is_named_as_seen_from_the_tune_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.txt").write_text("+4 -4 +3\n")
    (tmp_path / "deep").mkdir()
    own = str(SONGS / "nans-fourth-reed.harptuning")
    for out in (tmp_path / "a.harptab", tmp_path / "deep" / "a.harptab"):
        argv = ["read", str(tmp_path / "a.txt"), "--harp", "C", "--tuning", own, "-o", str(out)]
        assert main(argv) == 0
        capsys.readouterr()
        assert main(["notes", str(out)]) == 0
        assert "3^    A4" in capsys.readouterr().out  # the tuning file: 3 blow up a tone


def test_what_is_lost_is_told() -> None:
    said = " ".join(lost(load("harp: C\n| /4v 4~5v {5v}4v 3v0.5 |\n").tune))
    for words in ("rhythm", "marks", "shakes", "grace notes", "quarter tones"):
        assert words in said


@pytest.mark.parametrize("data", [b"\0\1\2", bytes(range(1, 256)) * 4])
def test_noise(data: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.txt").write_bytes(data)
    assert main(["read", str(tmp_path / "a.txt")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


# What is tab and what is words; common practice, no source.


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("+4 -4\n\n+5 x3", "4^ 4v 5^"),
        ("+4,-4,+5; -5, +6,", "4^ 4v 5^ 5v 6^"),
        ("+4 — -4 …", "4^ 4v"),
        ("(-2,-3) +4", "2+3v 4^"),
    ],
)
def test_a_line_stays_tab_whatever_parts_its_notes(text: str, expected: str) -> None:
    assert notes(text) == expected.split()


def test_a_line_to_be_played_again_is_told() -> None:
    assert "'x3' is left out: write the line again" in " ".join(typed("+4 -4\n\n+5 x3").remarks)


def test_notes_among_words_are_told() -> None:
    found = typed("+4 -4\n\nthen comes +5 and all of it again\n")
    assert [note.figure.token for note in found.tune.notes()] == ["4^", "4v"]
    assert "notes among words are read as words (line 3)" in " ".join(found.remarks)
    assert "notes among words" not in " ".join(typed("the 2 of us\n+4 -4").remarks)


def test_headings_are_sections() -> None:
    text = (
        "By: the ferryman\nTempo: 96\n\nVerse 1\n+4 -4\nket- tle\n\nChorus:\n-5 +5\n\nPart B\n+6\n"
    )
    found = typed(text)
    assert re.findall(r"\[(.*)\]", found.text) == ["Verse 1", "Chorus", "Part B"]
    assert "lyric: ket- tle" in found.text
    assert found.tune.title == ""
    assert "# Tempo: 96" in found.text
