"""General MIDI sound fonts: read the file, keep the sounds needed, render a MIDI file.

A sound font holds hundreds of instruments; a tab needs one or two. `trimmed` copies the tables
of the file and only the recordings those presets use, which makes loading quick, and decodes the
compressed recordings of an `.sf3` file on the way, so that both kinds can be rendered.

File layout: "SoundFont Technical Specification", version 2.04; `.sf3` is the same with each
recording as an Ogg Vorbis stream, flagged by bit 4 of its type, its loop counted from its start.
"""

from __future__ import annotations

import io
import itertools
import struct
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import midirenderer
import mido
import numpy as np
import soundfile
from numpy.typing import NDArray

from tabtool.diagnostics import TabError

HARMONICA = 22  # General MIDI program, counted from 0
DRUMS = 128  # the bank sound fonts keep percussion in

_INSTRUMENT, _SAMPLE = 41, 53  # generators that point to an instrument, to a recording
_VORBIS = 0x10
_GUARD = 46  # zero points the specification asks for after each recording
_PRESET = struct.Struct("<20sHHHIII")
_HEADER = struct.Struct("<20sIIIIIBbHH")


class FontError(TabError):
    """A file that is no usable sound font; the message says what is wrong with it."""


def read(path: Path, presets: Iterable[tuple[int, int]] = ((0, HARMONICA),)) -> bytes:
    """A small `.sf2` file, as bytes, with the `presets` (bank, program) of the font at `path`.

    Raises FontError if it is no sound font, or has none of the presets.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FontError(f"{path}: cannot read the sound font: {error.strerror}") from None
    try:
        return trimmed(data, presets)
    except FontError as error:
        raise FontError(f"{path}: {error}") from None


def trimmed(data: bytes, presets: Iterable[tuple[int, int]]) -> bytes:
    """The sound font `data` with the recordings of the given presets only, all uncompressed."""
    if data[:4] != b"RIFF" or data[8:12] != b"sfbk":
        raise FontError("not a sound font (.sf2 or .sf3)")
    lists = {data[at : at + 4]: (at + 4, end) for name, at, end in _chunks(data, 12, len(data))
             if name == b"LIST"}  # fmt: skip
    try:
        smpl = next((a, b) for name, a, b in _chunks(data, *lists[b"sdta"]) if name == b"smpl")
        tables = {name: data[a:b] for name, a, b in _chunks(data, *lists[b"pdta"])}
        used = _samples_used(tables, set(presets))
        headers = list(_HEADER.iter_unpack(tables[b"shdr"]))
        tables[b"shdr"], recordings = _kept(data, smpl, headers, used)
    except (KeyError, StopIteration, struct.error, IndexError) as error:
        raise FontError(f"the sound font is damaged ({error})") from None
    info = b"INFO" + _chunk(b"ifil", struct.pack("<HH", 2, 4)) + _chunk(b"INAM", b"trimmed\0")
    pdta = b"pdta" + b"".join(_chunk(name, body) for name, body in tables.items())
    body = _chunk(b"LIST", info) + _chunk(b"LIST", b"sdta" + _chunk(b"smpl", recordings))
    return _chunk(b"RIFF", b"sfbk" + body + _chunk(b"LIST", pdta))


def render(font: bytes, midi: bytes) -> tuple[NDArray[np.float32], int]:
    """The sound of a MIDI file through a sound font: samples (frames × 2) and their rate in Hz."""
    try:
        wave = midirenderer.render_wave_from(font, midi)
    except (ValueError, RuntimeError) as error:
        raise FontError(f"the sound font cannot be rendered: {error}") from None
    samples, rate = soundfile.read(io.BytesIO(wave), dtype="float32", always_2d=True)
    return samples, int(rate)


def tuning(font: bytes, keys: Iterable[int]) -> dict[int, float | None]:
    """How far the harmonica of a font is from equal temperament, in cents, key by key.

    Each key is rendered dry for a second and measured over its steady part, good to 0.1 cent;
    None where the font sounds nothing, or nothing within 70 cents of the key.
    """
    wanted = sorted(set(keys))
    samples, rate = render(font, _scale(wanted))
    mono = samples.mean(axis=1).astype(np.float64)
    found: dict[int, float | None] = {}
    for number, key in enumerate(wanted):
        steady = mono[round((number * 1.5 + 0.35) * rate) : round((number * 1.5 + 0.95) * rate)]
        found[key] = _off(steady, rate, 440.0 * 2.0 ** ((key - 69) / 12))
    return found


def _scale(keys: list[int]) -> bytes:
    """A MIDI file: each key for one second, half a second apart, 120 beats a minute."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack([mido.Message("program_change", program=HARMONICA)])
    for control in (91, 93):  # no reverberation, no chorus
        track.append(mido.Message("control_change", control=control, value=0))
    for number, key in enumerate(keys):
        track.append(mido.Message("note_on", note=key, velocity=100, time=480 * bool(number)))
        track.append(mido.Message("note_off", note=key, time=960))
    track.append(mido.MetaMessage("end_of_track", time=960))
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _off(sound: NDArray[np.float64], rate: int, hertz: float) -> float | None:
    """Cents of the sound above `hertz`: a comb of partials finds it, phase advance refines it."""
    if not sound.size or np.sqrt(np.mean(sound**2)) < 1e-4:
        return None
    window = np.hanning(len(sound))
    size = 1 << 19  # under 0.1 Hz between the lines
    power = np.abs(np.fft.rfft(window * sound, size)) ** 2
    cents = np.arange(-70.0, 70.5, 0.5)
    comb = np.zeros(len(cents))
    for order in range(1, 6):
        lines = np.round(order * hertz * 2 ** (cents / 1200) * size / rate).astype(np.int64)
        comb += power[np.minimum(lines, len(power) - 1)] * (lines < len(power))
    # Under a tenth of the power at the best place: noise, or another note altogether.
    if comb.max() < 0.1 * power.max():
        return None
    coarse = hertz * 2 ** (cents[int(comb.argmax())] / 1200)
    half = len(sound) // 2
    turn = -2j * np.pi * coarse * np.arange(len(sound)) / rate
    part = np.hanning(half)
    first, second = (
        [np.sum(part * sound[at : at + half] * np.exp(order * turn[at : at + half]))
         for order in (1, 2, 3)]
        for at in (0, half)
    )  # fmt: skip
    best = int(np.argmax(np.abs(first)))
    advance = float(np.angle(second[best] / first[best])) / (2 * np.pi * half / rate) / (best + 1)
    return float(1200 * np.log2((coarse + advance) / hertz))


