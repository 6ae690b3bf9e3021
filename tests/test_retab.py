"""Moving tunes: what must stay stays, what moves moves exactly, and all else is told.

Oracles: the songs as written; music21's transposition; the circle of fifths (positions table,
Harp-L 1994-07); `check`, which must flag whatever the move lists as out of reach.
"""

from __future__ import annotations

import json
import random
from functools import cache
from pathlib import Path

import pytest
from random_tunes import random_tune, text_of

from tabtool.canonical import write
from tabtool.cli import main
from tabtool.diagnostics import Diagnostic, Level, TabError
from tabtool.harp import position
from tabtool.holes.rekey import moved_key
from tabtool.holes.retab import Keep, Octaves, Request, Retabbed, retab
from tabtool.holes.rewrite import Edit, rewrite
from tabtool.load import Loaded, load, load_file
from tabtool.music import Key, parse_key
from tabtool.parse import parse
from tabtool.player import Player
from tabtool.tune import CommentLine, HeaderLine, LyricLine, MusicLine, SectionLine, Tune
from tabtool.tunings import TUNINGS, harp_at, make_harp

SONGS = sorted((Path(__file__).resolve().parent.parent / "songs").glob("*.harptab"))
MOVES = (
    Request(harp="A"),
    Request(harp="low F", tuning=TUNINGS["country"]),
    Request(semitones=2),
    Request(semitones=-5, harp="G"),
    Request(semitones=3, keep=Keep.POSITION),
    Request(semitones=1, octaves=Octaves.TUNE),
    Request(harp="Bb", octaves=Octaves.NOTE),
    Request(harp="C", tuning=TUNINGS["chromatic 12"]),
    Request(harp="A", keep=Keep.HOLES),
)
PLAYERS = (Player(), Player(bends=2, overbends=False, tongue_blocking=False))


def moved(text: str, request: Request, player: Player = Player()) -> Retabbed:  # noqa: B008
    return retab(load(text), text, request, player)


@cache
def moves_of(song: Path) -> tuple[Loaded, list[tuple[Request, Player, Retabbed]]]:
    """A song, and every move of it for every player."""
    text, loaded = song.read_text(), load_file(str(song))
    return loaded, [
        (request, player, retab(loaded, text, request, player))
        for request in MOVES
        for player in PLAYERS
    ]


def tokens(text: str) -> str:
    return " ".join(note.figure.token for note in parse(text)[0].notes())


def pitches(loaded: Loaded) -> list[tuple[float | None, ...]]:
    """What each note sounds, chords from the lowest pitch up, shakes and graces included."""
    out: list[tuple[float | None, ...]] = []
    for event in loaded.score.events:
        harp = event.setting.harp
        assert harp is not None
        for figure in (*event.figure.grace, event.figure):
            known = [harp.intended(tone) for tone in figure.tones]
            shake = [harp.intended(figure.shake)] if figure.shake else []
            out.append((*sorted(known, key=lambda pitch: pitch or 0), *shake))
    return out


def numbered(tune: Tune, found: list[Diagnostic]) -> set[int]:
    """Which notes of a tune, counted in written order, the findings stand on."""
    spans = {diagnostic.span for diagnostic in found}
    return {number for number, note in enumerate(tune.notes()) if note.span in spans}


def test_there_are_songs() -> None:
    assert len(SONGS) >= 15


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
def test_nothing_is_lost_and_every_pitch_is_the_one_asked_for(song: Path) -> None:
    loaded, moves = moves_of(song)
    for request, _, move in moves:
        old, new = loaded.score.events, move.loaded.score.events
        assert [(e.onset, e.duration, e.lyric) for e in old] == [
            (e.onset, e.duration, e.lyric) for e in new
        ]
        assert [e.figure.marks for e in old] == [e.figure.marks for e in new]
        assert [len(e.figure.grace) for e in old] == [len(e.figure.grace) for e in new]
        told = {found.span for found in move.findings if found.rule.name == "octave-moved"}
        spans = [e.note.span for e in old for _ in (*e.figure.grace, e)]
        for was, now, span in zip(pitches(loaded), pitches(move.loaded), spans, strict=True):
            steps = {n - w for w, n in zip(was, now, strict=True)}
            if request.octaves is Octaves.NOTE and span in told:
                assert steps <= {move.semitones + octave for octave in (-12, 0, 12)}
            else:
                assert steps == {move.semitones}, (request, span)


