"""Recordings given to the page: judged against the tune, or written down as a first tab.

A recording lies in a temporary file only while it is read, and is kept nowhere.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tabtool.diagnostics import TabError
from tabtool.harp import Harp
from tabtool.load import Loaded
from tabtool.page.view import Json
from tabtool.report import many

MISSING = "judging recordings needs more parts: pip install 'tabtool[audio]'"


def judge(loaded: Loaded, data: bytes, name: str) -> Json:
    """The report of a take: what was heard of each note, the picture, what to practise.

    `TabError` where the recording cannot be read or judged, with the reason.
    """
    if not loaded.score.events:
        raise TabError("no notes in the tune to judge a recording by")
    with _parts(), _file(data, name) as path:
        from tabtool.takes import take as takes
        from tabtool.takes.report import as_json, as_text
        from tabtool.takes.takepicture import svg

        found = takes.take(loaded.score, path)
        told = as_json(found, True)
        report = as_text(found).split("\npractise next: ")[0].rstrip()
        return {**told, "report": report, "picture": svg(found)}


def write_down(data: bytes, name: str, harp: Harp) -> Json:
    """A recording as the text of a first tab, and what is unsure of it."""
    with _parts(), _file(data, name) as path:
        from tabtool.scores.notate import notate
        from tabtool.takes.listen import listen, melody_of
        from tabtool.takes.pitchtrack import track
        from tabtool.takes.recording import read

        recording = read(path)
        heard = listen(track(recording.samples, recording.rate), harp)
    if not heard.notes:
        raise TabError(f"{name}: no notes that can be told apart")
    written = notate(melody_of(heard, 0.0, os.path.splitext(name)[0]), harp)
    unsure = [note for note in heard.notes if note.doubt]
    told = [f"{many(len(heard.notes), 'note')}, {len(unsure)} unsure: a draft to mend by ear"]
    return {"text": written.text, "told": [*told, *written.remarks]}


@contextlib.contextmanager
def _parts() -> Iterator[None]:
    """Turns a missing extra into one plain line."""
    try:
        yield
    except ModuleNotFoundError:
        raise TabError(MISSING) from None


@contextlib.contextmanager
def _file(data: bytes, name: str) -> Iterator[Path]:
    """A recording as a file, gone afterwards; messages tell its own name."""
    suffix = os.path.splitext(name)[1].lower()
    if not suffix[1:].isalnum() or len(suffix) > 6:
        suffix = ".wav"
    with tempfile.TemporaryDirectory(prefix="tabtool-") as folder:
        path = Path(folder, f"take{suffix}")
        path.write_bytes(data)
        try:
            yield path
        except TabError as error:
            raise TabError(str(error).replace(str(path), name)) from None
