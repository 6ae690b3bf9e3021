"""Compressed MusicXML 4.0: the score in a zip, named by a container file, type first."""

from __future__ import annotations

import io
import zipfile

from tabtool.scores.staff import Staff
from tabtool.writers.musicxml import TabAs
from tabtool.writers.musicxml import write as write_score

_TYPE = "application/vnd.recordare.musicxml"
_CONTAINER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    f'<rootfile full-path="score.musicxml" media-type="{_TYPE}+xml"/></rootfiles></container>\n'
)
_DATE = (1980, 1, 1, 0, 0, 0)  # the same bytes for the same tune, whenever written


def write(staff: Staff, tab: TabAs = TabAs.LYRIC) -> bytes:
    """The tune as a compressed MusicXML file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data, packing in (
            ("mimetype", _TYPE.encode(), zipfile.ZIP_STORED),
            ("META-INF/container.xml", _CONTAINER.encode(), zipfile.ZIP_DEFLATED),
            ("score.musicxml", write_score(staff, tab), zipfile.ZIP_DEFLATED),
        ):
            info = zipfile.ZipInfo(name, _DATE)
            info.compress_type = packing
            archive.writestr(info, data)
    return out.getvalue()
