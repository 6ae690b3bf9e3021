"""What a tune is exported as: the suffix, what to call it, and the bytes.

The heavy libraries are loaded only for the format that needs them; one that is missing is
told of in one line.
"""

from __future__ import annotations

from collections.abc import Callable

from tabtool.diagnostics import TabError
from tabtool.load import Loaded
from tabtool.resolve import as_written
from tabtool.writers import harptab

LONGEST_SOUND = 20 * 60.0  # seconds; a longer take is made by the audio command


def export(loaded: Loaded, suffix: str) -> bytes:
    """The tune as a file of that kind; `TabError` in plain words where that cannot be."""
    if suffix not in FORMATS:
        raise TabError(f"'{suffix}' is no format; formats: {', '.join(FORMATS)}")
    if not loaded.readable:
        raise TabError("part of the tune is not understood; mend the errors first")
    return FORMATS[suffix][1](loaded, suffix)


def _midi(loaded: Loaded, suffix: str) -> bytes:
    from tabtool.writers import mid

    return mid.write(loaded.score)


def _tab(loaded: Loaded, suffix: str) -> bytes:
    return harptab.write(loaded.tune).encode()


def _sheet(loaded: Loaded, suffix: str) -> bytes:
    try:
        from tabtool.sheet.fonts import FontMetrics
        from tabtool.sheet.layout import Options, sheet
        from tabtool.sheet.output import render

        pages = sheet(loaded.tune, as_written(loaded.tune), Options("A4", False, True),
                      FontMetrics())  # fmt: skip
        files = render(pages, loaded.tune.title or "Untitled", f"sheet.{suffix}")
    except ImportError as error:
        raise TabError(f"sheets need {error.name}: pip install 'tabtool[sheet]'") from None
    return files[0][1]


def _sound(loaded: Loaded, suffix: str) -> bytes:
    if loaded.score.seconds > LONGEST_SOUND:
        raise TabError("longer than twenty minutes; make its sound file by tabtool audio")
    try:
        from tabtool import audio
    except ImportError as error:
        raise TabError(f"sound files need {error.name}: pip install 'tabtool[audio]'") from None
    return audio.encoded(audio.by_voice(loaded.score), audio.RATE, f".{suffix}")


FORMATS: dict[str, tuple[str, Callable[[Loaded, str], bytes]]] = {
    "pdf": ("sheet to print, PDF", _sheet),
    "html": ("sheet as a web page", _sheet),
    "mid": ("MIDI file", _midi),
    "wav": ("sound, WAV", _sound),
    "ogg": ("sound, Ogg", _sound),
    "harptab": ("tab", _tab),
}
