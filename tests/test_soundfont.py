"""Sound fonts: reading, trimming and measuring, on a font built here and on Debian's."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from measure_reeds import FONTS, one_note

from tabtool.sound import soundfont
from tabtool.sound.soundfont import FontError

RATE = 44100


def chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def built(detune: float, *, vorbis: bool = False, program: int = 22) -> bytes:
    """A sound font of one looped tone at A4, `detune` cents off, and one unused recording.

    Laid out after the "SoundFont Technical Specification" 2.04, sections 5 to 7.
    """
    period = RATE / (440 * 2 ** (detune / 1200))
    length = int(period * 100)
    tone = (12000 * np.sin(2 * np.pi * np.arange(RATE) / period)).astype("<i2")
    if vorbis:
        out = io.BytesIO()
        soundfile.write(out, tone, RATE, format="OGG", subtype="VORBIS")
        recording = out.getvalue()
        first = (0, len(recording), 1000, 1000 + length)
        smpl = recording + bytes(5000)
        second = (len(recording), len(smpl), 8, 16)
    else:
        first = (0, RATE, 1000, 1000 + length)
        smpl = tone.tobytes() + bytes(92) + tone.tobytes() + bytes(92)
        second = (RATE + 46, 2 * RATE + 46, RATE + 54, RATE + 154)
    kind = 1 | (0x10 if vorbis else 0)

    def sample(name: bytes, spans: tuple[int, ...]) -> bytes:
        return struct.pack("<20sIIIIIBbHH", name, *spans, RATE, 69, 0, 0, kind)

    tables = {
        b"phdr": struct.pack("<20sHHHIII", b"Harmonica", program, 0, 0, 0, 0, 0)
        + struct.pack("<20sHHHIII", b"EOP", 0, 0, 1, 0, 0, 0),
        b"pbag": struct.pack("<HHHH", 0, 0, 1, 0),
        b"pmod": bytes(10),
        b"pgen": struct.pack("<HHHH", 41, 0, 0, 0),
        b"inst": struct.pack("<20sH20sH", b"Tone", 0, b"EOI", 1),
        b"ibag": struct.pack("<HHHH", 0, 0, 2, 0),
        b"imod": bytes(10),
        b"igen": struct.pack("<HHHHHH", 54, 1, 53, 0, 0, 0),
        b"shdr": sample(b"tone", first) + sample(b"unused", second) + sample(b"EOS", (0, 0, 0, 0)),
    }
    info = b"INFO" + chunk(b"ifil", struct.pack("<HH", 3 if vorbis else 2, 1))
    pdta = b"pdta" + b"".join(chunk(name, body) for name, body in tables.items())
    body = chunk(b"LIST", info) + chunk(b"LIST", b"sdta" + chunk(b"smpl", smpl))
    return chunk(b"RIFF", b"sfbk" + body + chunk(b"LIST", pdta))


@pytest.mark.parametrize("detune", [0.0, -30.0, 12.5])
def test_detuning_is_measured(detune: float) -> None:
    found = soundfont.tuning(soundfont.trimmed(built(detune), [(0, 22)]), [57, 69, 81])
    # The loop is a whole number of samples, so the tone itself is good to 0.1 cent.
    for cents in found.values():
        assert cents == pytest.approx(detune, abs=0.3)


def test_a_tone_far_off_is_no_note() -> None:
    assert soundfont.tuning(soundfont.trimmed(built(-150), [(0, 22)]), [69]) == {69: None}


def test_trimming_changes_no_sound_and_drops_the_rest() -> None:
    whole = built(0)
    small = soundfont.trimmed(whole, [(0, 22)])
    one, two = (soundfont.render(font, one_note(69, 0.5))[0] for font in (whole, small))
    assert np.array_equal(one, two)
    assert np.abs(one).max() > 0.01
    assert len(small) < 0.6 * len(whole)


def test_compressed_fonts_are_decoded() -> None:
    font = soundfont.trimmed(built(0, vorbis=True), [(0, 22)])
    assert soundfont.tuning(font, [69])[69] == pytest.approx(0, abs=0.3)


FAULTS = {
    "not a font": (b"MThd" + bytes(100), "not a sound font"),
    "empty": (b"", "not a sound font"),
    "cut short": (built(0)[:5000], "cut short"),
    "no tables": (chunk(b"RIFF", b"sfbk" + chunk(b"LIST", b"INFO")), "damaged"),
    "no harmonica": (built(0, program=5), "no program 22"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_are_named(fault: str, tmp_path: Path) -> None:
    data, words = FAULTS[fault]
    path = tmp_path / "font.sf2"
    path.write_bytes(data)
    with pytest.raises(FontError, match=words) as caught:
        soundfont.read(path)
    assert str(caught.value).startswith(str(path))


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(FontError, match="cannot read"):
        soundfont.read(tmp_path / "none.sf2")


@pytest.mark.parametrize("path", FONTS, ids=lambda path: path.stem)
def test_common_fonts_are_in_tune(path: Path) -> None:
    """Debian's two MIT fonts are within 3.2 cents from low F to C7."""
    if not path.exists():
        pytest.skip(f"{path} is not installed")
    found = soundfont.tuning(soundfont.read(path), range(53, 97))
    assert all(cents is not None and abs(cents) < 3.2 for cents in found.values())


def test_a_flat_font_is_found_out() -> None:
    """Debian's timgm6mb-soundfont: 29 to 36 cents flat from F4 to C#5 (measured before)."""
    path = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
    if not path.exists():
        pytest.skip(f"{path} is not installed")
    found = soundfont.tuning(soundfont.read(path), [67, 72, 79])
    assert found[67] == pytest.approx(-29, abs=1)
    assert found[72] == pytest.approx(-36, abs=1)
    assert found[79] == pytest.approx(3, abs=1)
