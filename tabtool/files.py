"""Reading and writing files: plain one-line errors, and never a half-written file."""

from __future__ import annotations

import contextlib
import os

from tabtool.diagnostics import TabError


def read_text(path: str, limit: int = 50_000_000) -> str:
    """The text of a file; `TabError` with one plain line if it cannot be read as text."""
    return decode(read_bytes(path, limit), path)


def read_bytes(path: str, limit: int, called: str = "", what: str = "a tune") -> bytes:
    """A file whole; `TabError` if it cannot be opened or is too large for `what` it should be.
    There it is called by its path unless by another name."""
    called = called or path
    try:
        with open(path, "rb") as file:
            data = file.read(limit + 1)
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        raise TabError(f"{called}: cannot be read: {reason}") from None
    if len(data) > limit:
        raise too_large(called, limit, what)
    return data


def too_large(path: str, limit: int, what: str = "a tune") -> TabError:
    """What to say of more bytes than `what` can have."""
    size = f"{limit // 1_000_000} MB" if limit >= 1_000_000 else f"{limit // 1000} kB"
    return TabError(f"{path}: larger than {size}, so surely not {what}")


def decode(data: bytes, path: str) -> str:
    """UTF-8 bytes as text, a byte order mark dropped; `TabError` if they are no text."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - (data.rfind(b"\n", 0, error.start) + 1) + 1
        raise TabError(
            f"{path}:{line}:{column}: not UTF-8 text; save the file as UTF-8 and try again"
        ) from None
    if "\0" in text:
        raise TabError(f"{path}: not a text file; a tune is plain text")
    return text


def inside(path: str, folder: str) -> bool:
    """Whether `path`, links followed, lies within `folder` or is it."""
    real, root = os.path.realpath(path), os.path.realpath(folder)
    return real == root or real.startswith(root.rstrip(os.sep) + os.sep)


def write_file(path: str, data: bytes) -> None:
    """Write all of `data` to `path`, or nothing: through a file beside it, then moved over it.

    Raises `TabError` with one plain line where that fails.
    """
    target = os.path.realpath(path)
    beside = f"{target}.{os.getpid()}.part"
    try:
        with open(beside, "wb") as file:
            file.write(data)
        if os.path.exists(target):
            os.chmod(beside, os.stat(target).st_mode & 0o7777)
        os.replace(beside, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.unlink(beside)
        reason = (error.strerror or "it cannot be opened").lower()
        raise TabError(f"{path}: cannot be written: {reason}") from None
