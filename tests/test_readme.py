"""The README is true: its commands run, and what it shows of their output is what they print."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from tabtool.cli import COMMANDS, main
from tabtool.header import FIELDS
from tabtool.music import MODES
from tabtool.temperament import NAMES, named
from tabtool.tunings import TUNINGS

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"

pytestmark = pytest.mark.skipif(not README.exists(), reason="no README beside the tests here")


def shown() -> list[tuple[str, str]]:
    """Each ``$ tabtool …`` line of the README's console blocks, and the output shown under it."""
    found = []
    for block in (
        re.findall(r"```console\n(.*?)```", README.read_text(), re.S) if README.exists() else []
    ):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, _, output = part.partition("\n")
            found.append((command, output))
    return found


@pytest.mark.parametrize(("command", "output"), shown(), ids=[command for command, _ in shown()])
def test_shown_output_is_real(
    command: str,
    output: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """A line of … stands for lines left out."""
    (tmp_path / "songs").symlink_to(ROOT / "songs")
    monkeypatch.chdir(tmp_path)
    name, *args = shlex.split(command)
    assert name == "tabtool"
    main(args)
    printed = capsys.readouterr().out
    pattern = "".join(
        "(?:.*\n)*" if line == "…" else re.escape(line) + "\n" for line in output.splitlines()
    )
    assert re.fullmatch(pattern, printed), printed


def test_the_temperaments_are_those_shown() -> None:
    """Each row of the table: cents on the white notes of a C harp."""
    rows = re.findall(r"^\| `([\w-]+)`[^|]*\| ([-+\d ]+) \|$", README.read_text(), re.M)
    assert [name for name, _ in rows] == list(NAMES)
    for name, cents in rows:
        degrees = named(name).degrees
        assert [round(degrees[step]) for step in MODES["major"]] == [int(c) for c in cents.split()]


def test_every_command_header_and_tuning_is_named() -> None:
    text = README.read_text()
    for name in (*COMMANDS, *FIELDS):
        assert f"`{name}`" in text or f"tabtool {name}" in text, name
    for name in TUNINGS:
        assert name in text


@pytest.mark.parametrize(
    "code", re.findall(r"```python\n(.*?)```", README.read_text(), re.S) if README.exists() else []
)
def test_the_python_examples_run(
    code: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "songs").symlink_to(ROOT / "songs")
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "README.md", "exec"), {})