def _chunks(data: bytes, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    while at + 8 <= end:
        (size,) = struct.unpack_from("<I", data, at + 4)
        if at + 8 + size > len(data):
            raise FontError("the sound font is cut short")
        yield data[at : at + 4], at + 8, at + 8 + size
        at += 8 + size + (size & 1)


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) & 1)


def _pointers(
    tables: dict[bytes, bytes], kind: bytes, first: int, last: int, what: int
) -> set[int]:
    """Values of generator `what` in bags `first` to `last` of presets (p) or instruments (i)."""
    bags, generators = tables[kind + b"bag"], tables[kind + b"gen"]
    start = struct.unpack_from("<HH", bags, 4 * first)[0]
    stop = struct.unpack_from("<HH", bags, 4 * last)[0]
    pairs = struct.iter_unpack("<HH", generators[4 * start : 4 * stop])
    return {value for generator, value in pairs if generator == what}


def _samples_used(tables: dict[bytes, bytes], presets: set[tuple[int, int]]) -> set[int]:
    rows = list(_PRESET.iter_unpack(tables[b"phdr"]))
    instruments: set[int] = set()
    missing = set(presets)
    for row, after in itertools.pairwise(rows):
        bank, program = row[2], row[1]
        if (bank, program) in presets:
            missing.discard((bank, program))
            instruments |= _pointers(tables, b"p", row[3], after[3], _INSTRUMENT)
    for bank, program in sorted(missing):
        if bank != DRUMS:  # a font without percussion still plays the tune
            raise FontError(f"the sound font has no program {program} in bank {bank}")
    samples: set[int] = set()
    for number in instruments:
        first, last = (
            struct.unpack_from("<20sH", tables[b"inst"], 22 * n)[1] for n in (number, number + 1)
        )
        samples |= _pointers(tables, b"i", first, last, _SAMPLE)
    return samples


def _kept(
    data: bytes, smpl: tuple[int, int], headers: list[tuple[Any, ...]], used: set[int]
) -> tuple[bytes, bytes]:
    """New sample headers and the recordings they point to; an unused one points to silence."""
    silence = 48
    out = bytearray(2 * (silence + _GUARD))
    table = bytearray()
    for number, header in enumerate(headers):
        name, start, end, loop, loop_end, rate, key, tuning, link, kind = header
        if number not in used or number == len(headers) - 1:
            spans = (0, silence, 8, silence - 8)
        else:
            at = len(out) // 2
            if kind & _VORBIS:
                stream = io.BytesIO(data[smpl[0] + start : smpl[0] + end])
                points = soundfile.read(stream, dtype="int16")[0]
                out += points.astype("<i2").tobytes()
                spans = (at, at + len(points), at + loop, at + loop_end)
            else:
                out += data[smpl[0] + 2 * start : smpl[0] + 2 * end]
                spans = (at, at + end - start, at + loop - start, at + loop_end - start)
            out += bytes(2 * _GUARD)
        table += _HEADER.pack(name, *spans, rate, key, tuning, link, kind & ~_VORBIS)
    return bytes(table), bytes(out)
