"""Compressed MusicXML: a zip with a container file that names the score in it."""

from __future__ import annotations

import io
import zipfile
import zlib

from tabtool.diagnostics import TabError
from tabtool.readers import LIMITS, Choice, musicxml
from tabtool.scores.measures import Melody


def read(data: bytes, name: str, choice: Choice) -> Melody:
    """The melody of the score in the archive; unpacks no more than a score may hold."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            inner = _score_name(archive, name)
            unpacked = _unpack(archive, inner, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        reason = " ".join(str(error).split()) or "it breaks off"
        raise TabError(f"{name}: a damaged archive: {reason}") from None
    except KeyError as error:
        raise TabError(f"{name}: an archive with no score in it: {error.args[0]}") from None
    return musicxml.read(unpacked, name, choice)


def _score_name(archive: zipfile.ZipFile, name: str) -> str:
    try:
        container = _unpack(archive, "META-INF/container.xml", name)
    except KeyError:
        found = [one for one in archive.namelist() if one.lower().endswith((".musicxml", ".xml"))]
        if len(found) != 1:
            raise TabError(f"{name}: an archive that names no file as its score") from None
        return found[0]
    for element in musicxml.safe_tree(container, name).iter():
        if element.tag.rpartition("}")[2] == "rootfile" and element.get("full-path"):
            return str(element.get("full-path"))
    raise TabError(f"{name}: an archive that names no file as its score")


def _unpack(archive: zipfile.ZipFile, inner: str, name: str) -> bytes:
    limit = LIMITS["musicxml"]
    if archive.getinfo(inner).compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        # The others unpack in pieces of any size; of MusicXML none is allowed but deflation.
        raise TabError(f"{name}: packed in a way that is not allowed for MusicXML; save it anew")
    with archive.open(inner) as file:
        data = file.read(limit + 1)
    if len(data) > limit:
        raise TabError(f"{name}: unpacks to more than {limit // 1_000_000} MB, so surely no melody")
    return data
