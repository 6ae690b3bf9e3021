"""Reading a recording: any common file, to one channel at about 16 kHz.

Conventions: ``samples`` are floats, full scale ±1, channels averaged; ``rate`` is in Hz and may
be fractional, since files are thinned by a whole number only (44.1 kHz by 3, to 14.7 kHz): the
second harmonic of the highest reed, 6272 Hz, still fits, and no resampling blurs the pitch.

soundfile (libsndfile) reads wav, flac, ogg, opus and aiff; PyAV (FFmpeg) what phones make, AAC in
m4a or mp4, mp3, and the rest.  Either is imported only when a file needs it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tabtool.diagnostics import TabError

Floats = NDArray[np.float32]

TARGET_HZ = 16000
LONGEST_S = 20 * 60
"""Longer recordings are refused: the analysis holds up to 0.7 MB a second of sound."""

BLOCK = 1 << 17
"""Samples decoded at once."""

UNKNOWN = "not a recording that can be read (wav, flac, ogg, mp3, m4a)"
INSTALL = "reading recordings needs more parts: pip install 'tabtool[audio]'"


class RecordingError(TabError):
    """A recording that cannot be read; the text is one line for the user."""


@dataclass(frozen=True, slots=True)
class Recording:
    """One channel of sound."""

    samples: Floats
    rate: float

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate


def read(path: Path) -> Recording:
    """Read and thin a recording; raises RecordingError with a line for the user."""
    if not path.exists():
        raise RecordingError(f"{path}: no such file")
    if path.is_dir():
        raise RecordingError(f"{path}: is a folder, not a recording")
    if path.stat().st_size == 0:
        raise RecordingError(f"{path}: the file is empty")
    try:
        return _collect(path, *_by_soundfile(path))
    except _NotMine as first:
        try:
            return _collect(path, *_by_av(path))
        except _NotMine:
            raise RecordingError(f"{path}: {first}") from None


class _NotMine(Exception):
    """This reader does not know the file."""


def _by_soundfile(path: Path) -> tuple[float, Iterator[Floats]]:
    if _is_mpeg(path):
        raise _NotMine(UNKNOWN)
    try:
        import soundfile
    except ImportError:
        raise RecordingError(INSTALL) from None
    try:
        file = soundfile.SoundFile(path)
    except (soundfile.LibsndfileError, OSError, ValueError):
        raise _NotMine(UNKNOWN) from None

    def blocks() -> Iterator[Floats]:
        with file:
            while True:
                try:
                    block = file.read(BLOCK, dtype="float32", always_2d=True)
                except soundfile.LibsndfileError as error:
                    raise RecordingError(f"{path}: damaged: {error}") from None
                if not len(block):
                    return
                yield block.mean(axis=1)

    return float(file.samplerate), blocks()


def _is_mpeg(path: Path) -> bool:
    """Whether a file is named or begins like mp3; libsndfile's reader of it writes what it finds
    amiss past us to the terminal."""
    if path.suffix.lower() == ".mp3":
        return True
    with path.open("rb") as file:
        head = file.read(3)
    return head == b"ID3" or (head[:1] == b"\xff" and head[1:2] >= b"\xe0")


def _by_av(path: Path) -> tuple[float, Iterator[Floats]]:
    try:
        import av
    except ImportError:
        raise RecordingError(INSTALL) from None
    container: Any
    try:
        container = av.open(str(path))
        stream = next(iter(container.streams.audio), None)
    except (av.FFmpegError, OSError, ValueError, UnicodeError):
        raise _NotMine("not a recording") from None
    if stream is None or not stream.rate:
        container.close()
        raise RecordingError(f"{path}: holds no sound")

    def blocks() -> Iterator[Floats]:
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=stream.rate)
        with container:
            try:
                for frame in container.decode(stream):
                    for mono in resampler.resample(frame):
                        yield mono.to_ndarray()[0]
                for mono in resampler.resample(None):
                    yield mono.to_ndarray()[0]
            except (av.FFmpegError, OSError, ValueError) as error:
                text = str(error).splitlines()[0]
                raise RecordingError(f"{path}: damaged: {text}") from None

    return float(stream.rate), blocks()


def _collect(path: Path, rate: float, blocks: Iterator[Floats]) -> Recording:
    """Thin block after block, so that only the thinned sound is held."""
    if rate < 7000:
        raise RecordingError(f"{path}: sampled at {rate:g} Hz; at least 8000 Hz are needed")
    factor = max(1, round(rate / TARGET_HZ))
    kept = list(_thin(_joined(blocks, path, rate), factor))
    samples = np.concatenate(kept) if kept else np.zeros(0, np.float32)
    if not len(samples):
        raise RecordingError(f"{path}: holds no sound")
    if not np.isfinite(samples).all():
        raise RecordingError(f"{path}: damaged: samples that are no numbers")
    return Recording(samples, rate / factor)


def _joined(blocks: Iterator[Floats], path: Path, rate: float) -> Iterator[Floats]:
    """Blocks of even, useful size; refuses a recording that is too long as soon as it shows."""
    waiting: list[Floats] = []
    held = total = 0
    for block in blocks:
        total += len(block)
        if total > LONGEST_S * rate:
            minutes = LONGEST_S // 60
            raise RecordingError(f"{path}: longer than {minutes} minutes; cut out the take")
        waiting.append(np.asarray(block, np.float32))
        held += len(block)
        if held >= BLOCK:
            yield np.concatenate(waiting)
            waiting, held = [], 0
    if waiting:
        yield np.concatenate(waiting)


def thin(samples: Floats, rate: float) -> Recording:
    """Sound that is already in memory, thinned as ``read`` thins a file."""
    factor = max(1, round(rate / TARGET_HZ))
    return Recording(np.concatenate(list(_thin(iter([samples]), factor))), rate / factor)


def _thin(blocks: Iterator[Floats], factor: int) -> Iterator[Floats]:
    """Low-pass (windowed sinc, zero phase) and keep every factor-th sample."""
    if factor == 1:
        yield from blocks
        return
    half = 12 * factor
    t = np.arange(-half, half + 1)
    filter_ = np.sinc(t * 0.94 / factor) * np.blackman(2 * half + 1)
    taps = (filter_ / filter_.sum()).astype(np.float32)
    held = np.zeros(half, np.float32)  # so that output k stands at input k * factor
    for block in blocks:
        held = np.concatenate([held, block])
        count = (len(held) - 2 * half - 1) // factor + 1
        if count > 0:
            yield _every(held, taps, factor, count)
            held = held[count * factor :]
    held = np.concatenate([held, np.zeros(half, np.float32)])
    count = (len(held) - 2 * half - 1) // factor + 1
    if count > 0:
        yield _every(held, taps, factor, count)


def _every(samples: Floats, taps: Floats, factor: int, count: int) -> Floats:
    windows = np.lib.stride_tricks.sliding_window_view(samples, len(taps))[::factor]
    return np.asarray(windows[:count] @ taps, np.float32)
