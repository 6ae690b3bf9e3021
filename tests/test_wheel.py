"""What is installed is whole: wheel, and wheel from sdist, find the grammar that lies top-level."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

pytestmark = pytest.mark.skipif(
    not (ROOT / "pyproject.toml").exists(), reason="the tests run apart from the sources here"
)


def build(source: Path, out: Path) -> Path:
    """Build a wheel without touching the network."""
    pytest.importorskip("setuptools", minversion="77")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation",
         "--no-index", "-w", str(out), str(source)],
        check=True, capture_output=True,
    )  # fmt: skip
    (wheel,) = out.glob("*.whl")
    return wheel


def copy_of_sources(to: Path) -> Path:
    """The files that make the package, so that building leaves nothing in the checkout."""
    names = ["pyproject.toml", "README.md", "LICENSE", "tabtool", "grammar"]
    subprocess.run(["cp", "-r", *[str(ROOT / name) for name in names], str(to)], check=True)
    return to


def runs_from(wheel: Path, where: Path) -> None:
    """A tune is checked by what the wheel alone holds."""
    with zipfile.ZipFile(wheel) as archive:
        assert "tabtool/grammar/tab.lark" in archive.namelist()
        archive.extractall(where)
    env = {**os.environ, "PYTHONPATH": str(where)}
    result = subprocess.run(
        [sys.executable, "-m", "tabtool", "check", "-"], input="harp: C\n| 4v 5v1 4v 4v |\n",
        text=True, capture_output=True, env=env, cwd=where, check=False,
    )  # fmt: skip
    assert result.returncode == 1, result.stderr
    assert "only-a-sag" in result.stdout


def test_the_wheel_holds_the_grammar_and_every_package(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    wheel = build(copy_of_sources(source), tmp_path / "wheel")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    modules = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "tabtool").rglob("*.py")
        if "node_modules" not in path.parts
    }
    assert modules <= names, "a package folder is missing from pyproject.toml"
    runs_from(wheel, tmp_path / "installed")


def test_the_sdist_builds_the_same_wheel(tmp_path: Path) -> None:
    pytest.importorskip("build")
    pytest.importorskip("setuptools", minversion="77")
    source = tmp_path / "source"
    source.mkdir()
    subprocess.run(
        [sys.executable, "-m", "build", "--sdist", "--no-isolation", "-o", str(tmp_path),
         str(copy_of_sources(source))],
        check=True, capture_output=True,
    )  # fmt: skip
    (sdist,) = tmp_path.glob("*.tar.gz")
    with tarfile.open(sdist) as archive:
        archive.extractall(tmp_path / "unpacked", filter="data")
    (unpacked,) = (tmp_path / "unpacked").iterdir()
    runs_from(build(unpacked, tmp_path / "wheel"), tmp_path / "installed")
