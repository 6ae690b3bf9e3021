"""Options and settings of the tests."""

from __future__ import annotations

import pytest
from hypothesis import settings

# No test fails on a time alone: speed is measured as a ratio, in test_speed.
settings.register_profile("house", deadline=None)
settings.load_profile("house")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--rewrite-cases",
        action="store_true",
        help="write what the checks say today into tests/cases, to be reviewed as a diff",
    )
