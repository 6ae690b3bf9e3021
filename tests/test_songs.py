"""The songs: together they use every sign, each loads clean, sounds, and keeps its layout.

What counts as a sign is derived from the grammar, the marks, the headers and the parts
of a tune, so that a sign added there is missed here until a song uses it.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import mido
import pytest

from tabtool import canonical
from tabtool import tune as tunes
from tabtool.diagnostics import Level
from tabtool.expression import perform
from tabtool.harp import Technique, position
from tabtool.header import FIELDS
from tabtool.load import Loaded, load_file
from tabtool.notation import _lark
from tabtool.tune import Figure, HeaderLine, Hold, LyricLine, Marks, MusicLine, Share, Split
from tabtool.writers import mid

SONGS = Path(__file__).parent.parent / "songs"

# Songs that are about something hard, and what the check says of it.
CAUTIONS = {"kingfisher": {"overbend", "easier-elsewhere"}, "the-ossel-in-flood": {"tongue-split"}}

# Every fault that was put into a faulty song, and nothing else.
FAULTS = {
    "first-solo": {"unknown-header": 1, "unreadable": 7, "only-a-sag": 1, "bend-too-deep": 1,
                   "bar-length": 1},
    "the-count": {"bar-length": 4, "repeat": 2, "lyric": 1},
    "the-wrong-words": {"header-value": 8, "unknown-header": 1, "header-place": 2,
                        "unreadable": 1},
    "out-of-reach": {"hole-not-on-harp": 2, "no-such-bend": 2, "only-a-sag": 1,
                     "bend-too-deep": 4, "no-such-overbend": 3, "chord-reach": 3,
                     "chord-bend": 1, "expressive-bend": 1},
}  # fmt: skip


def songs(folder: str = ".") -> list[Path]:
    return sorted((SONGS / folder).glob("*.harptab"))


def loaded(path: Path) -> Loaded:
    return load_file(str(path))


@pytest.fixture(scope="module")
def all_songs() -> list[Loaded]:
    assert len(songs()) >= 14
    return [loaded(path) for path in songs()]


def music_lines(song: Loaded) -> Iterator[MusicLine]:
    return (line for line in song.tune.lines if isinstance(line, MusicLine))


def shares(parts: tuple[Share, ...]) -> Iterator[Share]:
    for part in parts:
        yield part
        if isinstance(part, Split):
            yield from shares(part.parts)


def figures(song: Loaded) -> Iterator[Figure]:
    for note in song.tune.notes():
        yield note.figure
        yield from note.figure.grace


@pytest.mark.parametrize("path", songs(), ids=lambda path: path.stem)
def test_every_song_is_clean(path: Path) -> None:
    """No song has an error; cautions and hints only where the song is about them."""
    song = loaded(path)
    assert song.readable
    assert song.playable
    assert {d.rule.name for d in song.diagnostics} == CAUTIONS.get(path.stem, set())


@pytest.mark.parametrize("path", songs(), ids=lambda path: path.stem)
def test_every_song_is_in_canonical_layout(path: Path) -> None:
    """`format` leaves each song as it is, and reading it again gives the same tune."""
    text = path.read_text(encoding="utf-8")
    assert canonical.write(loaded(path).tune) == text


@pytest.mark.parametrize("path", songs(), ids=lambda path: path.stem)
def test_every_song_sounds(path: Path) -> None:
    """mido reads the MIDI file of each song: as many notes as sound, and as long."""
    song = loaded(path)
    file = mido.MidiFile(file=io.BytesIO(mid.write(song.score)))
    begun = [m for track in file.tracks for m in track if m.type == "note_on" and m.velocity]
    assert len(begun) == len(perform(song.score)) >= len(song.score.events) > 20
    last = max(sound.end_s for sound in perform(song.score))
    assert file.length == pytest.approx(last, abs=0.005)


@pytest.mark.parametrize("path", songs("faults"), ids=lambda path: path.stem)
def test_every_fault_is_found_and_nothing_else(path: Path) -> None:
    found = Counter(d.rule.name for d in loaded(path).diagnostics if d.level is Level.ERROR)
    assert found == FAULTS[path.stem]


def test_the_faulty_songs_are_there() -> None:
    assert {path.stem for path in songs("faults")} == set(FAULTS)


def test_songs_use_every_terminal_of_the_grammar() -> None:
    """Each terminal occurs, as lark itself tells them apart."""
    lark = _lark()
    seen = set()
    for path in songs():
        for line in music_lines(loaded(path)):
            text = path.read_text(encoding="utf-8").split("\n")[line.span.line - 1]
            for token in lark.parse_interactive(text, start="line").iter_parse():
                seen.add(token.type)
                if token.type == "NOTE":
                    parts = lark.parse_interactive(str(token), start="note").iter_parse()
                    seen |= {part.type for part in parts}
    named = {terminal.name for terminal in lark.terminals if not terminal.name.startswith("__")}
    assert seen - {"$END"} == named


def test_songs_use_every_mark(all_songs: list[Loaded]) -> None:
    """Each field of Marks is set somewhere, and those that count are set to more than one."""
    for name, default in Marks()._asdict().items():
        values = {getattr(f.marks, name) for song in all_songs for f in figures(song)}
        assert values > {default}, name
        if not isinstance(default, bool):
            assert max(values) > 1, name


def test_songs_use_every_kind_of_figure(all_songs: list[Loaded]) -> None:
    """Every technique, whole and quarter-tone depths, raised overbends, the slide, chords, octave
    splits, shakes, one grace note and several."""
    played = [figure for song in all_songs for figure in figures(song)]
    tones = [tone for figure in played for tone in figure.all_tones]
    assert {tone.technique for tone in tones} == set(Technique)
    depths = {tone.depth for tone in tones if tone.technique is Technique.BEND}
    assert {0.5, 1, 1.5, 2, 3} <= depths
    assert any(tone.overbent and tone.depth for tone in tones)
    assert any(tone.slide for tone in tones)
    assert any(len(figure.tones) == 3 for figure in played)
    assert any([t.hole for t in figure.tones] == [1, 4] for figure in played)
    assert any(figure.shake for figure in played)
    assert {1, 2} <= {len(figure.grace) for figure in played}


def test_songs_use_every_part_of_a_tune(all_songs: list[Loaded]) -> None:
    """Every kind of line and of share, but those for what cannot be read."""
    lines = {type(line) for song in all_songs for line in song.tune.lines}
    assert lines == set(get_args(tunes.Line)) - {tunes.UnreadLine}
    beats = [
        (song, beat)
        for song in all_songs
        for line in music_lines(song)
        for bar in line.bars
        for beat in bar.beats
    ]
    kinds = {type(share) for _, beat in beats for share in shares(beat.parts)}
    assert kinds == set(get_args(tunes.Share)) - {tunes.Broken}
    assert {1, 2, 3, 4} <= {len(beat.parts) for _, beat in beats}
    comments = {type(line) for song in all_songs for line in song.tune.lines
                if getattr(line, "comment", "")}  # fmt: skip
    assert {HeaderLine, MusicLine, tunes.CommentLine} <= comments


def test_songs_use_every_bar_line(all_songs: list[Loaded]) -> None:
    """Each field of Barline, both repeat signs in one, two endings; a pick-up; a hold over a bar
    line; lines that begin without a bar line."""
    bars = [bar for song in all_songs for line in music_lines(song) for bar in line.bars]
    drawn = [line for bar in bars for line in (bar.before, bar.after) if line]
    for name in tunes.Barline._fields:
        assert any(getattr(line, name) for line in drawn), name
    assert any(line.opens and line.closes for line in drawn)
    assert {1, 2} <= {line.ending for line in drawn}
    assert any(bar.beats and isinstance(bar.beats[0].parts[0], Hold) for bar in bars)
    assert any(bar.before is None for bar in bars)
    assert any(song.score.bars[0].number == 0 for song in all_songs)


def test_songs_use_every_header(all_songs: list[Loaded]) -> None:
    """Each header stands somewhere, and the harp, key, tempo and meter change between sections."""
    used = set()
    changed = set()
    for song in all_songs:
        in_section = False
        for line in song.tune.lines:
            in_section = in_section or isinstance(line, tunes.SectionLine)
            if isinstance(line, HeaderLine):
                (changed if in_section else used).add(line.name)
    assert used == set(FIELDS)
    assert {"harp", "key", "tempo", "meter", "feel"} <= changed


def test_songs_use_every_sign_of_lyrics(all_songs: list[Loaded]) -> None:
    """Joined and held syllables, a note left out, bar lines; two verses under one line."""
    words = [
        syllable
        for song in all_songs
        for line in song.tune.lines
        if isinstance(line, LyricLine)
        for syllable, _ in line.syllables
    ]
    assert {"|", "_", "*"} <= set(words)
    assert any(word.endswith("-") and len(word) > 1 for word in words)
    verses = {len(e.lyric) and e.play for song in all_songs for e in song.score.events}
    assert {1, 2} <= verses


def test_songs_are_varied(all_songs: list[Loaded]) -> None:
    """Several keys, positions, tunings, registers, meters and feels."""
    settings = [stretch.setting for song in all_songs for stretch in song.score.stretches]
    harps = [setting.harp for setting in settings if setting.harp]
    assert len({harp.key for harp in harps}) >= 8
    assert len({harp.tuning for harp in harps}) >= 8
    assert {"low F", "high G"} <= {harp.key for harp in harps}
    keyed = [(s.harp, s.key) for s in settings if s.harp and s.key]
    assert {1, 2, 3, 12} <= {position(harp, key) for harp, key in keyed}
    assert len({setting.key.mode for setting in settings if setting.key}) >= 4
    assert {"4/4", "3/4", "2/2", "6/8", "9/8", "5/4", "free"} <= {s.meter.text for s in settings}
    assert {s.feel for s in settings} == {"straight", "shuffle", "swing 3:2"}
    assert any(tuning.is_file() for tuning in SONGS.glob("*.harptuning"))
