"""Cut one program out of a SoundFont, so that takes are rendered from real sampled reeds.

Sound fonts of 80–150 MB are slow to hand over for each render, and a compressed font (``.sf3``:
each sample an Ogg Vorbis stream) is refused by the renderer.  ``cut_program`` reads the RIFF
chunks of the SoundFont 2.04 format (names as in that specification: phdr, pbag, pgen, inst, ibag,
igen, shdr), keeps one preset with what it uses, unpacks Vorbis, and writes a small plain ``.sf2``.
"""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import soundfile

FONTS = {
    "fluid": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"),
    "musescore": Path("/usr/share/sounds/sf3/MuseScore_General_Full.sf3"),
}
DEBIAN_PACKAGES = {"fluid": "fluid-soundfont-gm", "musescore": "musescore-general-soundfont"}

RECORD = {
    "phdr": "<20sHHHIII",
    "pbag": "<HH",
    "pmod": "<HHhHH",
    "pgen": "<HH",
    "inst": "<20sH",
    "ibag": "<HH",
    "imod": "<HHhHH",
    "igen": "<HH",
    "shdr": "<20sIIIIIBbHH",
}
GEN_INSTRUMENT, GEN_SAMPLE = 41, 53
VORBIS_FLAG = 0x10


def _chunks(data: memoryview) -> dict[str, memoryview]:
    """All leaf chunks of a RIFF file, by name (names are unique in a SoundFont)."""
    found: dict[str, memoryview] = {}
    stack = [data[12:]]
    while stack:
        rest = stack.pop()
        while len(rest) >= 8:
            name = bytes(rest[:4]).decode("latin-1")
            size = struct.unpack("<I", rest[4:8])[0]
            body = rest[8 : 8 + size]
            if name == "LIST":
                stack.append(body[4:])
            else:
                found[name] = body
            rest = rest[8 + size + size % 2 :]
    return found


def _records(chunks: dict[str, memoryview], name: str) -> list[tuple]:
    return list(struct.iter_unpack(RECORD[name], chunks[name]))


def _pack(name: str, rows: list[tuple]) -> bytes:
    body = b"".join(struct.pack(RECORD[name], *row) for row in rows)
    return name.encode() + struct.pack("<I", len(body)) + body


def _list(kind: str, body: bytes) -> bytes:
    return b"LIST" + struct.pack("<I", len(body) + 4) + kind.encode() + body


def _sub(headers, bags, gens, first, end_of):
    """Bags and generators of one header: [(generators of one zone), …]."""
    zones = []
    for bag in range(end_of(headers[first]), end_of(headers[first + 1])):
        zones.append(gens[bags[bag][0] : bags[bag + 1][0]])
    return zones


def cut_program(path: Path, program: int, bank: int = 0) -> bytes:
    """A small SoundFont 2 file with that one preset (modulators are left at their defaults)."""
    chunks = _chunks(memoryview(path.read_bytes()))
    phdr, inst, shdr = (_records(chunks, n) for n in ("phdr", "inst", "shdr"))
    preset = next(i for i, row in enumerate(phdr) if row[1] == program and row[2] == bank)
    preset_zones = _sub(
        phdr, _records(chunks, "pbag"), _records(chunks, "pgen"), preset, lambda row: row[3]
    )
    ibag, igen = _records(chunks, "ibag"), _records(chunks, "igen")

    inst_map: dict[int, int] = {}
    sample_map: dict[int, int] = {}
    new_pgen: list[tuple] = []
    new_pbag: list[tuple] = []
    new_inst: list[tuple] = []
    new_ibag: list[tuple] = []
    new_igen: list[tuple] = []
    for zone in preset_zones:
        new_pbag.append((len(new_pgen), 0))
        for gen, amount in zone:
            if gen == GEN_INSTRUMENT:
                amount = inst_map.setdefault(amount, len(inst_map))
            new_pgen.append((gen, amount))
    for old in inst_map:
        new_inst.append((inst[old][0], len(new_ibag)))
        for zone in _sub(inst, ibag, igen, old, lambda row: row[1]):
            new_ibag.append((len(new_igen), 0))
            for gen, amount in zone:
                if gen == GEN_SAMPLE:
                    amount = sample_map.setdefault(amount, len(sample_map))
                new_igen.append((gen, amount))
    pcm: list[np.ndarray] = []
    position = 0
    new_shdr: list[tuple] = []
    for old in sample_map:
        name, start, end, loop, loop_end, rate, key, cents, _link, kind = shdr[old]
        if kind & VORBIS_FLAG:
            sound, _ = soundfile.read(io.BytesIO(bytes(chunks["smpl"][start:end])), dtype="int16")
            loop, loop_end = loop + start, loop_end + start  # sf3: loops count from the start
        else:
            sound = np.frombuffer(chunks["smpl"][2 * start : 2 * end], dtype="<i2")
        pcm.append(np.concatenate([sound, np.zeros(64, np.int16)]))
        new_shdr.append(
            (
                name,
                position,
                position + len(sound),
                loop - start + position,
                loop_end - start + position,
                rate,
                key,
                cents,
                0,
                1,
            )
        )
        position += len(pcm[-1])
    new_phdr = [
        (phdr[preset][0], program, bank, 0, 0, 0, 0),
        (b"EOP", 0, 0, len(new_pbag), 0, 0, 0),
    ]
    new_pbag.append((len(new_pgen), 0))
    new_pgen.append((0, 0))
    new_inst.append((b"EOI", len(new_ibag)))
    new_ibag.append((len(new_igen), 0))
    new_igen.append((0, 0))
    new_shdr.append((b"EOS",) + (0,) * 9)
    smpl = np.concatenate(pcm).astype("<i2").tobytes()
    info = b"ifil" + struct.pack("<IHH", 4, 2, 4) + b"INAM" + struct.pack("<I", 4) + b"cut\0"
    info += b"isng" + struct.pack("<I", 8) + b"EMU8000\0"
    body = _list("INFO", info) + _list("sdta", b"smpl" + struct.pack("<I", len(smpl)) + smpl)
    body += _list(
        "pdta",
        b"".join(
            [
                _pack("phdr", new_phdr),
                _pack("pbag", new_pbag),
                _pack("pmod", [(0, 0, 0, 0, 0)]),
                _pack("pgen", new_pgen),
                _pack("inst", new_inst),
                _pack("ibag", new_ibag),
                _pack("imod", [(0, 0, 0, 0, 0)]),
                _pack("igen", new_igen),
                _pack("shdr", new_shdr),
            ]
        ),
    )
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"sfbk" + body
