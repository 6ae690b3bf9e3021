"""What a tune is exported as (the suffix, what to call it, the bytes), and what is read in.

The heavy libraries are loaded only for the format that needs them; one that is missing is
told of in one line.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from typing import NamedTuple

from tabtool import canonical
from tabtool.diagnostics import TabError
from tabtool.load import Loaded
from tabtool.page.keep import harp_named
from tabtool.page.view import Json
from tabtool.readers import Choice, Source, source_of
from tabtool.readers.stacks import LINES
from tabtool.report import many
from tabtool.scores.choose import best_harp, fit
from tabtool.scores.notate import notate
from tabtool.scores.spellings import SPELLINGS
from tabtool.tunings import TUNINGS
from tabtool.writers.form import in_form
from tabtool.written import as_written


class Exported(NamedTuple):
    """A file: its bytes, what it does not say that the tab says, and its suffix where that is
    not the one asked for."""

    data: bytes
    lost: tuple[str, ...] = ()
    suffix: str = ""


LONGEST_SOUND = 20 * 60.0  # seconds; a longer take is made by the audio command


def export(loaded: Loaded, suffix: str) -> Exported:
    """The tune as a file of that kind; `TabError` in plain words where that cannot be."""
    if suffix not in FORMATS:
        raise TabError(f"'{suffix}' is no format; formats: {', '.join(FORMATS)}")
    if not loaded.readable:
        raise TabError("part of the tune is not understood; mend the errors first")
    return FORMATS[suffix][1](loaded, suffix)


def _midi(loaded: Loaded, suffix: str) -> Exported:
    from tabtool.writers import mid

    return Exported(mid.write(loaded.score))


def _tab(loaded: Loaded, suffix: str) -> Exported:
    return Exported(canonical.write(loaded.tune).encode())


def _sheet(loaded: Loaded, suffix: str) -> Exported:
    try:
        from tabtool.sheet.fonts import FontMetrics
        from tabtool.sheet.layout import Options, sheet
        from tabtool.sheet.output import render

        pages = sheet(loaded.tune, as_written(loaded.tune), Options("A4", False, True),
                      FontMetrics())  # fmt: skip
        files = render(pages, loaded.tune.title or "Untitled", f"sheet.{suffix}")
    except ImportError as error:
        raise TabError(f"sheets need {error.name}: pip install 'tabtool[sheet]'") from None
    if len(files) == 1:
        return Exported(files[0][1])
    # A picture holds one page: several go together.
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files:
            archive.writestr(zipfile.ZipInfo(name), data)
    return Exported(packed.getvalue(), (f"{len(files)} pages, packed together",), "zip")


def _sound(loaded: Loaded, suffix: str) -> Exported:
    if loaded.score.seconds > LONGEST_SOUND:
        raise TabError("longer than twenty minutes; make its sound file by tabtool audio")
    try:
        from tabtool.sound import audio
    except ImportError as error:
        raise TabError(f"sound files need {error.name}: pip install 'tabtool[audio]'") from None
    return Exported(audio.encoded(audio.by_voice(loaded.score), audio.RATE, f".{suffix}"))


def _written(loaded: Loaded, suffix: str) -> Exported:
    if not loaded.score.events:
        raise TabError("no notes to write")
    data, lost = in_form(loaded, f".{suffix}")
    return Exported(data, tuple(lost))


def brought_in(
    data: bytes, name: str, choice: Choice, harp: str = "", spelling: str = "", lines: str = ""
) -> Json:
    """A score, or tab typed by hand, as the text of a tune on the harp named, or the one it lies
    best on; ``told`` lists what was chosen and what the notation could not keep. `TabError`
    where it cannot be read."""
    source = source_of(data, name)
    if source.format == "txt":
        return _typed(source, harp, spelling, lines)
    try:
        melody = source.melody(choice)
    except ModuleNotFoundError as error:
        if error.name != "music21":
            raise
        raise TabError("reading scores needs music21: pip install 'tabtool[read]'") from None
    bars = melody.measures
    chosen = fit(harp_named(harp) if harp else best_harp(bars, TUNINGS["Richter"]), bars)
    written = notate(melody, chosen.harp, name)
    how = "the harp you named" if harp else "the harp it lies best on"
    told = [f"{how} is the {chosen.harp}"]
    if chosen.missing:
        told.append(f"{many(chosen.missing, 'note')} it does not have, written all the same")
    return {"text": written.text, "told": [*told, *written.remarks]}


def _typed(source: Source, harp: str, spelling: str, lines: str) -> Json:
    from tabtool.readers import txt

    if lines and lines not in LINES:
        raise TabError(f"'{lines[:20]}' is no way to read lines: {', '.join(LINES)}")
    if spelling and spelling not in SPELLINGS:
        raise TabError(f"'{spelling[:20]}' is no spelling: {', '.join(SPELLINGS)}")
    named = harp_named(harp) if harp else None
    layout = named.layout if named else TUNINGS["Richter"]
    key, tuning = (named.key, layout.name) if named else ("", "")
    typed = txt.read(source.data, source.name, spelling, key, layout, tuning, lines)
    return {"text": typed.text, "told": [typed.evidence, *typed.remarks]}


FORMATS: dict[str, tuple[str, Callable[[Loaded, str], Exported]]] = {
    "pdf": ("sheet to print, PDF", _sheet),
    "html": ("sheet as a web page", _sheet),
    "svg": ("sheet as pictures, SVG", _sheet),
    "png": ("sheet as pictures, PNG", _sheet),
    "musicxml": ("score, MusicXML", _written),
    "mxl": ("score, MusicXML compressed", _written),
    "abc": ("score, ABC", _written),
    "txt": ("tab as typed by hand, to paste", _written),
    "csv": ("table of notes, CSV", _written),
    "json": ("table of notes, JSON", _written),
    "mid": ("MIDI file", _midi),
    "wav": ("sound, WAV", _sound),
    "ogg": ("sound, Ogg", _sound),
    "harptab": ("tab", _tab),
}