def listed_notes(loaded: Loaded, move: Retabbed) -> set[int]:
    """Which notes, in written order, the move lists as out of reach."""
    out_of_reach = ("not-on-harp", "beyond-player", "no-pitch")
    found = [found for found in move.findings if found.rule.name in out_of_reach]
    return numbered(loaded.tune, found)


def flagged_notes(move: Retabbed) -> set[int]:
    """Which notes `check` calls impossible, marks and haste apart."""
    found = [
        found
        for found in move.loaded.diagnostics
        if found.level is Level.ERROR
        and found.rule.name not in ("expressive-bend", "change-too-quick")
    ]
    return numbered(move.loaded.tune, found)


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
def test_check_flags_exactly_what_the_move_lists_as_out_of_reach(song: Path) -> None:
    """Oracle: `check` on the moved text. (With the same holes only what the reeds forbid is
    listed, so that is left out here.)"""
    loaded, moves = moves_of(song)
    for request, _, move in moves:
        if request.keep is not Keep.HOLES:
            assert listed_notes(loaded, move) == flagged_notes(move), request


def test_random_tunes_lose_nothing_and_check_agrees() -> None:
    """Repeats, endings, verses, slides, graces, impossible notes: moved every way there is."""
    chance = random.Random(12)
    layouts = [None, None, None, *TUNINGS.values()]
    players = (Player(), Player(bends=0), Player(bends=2, overbends=False, tongue_blocking=False))
    moves = 0
    for _ in range(60):
        text = text_of(random_tune(chance))
        loaded = load(text)
        if not loaded.readable:
            continue
        request = Request(
            harp=chance.choice(("A", "C", "low F", "")),
            tuning=chance.choice(layouts),
            semitones=chance.choice((0, 0, 3, -5)),
            octaves=chance.choice(list(Octaves)),
        )
        moves += 1
        move = retab(loaded, text, request, chance.choice(players))
        assert move.loaded.readable
        old, new = loaded.score.events, move.loaded.score.events
        assert [(e.onset, e.play, e.lyric, e.figure.marks) for e in old] == [
            (e.onset, e.play, e.lyric, e.figure.marks) for e in new
        ]
        told = {found.span for found in move.findings if found.rule.name == "octave-moved"}
        spans = [e.note.span for e in old for _ in (*e.figure.grace, e)]
        for was, now, span in zip(pitches(loaded), pitches(move.loaded), spans, strict=True):
            if None not in was:
                free = (-12, 0, 12) if span in told and request.octaves is Octaves.NOTE else (0,)
                steps = {n - w for w, n in zip(was, now, strict=True) if n is not None}
                assert steps <= {move.semitones + octave for octave in free}
                assert len(was) == len(now)
        assert listed_notes(loaded, move) == flagged_notes(move)
    assert moves >= 40


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
def test_the_text_around_the_notes_stays(song: Path) -> None:
    loaded, moves = moves_of(song)
    for _, _, move in moves:
        lines = move.loaded.tune.lines
        new = [line for line in lines if not isinstance(line, (MusicLine, HeaderLine))]
        old = [line for line in loaded.tune.lines if not isinstance(line, (MusicLine, HeaderLine))]
        assert list(map(said, new)) == list(map(said, old))
        assert [shape(line) for line in lines if isinstance(line, MusicLine)] == [
            shape(line) for line in loaded.tune.lines if isinstance(line, MusicLine)
        ]


def said(line: object) -> object:
    """What a line says, wherever it stands."""
    if isinstance(line, LyricLine):
        return [word for word, _ in line.syllables], line.comment
    if isinstance(line, (SectionLine, CommentLine)):
        return line._replace(span=None)  # type: ignore[arg-type]
    return type(line)


def shape(line: MusicLine) -> object:
    """Bar lines, beats and comment of a line of bars."""
    return [
        (bar.before, bar.after, [len(beat.parts) for beat in bar.beats]) for bar in line.bars
    ], line.comment


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
def test_there_and_back_again(song: Path) -> None:
    """Same holes to another harp and back is the same text; same sound, the same pitches."""
    text = song.read_text()
    loaded = load_file(str(song))
    home = loaded.score.stretches[0].setting.harp
    assert home is not None
    away = retab(loaded, text, Request(harp="high G", keep=Keep.HOLES))
    back = retab(away.loaded, away.text, Request(harp=home.key, keep=Keep.HOLES))
    assert back.semitones == -away.semitones
    assert tokens(back.text) == tokens(text)
    assert headers(back.loaded) == headers(loaded)
    if len({stretch.setting.harp for stretch in loaded.score.stretches}) == 1:
        there = retab(loaded, text, Request(harp="A"))
        again = retab(there.loaded, there.text, Request(harp=home.key))
        assert pitches(again.loaded) == pitches(loaded)


