"""Humdrum **kern, through music21: one spine is one part."""

from __future__ import annotations

from tabtool.diagnostics import TabError
from tabtool.readers import Choice, few_enough, text_of
from tabtool.scores.measures import Melody


def read(data: bytes, name: str, choice: Choice) -> Melody:
    """The melody of one spine."""
    text = text_of(data, name)
    if "**kern" not in text:
        raise TabError(f"{name}: this is no Humdrum file with a **kern spine")
    title = ""
    for line in text.splitlines():
        if line.startswith("!!!OTL"):
            title = line.partition(":")[2].strip()
            break
    few_enough(sum(1 for line in text.splitlines() if line[:1] not in tuple("!*=")), name)
    from tabtool.readers.staff import melody_of, parse_score  # music21: late, for it is slow

    return melody_of(parse_score(text, "humdrum", name), name, choice, title)
