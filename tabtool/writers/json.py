"""JSON (RFC 8259): a tune's notes as they are played, its bars as they are written."""

from __future__ import annotations

import json
from collections.abc import Mapping


def write(table: Mapping[str, object]) -> bytes:
    """The table, indented, in UTF-8."""
    return (json.dumps(table, ensure_ascii=False, indent=2) + "\n").encode("utf-8")
