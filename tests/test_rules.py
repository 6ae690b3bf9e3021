"""Every rule, by example: what trips it is told in the words of `cases`, what does not is silent.

A case is a small text in ``cases/RULE/``: ``fires*`` trips the rule and has the expected report
beside it in a ``.txt`` file, ``silent*`` leaves nothing to be said of that rule. A first line
``# player: …`` says who plays. ``pytest tests/test_rules.py --rewrite-cases`` writes the reports
anew; review them as a diff.
"""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest

import tabtool
from tabtool.cli import main
from tabtool.diagnostics import Diagnostic, Rule
from tabtool.header import TUNING_SUFFIX
from tabtool.load import load
from tabtool.player import Player, parse_player
from tabtool.report import as_text
from tabtool.rules import EXAMPLES, MOVING, RULES, judge
from tabtool.tunings import read_tuning

CASES = Path(__file__).parent / "cases"
FIRING = sorted(path for path in CASES.glob("*/fires*") if path.suffix != ".txt")
SILENT = sorted(CASES.glob("*/silent*"))


def name_of(path: Path) -> str:
    return f"{path.parent.name}/{path.stem}"


def found_in(path: Path) -> tuple[str, tuple[Diagnostic, ...]]:
    text = path.read_text(encoding="utf-8")
    if path.suffix == TUNING_SUFFIX:
        return text, read_tuning(text, path.name)[1]
    first = text.partition("\n")[0]
    player = parse_player(first.removeprefix("# player:")) if "# player:" in first else Player()
    return text, load(text, path.name, player=player).diagnostics


def test_every_rule_has_its_cases() -> None:
    moving = {rule.name for rule in MOVING}  # these have their example, and tests/test_retab.py
    assert {path.parent.name for path in FIRING} == set(RULES) - moving
    assert {path.parent.name for path in SILENT} == set(RULES) - moving
    reports = {path.with_suffix(".txt") for path in FIRING}
    assert reports == set(CASES.glob("*/*.txt")), "a report without its case, or without report"


@pytest.mark.parametrize("path", FIRING, ids=name_of)
def test_a_case_fires(path: Path, request: pytest.FixtureRequest) -> None:
    text, found = found_in(path)
    assert path.parent.name in {one.rule.name for one in found}
    told = as_text(found, text) + "\n"
    report = path.with_suffix(".txt")
    if request.config.getoption("--rewrite-cases"):
        report.write_text(told, encoding="utf-8")
    assert told == report.read_text(encoding="utf-8")


@pytest.mark.parametrize("path", FIRING, ids=name_of)
def test_every_finding_has_a_place_and_words(path: Path) -> None:
    """The span lies on its line; message and help are one line each, and say no code names."""
    text, found = found_in(path)
    lines = text.split("\n")
    for one in found:
        assert 1 <= one.span.line <= len(lines)
        line = lines[one.span.line - 1]
        assert 1 <= one.span.column < one.span.end_column <= max(len(line), 1) + 2
        assert one.message
        assert "\n" not in one.message + one.help
        assert not one.message.endswith(".")
        assert "None" not in one.message + one.help
        if one.rule.reads:
            assert one.help, one.message  # what to write instead


@pytest.mark.parametrize("path", SILENT, ids=name_of)
def test_a_case_is_silent(path: Path) -> None:
    _, found = found_in(path)
    assert path.parent.name not in {one.rule.name for one in found}
    assert not any(one.level == "error" for one in found), found


def test_every_rule_in_the_sources_is_listed() -> None:
    """By reading the sources: names given to Rule(…), note_check(…) and passage_check(…)."""
    named = set()
    for path in Path(tabtool.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in ("Rule", "note_check", "passage_check")
                and isinstance(node.args[0], ast.Constant)
            ):
                named.add(node.args[0].value)
    assert named == set(RULES)
    for rule in RULES.values():
        assert rule.meaning.endswith(".")
        assert len(rule.meaning) > 20


@pytest.mark.parametrize("name", RULES)
def test_explain_shows_an_example_that_is_true(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    example = EXAMPLES[name]
    assert {found.rule.name for found in judge(example.trips, example)} == {name}
    assert judge(example.passes, example) == ()
    assert main(["explain", name]) == 0
    page = capsys.readouterr().out
    assert page.startswith(f"{name} ({RULES[name].level})\n")
    assert RULES[name].meaning.split()[0] in page
    for text in (example.trips, example.passes):
        assert all(line in page for line in text.splitlines())
    assert f"[{name}]" in page
    assert main(["explain", name, "--json"]) == 0
    row = json.loads(capsys.readouterr().out)
    assert row["meaning"] == RULES[name].meaning
    assert {found["rule"] for found in row["found"]} == {name}
    assert (row["trips"], row["passes"]) == (example.trips, example.passes)
    assert example.options in page


@pytest.mark.parametrize("rule", MOVING, ids=lambda rule: str(rule.name))
def test_the_options_of_a_move_say_what_the_example_does(
    rule: Rule, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    example = EXAMPLES[rule.name]
    tune = tmp_path / "tune.harptab"
    player = ["--player", example.player] if example.player else []
    for text, wanted in ((example.trips, {rule.name}), (example.passes, set())):
        tune.write_text(text, encoding="utf-8")
        main(["transpose", str(tune), *example.options.split(), *player, "--json"])
        found = json.loads(capsys.readouterr().out)["findings"]
        assert {row["rule"] for row in found} == wanted


def test_explain_lists_the_rules_and_knows_a_slip(capsys: pytest.CaptureFixture[str]) -> None:
    assert set(EXAMPLES) == set(RULES)
    assert main(["explain"]) == 0
    listed = capsys.readouterr().out
    assert all(f"\n{name} " in listed for name in RULES)
    assert main(["explain", "--json"]) == 0
    assert [row["rule"] for row in json.loads(capsys.readouterr().out)] == list(RULES)
    assert main(["explain", "[only-a-sag]"]) == 0
    capsys.readouterr()
    assert main(["explain", "bend-to-deep"]) == 2
    assert "did you mean bend-too-deep?" in capsys.readouterr().err