def headers(loaded: Loaded) -> list[tuple[str, str]]:
    return [(li.name, li.value) for li in loaded.tune.lines if isinstance(li, HeaderLine)]


def test_text_in_columns_stays_in_columns() -> None:
    for song in SONGS:
        text = song.read_text()
        assert write(parse(text, str(song))[0]) == text
        new = retab(load_file(str(song)), text, Request(semitones=1)).text
        assert write(parse(new, str(song))[0]) == new


# --- against music21 ---


def test_transposition_is_music21s() -> None:
    """Oracle: music21's transposition of the same melody, note for note."""
    stream = pytest.importorskip("music21.stream")
    note = pytest.importorskip("music21.note")
    chance = random.Random(3)
    holes = [f"{hole}{arrow}" for hole in range(1, 11) for arrow in "^v"] + ["2v1", "3v2", "9^1"]
    for _ in range(60):
        key = chance.choice(("C", "A", "low F", "F#", "high G"))
        by = chance.randint(-12, 12)
        picked = chance.choices(holes, k=16)
        text = f"harp: {key}\nmeter: free\n{' '.join(picked)}\n"
        melody = stream.Stream()
        old = load(text)
        for (pitch,) in pitches(old):
            melody.append(note.Note(int(pitch or 0)))
        moved_there = melody.transpose(by)
        new = moved(text, Request(semitones=by, harp=chance.choice(("", "C", "E"))))
        assert [int(p or 0) for (p,) in pitches(new.loaded)] == [
            n.pitch.midi for n in moved_there.notes
        ]


def test_keys_move_as_music21s_do() -> None:
    """Oracle: music21 pitch classes and key signatures; never more than six sharps or flats."""
    keys = pytest.importorskip("music21.key")
    for mode in ("major", "minor", "dorian", "mixolydian"):
        for tonic in ("C", "G", "D", "A", "E", "B", "F", "Bb", "Eb", "Ab", "Db", "F#"):
            for by in range(-11, 12):
                key = Key(tonic, mode)
                new = moved_key(key, by)
                theirs = keys.Key(new.tonic.replace("b", "-"), mode)
                home = keys.Key(tonic.replace("b", "-"), mode)
                assert (home.tonic.midi + by) % 12 == theirs.tonic.midi % 12
                assert theirs.sharps == new.fifths
                if by % 12:
                    assert abs(new.fifths) <= 6
                else:
                    assert new == key


# --- the three meanings ---

LICK = "title: Lick\nharp: C\nkey: G\n\n| 2v 3v1 4^ 4v | 3v 2v2 2v . |\n"


def test_same_holes_other_harp() -> None:
    """On an A harp second position is E (positions table); the tab does not change."""
    move = moved(LICK, Request(harp="A", keep=Keep.HOLES))
    assert tokens(move.text) == tokens(LICK)
    assert move.semitones == -3
    assert "harp: A\nkey: E\n" in move.text
    assert not move.findings


def test_same_sound_other_harp() -> None:
    move = moved(LICK, Request(harp="F"))
    assert tokens(move.text) == "1v 2v2 2v 3v2 2v1 1^ 1v"
    assert pitches(move.loaded) == pitches(load(LICK))
    assert "harp: F\nkey: G\n" in move.text
    assert move.semitones == 0
    low = moved(LICK, Request(harp="low F"))
    assert tokens(low.text) == "4v 5v 6^ 6v 5^^ 4^ 4v"
    assert pitches(low.loaded) == pitches(load(LICK))


def test_other_sounding_key_on_the_same_harp() -> None:
    move = moved(LICK, Request(semitones=-7, key=parse_key("C")))
    assert "harp: C\nkey: C\n" in move.text
    assert pitches(move.loaded) == [(p - 7,) for (p,) in pitches(load(LICK)) if p is not None]


def test_other_sounding_key_the_harp_moving_along() -> None:
    move = moved(LICK, Request(semitones=-3, keep=Keep.POSITION))
    assert "harp: A\nkey: E\n" in move.text
    assert tokens(move.text) == tokens(LICK)


