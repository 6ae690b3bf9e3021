"""Explain a rule: what it means, a tab that trips it, what is told of it, a tab that does not.

The name of a rule stands in brackets behind each finding of check. Without a name all rules
are listed. JSON: {"rule", "level", "reads", "meaning", "player", "options", "trips", "found",
"passes"}, "found" as check prints it and "options" those of transpose for what is told of moving
a tune; without a name a list of {"rule", "level", "reads", "meaning"}.
"""

from __future__ import annotations

import argparse
import textwrap

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.diagnostics import Rule, TabError, nearest
from tabtool.report import as_rows, as_text, table
from tabtool.rules import EXAMPLES, RULES, judge


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "rule", metavar="RULE", nargs="?", default="", help="a rule's name, such as only-a-sag"
    )
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    if not args.rule:
        if args.json:
            common.print_json([_row(rule) for rule in RULES.values()])
        else:
            print(as_list())
        return OK
    rule = RULES.get(args.rule.strip("[]").lower())
    if rule is None:
        near = nearest(args.rule, RULES)
        instead = f"did you mean {near}? " if near else ""
        raise TabError(f"there is no rule '{args.rule}'; {instead}tabtool explain lists them")
    if args.json:
        common.print_json(as_json(rule))
    else:
        print(as_page(rule))
    return OK


def _row(rule: Rule) -> dict[str, object]:
    return {
        "rule": rule.name,
        "level": str(rule.level),
        "reads": rule.reads,
        "meaning": rule.meaning,
    }


def as_list() -> str:
    """Every rule with its usual level and the first sentence of its meaning."""
    return table(
        ("rule", "level", "meaning"),
        [
            (rule.name, str(rule.level), rule.meaning.split(". ")[0].rstrip("."))
            for rule in RULES.values()
        ],
    )


def as_json(rule: Rule) -> dict[str, object]:
    """A rule with its examples; the schema is in this module's docstring."""
    example = EXAMPLES[rule.name]
    return {
        **_row(rule),
        "player": example.player,
        "options": example.options,
        "trips": example.trips,
        "found": as_rows(judge(example.trips, example)),
        "passes": example.passes,
    }


def as_page(rule: Rule) -> str:
    """A rule with its examples, for reading."""
    example = EXAMPLES[rule.name]
    by = f", moved by tabtool transpose {example.options}" if example.options else ""
    by += f", for a player who says '{example.player}'" if example.player else ""
    told = as_text(judge(example.trips, example), example.trips)
    return "\n".join(
        [
            f"{rule.name} ({rule.level})",
            "",
            textwrap.fill(rule.meaning, 88),
            "",
            f"This trips it{by}:",
            "",
            textwrap.indent(example.trips, "    "),
            "and is told of so:",
            "",
            textwrap.indent(told, "    "),
            "",
            "This does not:",
            "",
            textwrap.indent(example.passes, "    ").rstrip(),
        ]
    )
