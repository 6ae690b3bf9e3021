"""The commands as a player meets them: output, JSON shapes, exit status, messages."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from tabtool.cli import COMMANDS, main

CLEAN = """title: First light
harp: C
key: G
tempo: 100

[head]
| 2v2,3v1 4v,(4^,4v) 3v2,-,2v 2v | 2v - . 6^ |
"""
FAULTY = CLEAN + "| 5v1 2v3 11v 4v | 4v 4v 4v |\n"


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "first.harptab"
    path.write_text(CLEAN)
    return path


@pytest.fixture
def faulty(tmp_path: Path) -> Path:
    path = tmp_path / "faulty.harptab"
    path.write_text(FAULTY)
    return path


def run(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, str, str]:
    capsys.readouterr()
    try:
        status = main([str(arg) for arg in args])
    except SystemExit as stop:  # argparse ends the program itself
        status = int(stop.code or 0)
    out, err = capsys.readouterr()
    return status, out, err


def test_check_says_nothing_against_a_clean_tune(
    tune: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, "check", tune)
    assert status == 0
    assert "nothing to object to" in out
    assert err == ""


def test_check_tells_every_fault_with_its_place(
    faulty: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(capsys, "check", faulty)
    assert status == 1
    for place, rule in (("8:3", "only-a-sag"), ("8:7", "bend-too-deep"),
                        ("8:11", "hole-not-on-harp"), ("8:20", "bar-length")):  # fmt: skip
        assert re.search(rf"faulty\.harptab:{place}: error: .*\[{rule}\]", out), out


def test_check_json_has_the_promised_fields(
    faulty: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(capsys, "check", faulty, "--json")
    rows = json.loads(out)
    assert status == 1
    assert rows
    for row in rows:
        assert {"file", "line", "column", "end_column", "rule", "level", "message", "help"} <= set(
            row
        )
        assert row["level"] in ("error", "caution", "hint")
        assert row["column"] < row["end_column"]
    sag = next(row for row in rows if row["rule"] == "only-a-sag")
    assert (sag["line"], sag["column"], sag["end_column"]) == (8, 3, 6)
    assert "5 draw is F5; its partner 5 blow is E5" in sag["message"]
    assert "/5v" in sag["help"]
    assert "E5 itself is 5 blow" in sag["help"]


def test_check_reads_folders_and_standard_input(
    faulty: Path, tune: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    status, out, _ = run(capsys, "check", faulty.parent)
    assert status == 1
    assert "first.harptab" in out
    result = subprocess.run(
        [sys.executable, "-m", "tabtool", "check", "-"], input=CLEAN.encode(), capture_output=True,
        check=False,
    )  # fmt: skip
    assert result.returncode == 0
    assert b"standard input" in result.stdout


def test_check_on_another_harp(tune: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Paddy Richter's 3 blow lies a whole tone below its 3 draw, which then bends one at most."""
    status, _, _ = run(capsys, "check", tune, "--harp", "A", "--tuning", "country")
    assert status == 0
    status, out, _ = run(capsys, "check", tune, "--harp", "A", "--tuning", "Paddy Richter")
    assert status == 1
    assert "on an A harp" in out
    assert re.search(r"7:22: error: 3 draw is Ab4; .*\[bend-too-deep\]", out), out


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["check", "no-such.harptab"], "no such file"),
        (["check", "{tune}", "--harp", "H"], "there is no Richter harp in 'H'"),
        (["check", "{tune}", "--tuning", "Richtr"], "write Richter"),
        (["check", "{tune}", "--player", "bands 2"], "did you mean 'bends'"),
        (["check", "{folder}/empty"], "no .harptab file"),
        (["notes", "{folder}"], "a folder, where one tune is wanted"),
        (["chek", "{tune}"], "did you mean 'check'"),
        (["find", "H4", "--harp", "C"], "is no pitch"),
        (["midi", "{tune}", "-o", "{folder}/no/such/x.mid"], "cannot be written"),
    ],
)
def test_what_cannot_be_done_is_one_plain_line_and_status_2(
    args: list[str], words: str, tune: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tune.parent / "empty").mkdir()
    filled = [arg.format(tune=tune, folder=tune.parent) for arg in args]
    status, _, err = run(capsys, *filled)
    assert status == 2
    assert words in err
    assert err.count("\n") == 1
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"harp: C\n| 4v \xff |\n", ":2:6: not UTF-8"),
        (b"harp: C\n\0\0\0", "not a text file"),
    ],
)
def test_files_that_are_no_text(
    data: bytes, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "noise.harptab"
    path.write_bytes(data)
    status, _, err = run(capsys, "check", path)
    assert status == 2
    assert words in err


def test_notes_json_has_the_promised_fields(tune: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "notes", tune, "--json")
    data = json.loads(out)
    assert status == 0
    assert data["title"] == "First light"
    assert data["harp"] == {"key": "C", "tuning": "Richter"}
    first = data["notes"][0]
    assert {
        "line": 7, "column": 3, "bar": 1, "onset": "0", "duration": "1/2", "start_s": 0.0,
        "end_s": 0.3, "holes": [2], "breath": "draw", "technique": "bend", "depth": 2,
        "pitches": ["F4"], "midi": [65.0], "hz": [349.23],
    }.items() <= first.items()  # fmt: skip
    assert [Fraction(note["onset"]) for note in data["notes"]][:6] == [
        0, Fraction(1, 2), 1, Fraction(3, 2), Fraction(7, 4), 2,
    ]  # fmt: skip


def test_notes_table_names_pitches_in_the_key(
    tune: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "notes", tune)
    rows = [line.split() for line in out.splitlines()]
    assert rows[1] == ["7:3", "1", "0", "1/2", "0.000", "2v2", "F4", "349.2", "b7"]


def test_layout_json_has_the_promised_fields(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "layout", "C", "--json")
    holes = json.loads(out)["holes"]
    assert status == 0
    assert len(holes) == 10
    third = holes[2]
    assert third["hole"] == 3
    assert third["blow"].items() >= {"pitch": "G4", "midi": 67}.items()
    assert third["draw"].items() >= {"pitch": "B4", "midi": 71}.items()
    assert [(b["breath"], b["depth"], b["pitch"], b["midi"]) for b in third["bends"]] == [
        ("draw", 1, "Bb4", 70), ("draw", 2, "A4", 69), ("draw", 3, "Ab4", 68),
    ]  # fmt: skip
    assert third["overbend"].items() >= {"kind": "overblow", "pitch": "C5", "midi": 72}.items()
    assert holes[6]["bends"] == []


def test_layout_table_shows_every_note(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "layout", "C")
    assert re.search(r"^ +draw +D4 +G4 +B4 +D5 +F5 +A5 +B5 +D6 +F6 +A6$", out, re.M)
    assert re.search(r"^draw bent 3 +Ab4$", out, re.M)
    _, out, _ = run(capsys, "layout", "C", "--tuning", "chromatic")
    assert re.search(r"^blow, slide in +Db4 +F4", out, re.M)


def test_find_json_has_the_promised_fields(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "find", "F4", "--harp", "C", "--json")
    rows = json.loads(out)
    assert status == 0
    assert rows[0].items() >= {
        "hole": 2, "breath": "draw", "technique": "bend", "depth": 2, "pitch": "F4",
        "midi": 65, "octaves_away": 0,
    }.items()  # fmt: skip
    assert [(row["token"], row["octaves_away"]) for row in rows[1:]] == [
        ("5v", 1), ("9v", 2), ("8vv", 2),
    ]  # fmt: skip
    _, out, _ = run(capsys, "find", "F", "--harp", "C", "--json")
    assert [row["token"] for row in json.loads(out)] == ["2v2", "5v", "9v", "8vv"]


def test_midi_writes_a_file_and_says_nothing(
    tune: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out_path = tune.with_suffix(".mid")
    assert run(capsys, "midi", tune, "-o", out_path) == (0, "", "")
    assert out_path.read_bytes()[:4] == b"MThd"
    assert list(tune.parent.glob("*.part")) == []


def test_midi_of_a_tune_that_cannot_be_read_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bad.harptab"
    path.write_text("harp: C\n| 4v 4 4v 4v |\n")
    status, _, err = run(capsys, "midi", path, "-o", tmp_path / "bad.mid")
    assert status == 2
    assert ":2:6:" in err
    assert not (tmp_path / "bad.mid").exists()


def test_format_rewrites_once_and_check_then_agrees(
    tune: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tune.write_text(CLEAN.replace("| 2v -", "|2V    -").replace("harp: C", "HARP:c"))
    assert run(capsys, "format", "--check", tune)[0] == 1
    assert run(capsys, "format", tune)[0] == 0
    assert tune.read_text() == CLEAN
    assert run(capsys, "format", "--check", tune)[0] == 0


def test_format_leaves_alone_what_it_cannot_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bad.harptab"
    path.write_text("harp: C\n| 4v   4 |\n")
    status, _, err = run(capsys, "format", path)
    assert status == 1
    assert "left as it is" in err
    assert path.read_text() == "harp: C\n| 4v   4 |\n"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, name, "--help")
    assert status == 0
    assert len(out) > 200
    assert "--json" in out, "every command can answer in JSON"


def test_the_overview_lists_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys)
    assert status == 2
    status, out, _ = run(capsys, "--help")
    assert status == 0
    for name, what in COMMANDS.items():
        assert re.search(rf"^  {name} +{re.escape(what)}$", out, re.M)