def test_a_position_has_one_pattern_of_holes_on_every_harp() -> None:
    """Published fact (Harp-L, via M. Rubin) and the circle of fifths: a melody moved to the same
    position of any other harp is played on the same holes."""
    loaded = load(LICK)
    for key in ("G", "Ab", "A", "Bb", "B", "Db", "D", "Eb", "E", "F", "F#", "low D"):
        harp = make_harp(key)
        assert harp is not None
        by = harp.root - 60
        move = retab(loaded, LICK, Request(harp=key, semitones=by))
        assert tokens(move.text) == tokens(LICK), key
        setting = move.loaded.score.stretches[0].setting
        assert setting.harp is not None
        assert setting.key is not None
        assert position(setting.harp, setting.key) == 2


CIRCLE = ("C", "G", "D", "A", "E", "B", "F#", "Db", "Ab", "Eb", "Bb", "F")


def test_the_circle_of_fifths() -> None:
    """Positions table (Harp-L 1994-07): the key of each position on a C harp."""
    for number, tonic in enumerate(CIRCLE, start=1):
        by = (parse_key(tonic) or Key("C")).pitch_class
        move = moved("harp: C\nkey: C\n| 4^ 4^ 4^ 4^ |\n", Request(semitones=by))
        setting = move.loaded.score.stretches[0].setting
        assert setting.harp is not None
        assert setting.key is not None
        assert setting.key.tonic == tonic
        assert position(setting.harp, setting.key) == number


# --- what is told ---


def test_an_impossible_note_is_listed_and_stays() -> None:
    """Common practice, no source: who does not overbend has no Eb4 on a C harp."""
    text = "harp: C\n| 1^ 1v 2^ 2v |\n"
    move = moved(text, Request(semitones=1), Player(overbends=False))
    assert [found.rule.name for found in move.findings] == ["beyond-player"]
    assert "Eb4" in move.findings[0].message
    assert "nearest: D4 (1v), 100 cents below; E4 (2^), 100 cents above" in move.findings[0].help
    assert tokens(move.text).split()[1] == "1^^"
    below = moved(text, Request(semitones=-1))
    assert [found.rule.name for found in below.findings] == ["not-on-harp"]
    assert not below.loaded.playable
    assert pitches(below.loaded)[0] == (59,)


def test_no_octave_moves_unless_allowed_and_then_it_is_told() -> None:
    text = "harp: C\nkey: C\n| 1^ 1v 2^ 2v |\n"
    low = moved(text, Request(semitones=-5))
    assert any(found.rule.name == "not-on-harp" for found in low.findings)
    whole = moved(text, Request(semitones=-5, octaves=Octaves.TUNE))
    assert whole.semitones in (7, 19)
    assert [found.rule.name for found in whole.findings] == ["octave-moved"]
    single = moved(text, Request(semitones=-5, octaves=Octaves.NOTE), Player(overbends=False))
    assert {found.rule.name for found in single.findings} == {"octave-moved"}
    assert single.loaded.playable


def test_a_mark_the_new_hole_cannot_take_is_told() -> None:
    text = "harp: C\n| /4v 4v\\ 4v\\/ 4v~ |\n"
    move = moved(text, Request(semitones=2))
    assert [found.rule.name for found in move.findings] == ["mark-lost"] * 3
    assert tokens(move.text) == "/5^ 5^\\ 5^\\/ 5^~"


def test_a_tune_for_two_harps() -> None:
    text = "harp: C\nkey: C\n[one]\n| 4^ 5^ 6^ 4^ |\n[two]\nharp: F\nkey: F\n| 4^ 5^ 6^ 4^ |\n"
    holes = moved(text, Request(harp="D", keep=Keep.HOLES))
    assert [v for name, v in headers(holes.loaded) if name == "harp"] == ["D", "high G"]
    assert [v for name, v in headers(holes.loaded) if name == "key"] == ["D", "G"]
    sound = moved(text, Request(harp="C"))
    assert [v for name, v in headers(sound.loaded) if name == "harp"] == ["C", "C"]
    assert [found.rule.name for found in sound.findings] == ["harps-joined"]
    assert pitches(sound.loaded) == pitches(load(text))
    key = moved(text, Request(semitones=2))
    assert [v for name, v in headers(key.loaded) if name == "harp"] == ["C", "F"]


