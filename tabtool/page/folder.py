"""The opened folder: the only place the page reads tunes from and writes them to.

Paths are relative to it, with ``/`` between names. A digest stands for the bytes of a
file: whoever saves says which version they saw, and another version is never replaced.
"""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Iterator
from typing import NamedTuple

from tabtool.diagnostics import TabError
from tabtool.files import decode, inside, read_bytes, too_large, write_file
from tabtool.load import SUFFIX

LARGEST_TUNE = 1_000_000  # bytes; the longest tune anyone has written is far shorter
MOST_TUNES = 5_000
_FORBIDDEN = frozenset('\\:*?"<>|')  # in names, since some systems give them a meaning


class Opened(NamedTuple):
    """A tune as read: its text, its digest, and the line end its file uses."""

    path: str
    text: str
    digest: str
    line_end: str


class Changed(Exception):
    """The file on disk is not the version that was seen; `now` is what it is, None if gone."""

    def __init__(self, path: str, now: Opened | None) -> None:
        super().__init__(path)
        self.path, self.now = path, now


class Folder:
    """One folder of tunes; every path is checked against it."""

    def __init__(self, root: str) -> None:
        self.root = os.path.realpath(root)
        self._saving = threading.Lock()

    def real(self, path: str) -> str:
        """The file a path stands for; `TabError` if it is none of this folder's tunes."""
        names = path.split("/")
        if (
            not path
            or len(path) > 400
            or any(name in ("", ".", "..") or name.startswith(".") for name in names)
            or any(character in _FORBIDDEN or ord(character) < 32 for character in path)
        ):
            raise TabError(f"'{path[:80]}' is no path within the opened folder")
        if not path.endswith(SUFFIX):
            raise TabError(f"'{path[:80]}' is no tune; tunes end in {SUFFIX}")
        real = os.path.join(self.root, *names)
        if not inside(real, self.root):
            raise TabError(f"'{path[:80]}' leads out of the opened folder")
        return real

    def tunes(self) -> Iterator[str]:
        """The paths of all tunes, in order of name; links that lead outside are left out."""
        found = []
        for folder, folders, names in os.walk(self.root):
            folders[:] = sorted(name for name in folders if not name.startswith("."))
            for name in names:
                full = os.path.join(folder, name)
                if name.endswith(SUFFIX) and not name.startswith(".") and inside(full, self.root):
                    found.append(os.path.relpath(full, self.root).replace(os.sep, "/"))
            if len(found) > MOST_TUNES:
                break
        yield from sorted(found)[:MOST_TUNES]

    def open(self, path: str) -> Opened:
        """Read a tune; `TabError` if it cannot be read or is too large."""
        real = self.real(path)
        if os.path.exists(real) and not os.path.isfile(real):
            raise TabError(f"{path}: not a file")
        data = read_bytes(real, LARGEST_TUNE, path)
        text = decode(data, path)
        return Opened(
            path, text.replace("\r\n", "\n").replace("\r", "\n"), _digest(data), _line_end(data)
        )

    def save(self, path: str, text: str, seen: str | None, line_end: str = "\n") -> Opened:
        """Write a tune whole. `seen` is the digest of the version it was made from, None for
        a new file; `Changed` if the file on disk is another, and then nothing is written."""
        real = self.real(path)
        data = text.replace("\n", line_end).encode()
        if len(data) > LARGEST_TUNE:
            raise too_large(path, LARGEST_TUNE)
        with self._saving:
            now = self.open(path) if os.path.lexists(real) else None
            if (now.digest if now else None) != seen:
                raise Changed(path, now)
            try:
                os.makedirs(os.path.dirname(real), exist_ok=True)
            except OSError:
                raise TabError(f"{path}: its folder cannot be made") from None
            write_file(real, data)
        return Opened(path, text, _digest(data), line_end)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _line_end(data: bytes) -> str:
    return "\r\n" if b"\r\n" in data and data.count(b"\n") == data.count(b"\r\n") else "\n"
