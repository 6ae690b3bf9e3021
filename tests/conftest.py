"""Options of the tests."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--rewrite-cases",
        action="store_true",
        help="write what the checks say today into tests/cases, to be reviewed as a diff",
    )