def test_a_repeated_passage_written_once_suits_every_pass() -> None:
    text = "harp: F\n|: 4^ 4v 3v 2v :| 1^ - - . |\n"
    move = moved(text, Request(harp="C", semitones=-5))
    assert pitches(move.loaded) == [(p - 5,) for (p,) in pitches(load(text)) if p is not None]


def test_chord_symbols_move_with_the_sound() -> None:
    text = 'harp: C\nkey: G\n| "G7"2v "C/E"4^ "N.C.". "what"4v |\n'
    move = moved(text, Request(semitones=-2))
    assert '"F7"' in move.text
    assert '"Bb/D"' in move.text
    assert '"N.C."' in move.text
    assert [f.rule.name for f in move.findings if f.rule.name != "not-on-harp"] == ["symbol-left"]
    same = moved(text, Request(harp="A"))
    assert '"G7"' in same.text


def test_other_tunings_are_told_where_they_differ() -> None:
    text = "harp: C\n| 3^ 4^ 5v 3v |\n"
    move = moved(text, Request(tuning=TUNINGS["Paddy Richter"], keep=Keep.HOLES))
    assert [found.rule.name for found in move.findings] == ["other-step"]
    assert "tuning: Paddy Richter" in move.text
    assert pitches(move.loaded)[0] == (69,)


def test_a_hole_the_old_harp_has_not_is_told_and_left() -> None:
    move = moved("harp: C\n| 11v 4v 4^ 4v |\n", Request(harp="A"))
    assert [found.rule.name for found in move.findings] == ["no-pitch"]
    assert tokens(move.text).startswith("11v")


def test_the_harp_is_put_in_where_no_line_names_it() -> None:
    text = "# air\ntitle: Air\nkey: G\n\n| 2v 3v 4v . |\n"
    loaded = load(text, harp="C")
    move = retab(loaded, text, Request(harp="G", tuning=TUNINGS["country"]))
    assert move.text.startswith("# air\ntitle: Air\nharp: G\ntuning: country\nkey: G\n")
    keyed = "# so\n\nkey: G\n\n[a]\n| 2v 3v 4v . |\n"
    put = retab(load(keyed, harp="C"), keyed, Request(harp="G")).text
    assert put.startswith("# so\n\nharp: G\nkey: G\n\n[a]\n")
    bare = "| 2v 3v 4v . |\n"
    assert retab(load(bare, harp="C"), bare, Request(harp="G")).text.startswith("harp: G\n|")


def test_a_tuning_file_named_on_the_command_line_is_named_from_the_new_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "in").mkdir()
    (tmp_path / "own.harptuning").write_text(
        "name: mine\nkey: C4\nblow: C4 E4 G4 C5 E5 G5 C6 E6 G6 C7\n"
        "draw: D4 G4 B4 D5 F#5 A5 B5 D6 F6 A6\n".replace("key: C4", "key: C")
    )
    (tmp_path / "in" / "a.harptab").write_text(LICK)
    arguments = ["--tuning", "own.harptuning", "--keep", "holes", "-o", "in/b.harptab"]
    assert main(["transpose", "in/a.harptab", *arguments]) == 0
    assert "tuning: ../own.harptuning\n" in (tmp_path / "in" / "b.harptab").read_text()


def test_arrows_line_ends_and_columns_stay_as_they_were_typed() -> None:
    text = "harp: C\r\n| 2↓   3↓  4↓ 4↑ |  # so\r\n"
    move = moved(text, Request(semitones=5, harp="F"))
    assert move.text == "harp: F\r\n| 2↓   3↓  4↓ 4↑ |  # so\r\n"
    loose = "harp: C\n|  2v    3v1,4^  4v - |   # so\n|  2v    3v      4v - |\n"
    assert moved(loose, Request(semitones=2)).text == (
        "harp: C\n|  3v2   4^,4v   5^ - |   # so\n|  3v2   4v1     5^ - |\n"
    )


def test_words_change_and_columns_stay() -> None:
    tune, _ = parse("| 2v   3v |\n")
    first, second = (note.span for note in tune.notes())
    assert rewrite("| 2v   3v |\n", [Edit(first, "10v2"), Edit(second, "4^")]) == "| 10v2 4^ |\n"
    assert rewrite("| 2v   3v |\n", [Edit(first, "1")]) == "| 1    3v |\n"
    assert rewrite("a\nb\n", [], {2: ("new",)}) == "a\nnew\nb\n"


