"""The rules of the house, read from the sources: imports point down, the door is light."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

import tabtool

PACKAGE = Path(tabtool.__file__).parent

# Floors, lowest first. A module imports from lower floors, and within its own only where
# the list says so (a package's own files among each other).
FLOORS = (
    ("diagnostics",),
    ("files", "music"),
    ("harp", "player"),
    ("tune", "tunings", "temperament", "scala", "mistakes", "symbols"),
    ("header", "canonical"),
    (
        "notation",
        "headerlines",
        "bars",
        "parse",
        "repeats",
        "shares",
        "events",
        "written",
        "lengths",
        "resolve",
    ),
    ("expression", "practice", "checks"),
    ("load",),
    ("report",),
)

HEAVY = ("music21", "numpy", "scipy", "mido", "soundfile", "av", "verovio", "starlette", "uvicorn")


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(PACKAGE).with_suffix("").parts)


def imports_of(path: Path) -> set[str]:
    """The tabtool modules a file imports, at any depth within it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        for name in names:
            if name.startswith("tabtool."):
                found.add(name.split(".")[1])
    return found


def floor_of(name: str) -> int | None:
    return next((n for n, names in enumerate(FLOORS) if name in names), None)


def sources() -> list[Path]:
    found = sorted(PACKAGE.rglob("*.py"))
    assert len(found) > 20
    return found


@pytest.mark.parametrize("path", sources(), ids=module_of)
def test_imports_point_down(path: Path) -> None:
    own = module_of(path).split(".")[0]
    floor = floor_of(own)
    if floor is None:
        return  # renderings, readers and commands stand above all of these
    for name in imports_of(path) - {own}:
        below = floor_of(name)
        assert below is not None, f"{own} imports {name}, which stands above it"
        assert below <= floor, f"{own} imports {name} from a higher floor"


def names_above(path: Path) -> str:
    """The module or package of the house that a file belongs to."""
    return as_door(module_of(path).split(".")[0])


def as_door(name: str) -> str:
    """The command line is one door; the page is another, which it opens and which needs it not."""
    return "cli" if name == "commands" else name


def assert_no_cycle(graph: dict[str, set[str]]) -> None:
    done: set[str] = set()

    def visit(name: str, above: tuple[str, ...]) -> None:
        assert name not in above, f"import cycle: {' -> '.join((*above, name))}"
        if name not in done:
            for below in sorted(graph.get(name, ())):
                visit(below, (*above, name))
            done.add(name)

    for name in graph:
        visit(name, ())


def test_the_house_has_no_cycles() -> None:
    """Between modules and packages."""
    graph: dict[str, set[str]] = {}
    for path in sources():
        own = names_above(path)
        if own not in ("__init__", "__main__"):
            graph.setdefault(own, set()).update(map(as_door, imports_of(path)))
            graph[own].discard(own)
    assert_no_cycle(graph)


@pytest.mark.parametrize(
    "package", sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))
)
def test_no_package_has_cycles_inside(package: str) -> None:
    graph: dict[str, set[str]] = {}
    for path in (PACKAGE / package).glob("*.py"):
        found = set()
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.module:
                start = f"tabtool.{package}"
                if node.module == start:
                    found |= {alias.name for alias in node.names}
                elif node.module.startswith(start + "."):
                    found.add(node.module.removeprefix(start + ".").split(".")[0])
        known = {other.stem for other in (PACKAGE / package).glob("*.py")}
        if path.stem != "__init__":
            graph[path.stem] = (found & known) - {path.stem}
    assert_no_cycle(graph)


def test_only_reading_the_notation_knows_lark() -> None:
    for path in sources():
        text = path.read_text()
        if "lark" in text and module_of(path) not in ("notation", "bars"):
            assert "import lark" not in text
            assert "from lark" not in text


def loaded_after(code: str) -> set[str]:
    """The modules a fresh interpreter holds after running `code`."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    code = f"{code}\nimport sys\nprint(*sys.modules)"
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env
    )
    return set(result.stdout.split())


@pytest.mark.parametrize(
    "code",
    [
        "import tabtool",
        "import tabtool.load\ntabtool.load.load('harp: C\\n| 4v 4v 4v 4v |')",
        "from tabtool.cli import main\nmain(['--help'])",
        "from tabtool.cli import main\nmain(['layout', 'C'])",
    ],
)
def test_the_everyday_paths_load_nothing_heavy(code: str) -> None:
    assert not loaded_after(code) & set(HEAVY)


def test_scale_files_are_read_by_a_module_of_their_own_only_where_one_is_named() -> None:
    assert "tabtool.scala" not in loaded_after(
        "import tabtool.load\ntabtool.load.load('temperament: 7-limit\\nharp: C\\n| 4v - . . |')"
    )


def test_help_does_not_even_load_the_parser() -> None:
    assert "lark" not in loaded_after("from tabtool.cli import main\nmain(['--help'])")


def test_every_public_function_and_class_of_the_core_says_what_it_is() -> None:
    missing = []
    for path in sources():
        tree = ast.parse(path.read_text())
        assert ast.get_docstring(tree), f"{path.name} says nothing of itself"
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                plain = "commands" in path.parts and node.name in ("configure", "run", "as_table")
                if not ast.get_docstring(node) and not plain:
                    missing.append(f"{module_of(path)}.{node.name}")
    assert not missing