@pytest.mark.parametrize("layout", TUNINGS.values(), ids=lambda layout: layout.name)
def test_every_harp_is_found_by_its_root(layout) -> None:  # type: ignore[no-untyped-def]
    for root in range(43, 79):
        harp = harp_at(root, layout)
        assert harp is not None
        assert harp.root == root
        assert make_harp(harp.key, layout) == harp


def test_a_tuning_file_is_still_found_from_another_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    song = next(path for path in SONGS if path.stem == "nans-wedding")
    (tmp_path / "far").mkdir()
    out = tmp_path / "far" / "out.harptab"
    assert main(["transpose", str(song), "--harp", "D", "--keep", "holes", "-o", str(out)]) == 0
    assert load_file(str(out)).readable
    assert tokens(out.read_text()) == tokens(song.read_text())


# --- the command ---


@pytest.fixture
def lick(tmp_path: Path) -> Path:
    path = tmp_path / "lick.harptab"
    path.write_text(LICK)
    return path


def run(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main([str(arg) for arg in args])
    out, err = capsys.readouterr()
    return status, out, err


def test_the_tab_goes_to_standard_output_and_the_report_beside_it(
    lick: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, "transpose", lick, "--harp", "A", "--keep", "holes")
    assert status == 0
    assert out == LICK.replace("harp: C", "harp: A").replace("key: G", "key: E")
    assert "same holes, other harp: the sound moves down by 3 semitones" in err


def test_the_report_shows_before_and_after(
    lick: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out_path = tmp_path / "out.harptab"
    status, out, _ = run(capsys, "transpose", lick, "--by", 2, "-o", out_path)
    assert status == 0
    before = next(line for line in out.splitlines() if "2v" in line)
    after = next(line for line in out.splitlines() if line.strip().startswith("→"))
    assert [before.index("|", 8), before.rindex("|")] == [after.index("|", 8), after.rindex("|")]
    for word in ("bends", "overbends", "breath changes", "hardest bar"):
        assert word in out
    assert "harp: C\nkey: A\n" in out_path.read_text()


def test_the_json_of_a_move(lick: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "transpose", lick, "--to-key", "E", "--json")
    assert status == 0
    row = json.loads(out)
    assert row["semitones"] == -3
    assert row["key"] == "E"
    assert row["position"] == 5
    assert row["harp"] == {"key": "C", "tuning": "Richter"}
    assert row["before"]["notes"] == row["after"]["notes"] == 7
    assert row["text"].startswith("title: Lick\n")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "say where to"),
        (["--harp", "A"], "say what stays"),
        (["--by", "2", "--to-key", "E"], "give one"),
        (["--by", "2", "--keep", "holes"], "leave one of the two out"),
        (["--by", "two"], "write semitones"),
        (["--by", "99"], "write semitones"),
        (["--to-key", "H"], "that is no key"),
        (["--to-key", "E minor"], "moving it does not make it minor"),
        (["--harp", "H", "--keep", "sound"], "there is no Richter harp in 'H'"),
        (["--keep", "position", "--harp", "A"], "give --by or --to-key alone"),
        (["--from", "C", "--by", "1"], "names its own harp"),
        (["--by", "40", "--keep", "position"], "no harp is named so high"),
    ],
)
def test_what_cannot_be_meant_is_told_in_one_line(
    lick: Path, arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, "transpose", lick, *arguments)
    assert (status, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1


def test_a_tune_that_names_no_harp(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bare.harptab"
    path.write_text("| 2v 3v 4v . |\n")
    status, _, err = run(capsys, "transpose", path, "--by", 2)
    assert status == 2
    assert "--from" in err
    status, out, _ = run(capsys, "transpose", path, "--by", -3, "--from", "C", "--harp", "A")
    assert status == 0
    assert out == "harp: A\n| 2v 3v 4v . |\n"


def test_an_unreadable_tune_is_not_moved(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bad.harptab"
    path.write_text("harp: C\n| 2v x 4v . |\n")
    out_path = tmp_path / "out.harptab"
    status, _, err = run(capsys, "transpose", path, "--by", 2, "-o", out_path)
    assert status == 2
    assert "not understood" in err
    assert not out_path.exists()


def test_what_cannot_be_played_ends_with_1(lick: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "transpose", lick, "--by", -11)
    assert status == 1
    assert "not-on-harp" in err
    assert out.count("|") == 3


def test_no_harp_is_named_as_low_as_that() -> None:
    with pytest.raises(TabError, match="no harp is named so low"):
        moved(LICK, Request(semitones=-36, keep=Keep.POSITION))
