"""Takes with a known truth, rendered from real sampled reeds through General MIDI sound fonts.

No human recording with known pitches exists in the sources at hand, so takes are made: a tune for
a harp, a way of playing it (tempo, rubato, slips planted on purpose, cents off for each note,
vibrato, scoops), the harmonica program (22 counted from 0, General MIDI) of a Debian sound font,
a room, noise, and phone coding.  Everything follows from one seed.

The fonts are themselves out of tune by up to 1.6 cents, and their reeds settle only after 60–300
ms, as real ones do.  So each key is measured once by itself: the plain note, clean, by a
least-squares fit of harmonics (``calibrate``), which shares no code with the tracker under test;
the truth of a note is what was planted plus what its sample does over its later part.
"""

from __future__ import annotations

import functools
import io
from dataclasses import dataclass, field, replace
from itertools import pairwise

import mido
import numpy as np
import soundfile
from soundfont import DEBIAN_PACKAGES, FONTS, cut_program

RATE = 48000
PROGRAM = 22
BEND_RANGE = 4  # semitones; one step is 0.05 cent
CHANNELS = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12]

# OEIS A291810: semitones above the key for 1 blow, 1 draw, 2 blow, …, 10 draw of a Richter harp
RICHTER = (0, 2, 4, 7, 7, 11, 12, 14, 16, 17, 19, 21, 24, 23, 28, 26, 31, 29, 36, 33)
# first note of each key (F = low F, "high G" the highest), MIDI
KEYS = {"low F": 53, "G": 55, "A": 57, "Bb": 58, "C": 60, "D": 62, "E": 64, "F": 65, "high G": 67}


@dataclass(frozen=True)
class Written:
    """A note of the tab: seconds at the written tempo, MIDI pitch."""

    onset: float
    end: float
    pitch: float
    bent: bool = False


@dataclass(frozen=True)
class Played:
    """A note as sounded; ``index`` counts the tab's notes, None for an extra note."""

    onset: float
    end: float
    pitch: float  # the key pressed, equal temperament
    cents: float = 0.0  # off that key, on purpose
    index: int | None = None
    kind: str = "ok"  # ok, wrong, extra, again
    scoop: float = 0.0  # cents below at the start
    scoop_s: float = 0.08
    vibrato: float = 0.0  # cents from the middle
    vibrato_hz: float = 5.5
    velocity: int = 96


@dataclass(frozen=True)
class Manner:
    """How a take is played and recorded."""

    tempo: float = 1.0
    rubato: float = 0.0
    skips: int = 0
    wrongs: int = 0
    extras: int = 0
    false_start: int = 0
    repeat: int = 0
    spread: float = 8.0  # standard deviation of the planted cents
    bent_spread: float = 15.0
    tuning: float = 0.0
    scoops: float = 0.0  # share of notes
    vibratos: float = 0.0
    gap: float = 0.15  # share of a note's time that is silent
    room: float = 0.0  # seconds to fall by 60 dB
    noise_db: float | None = None
    tilt: float = 0.0  # decibels an octave: a brighter reed or microphone
    coding: str | None = None  # "aac"
    font: str = "fluid"  # or "voice", the package's own


@dataclass
class Take:
    written: list[Written]
    played: list[Played]
    samples: np.ndarray
    rate: int
    manner: Manner
    skipped: list[int] = field(default_factory=list)


def missing_fonts() -> list[str]:
    return [DEBIAN_PACKAGES[name] for name, path in FONTS.items() if not path.exists()]


@functools.cache
def font_bytes(name: str) -> bytes:
    return cut_program(FONTS[name], PROGRAM)


def holes_together(key: int) -> list[tuple[float, ...]]:
    """The pitches of two to four neighbouring holes of a Richter harp, blown or drawn."""
    rows = [[float(key + semis) for semis in RICHTER[breath::2]] for breath in (0, 1)]
    return [
        tuple(row[hole : hole + size])
        for row in rows
        for size in (2, 3, 4)
        for hole in range(len(row) - size + 1)
    ]


def make_tune(rng: np.random.Generator, key: int, length: int, beat: float = 0.5) -> list[Written]:
    """A random tune that moves mostly by small steps over the holes, with bends and repeats."""
    notes: list[Written] = []
    at = 0.0
    hole = 4
    while len(notes) < length:
        hole = int(np.clip(hole + rng.integers(-2, 3), 1, 10))
        draw = int(rng.integers(0, 2))
        semis = RICHTER[2 * (hole - 1) + draw]
        other = RICHTER[2 * (hole - 1) + 1 - draw]
        depth = 0
        if semis - other > 1 and rng.random() < 0.45:
            depth = int(rng.integers(1, semis - other))
        beats = float(rng.choice([0.5, 0.5, 1, 1, 1.5, 2]))
        for _ in range(2 if rng.random() < 0.15 else 1):
            notes.append(Written(at, at + beats * beat, key + semis - depth, depth > 0))
            at += beats * beat
        if rng.random() < 0.08:
            at += beat
    return notes[:length]


def perform(rng: np.random.Generator, written: list[Written], manner: Manner) -> Take:
    """Play the tune in that manner (no sound yet)."""
    n = len(written)
    skip, wrong, extra = _slips(rng, written, manner)
    order: list[tuple[int, str]] = [(i, "ok") for i in range(n)]
    if manner.repeat:
        at = int(rng.integers(manner.repeat + 2, n - 2))
        order = order[:at] + [(i, "ok") for i in range(at - manner.repeat, n)]
    if manner.false_start:
        order = [(i, "ok") for i in range(manner.false_start)] + order
    last = {i: place for place, (i, _) in enumerate(order)}
    played: list[Played] = []
    now = 0.6
    phase = rng.random() * 6.28
    for place, (i, _) in enumerate(order):
        note = written[i]
        again = last[i] != place
        if place and order[place - 1][0] != i - 1 and i in (0, order[place][0]):
            now += 0.5 if order[place - 1][0] > i else 0.0
        if i in skip and not again:
            # as often as not the time goes by in silence, else the player goes straight on
            now += rng.integers(0, 2) * (note.end - note.onset) / manner.tempo
            continue
        pace = manner.tempo * (1 + manner.rubato * np.sin(phase + now * 0.9))
        length = (note.end - note.onset) / pace
        gap = min(manner.gap * length, 0.08) * (0.5 + rng.random())
        pitch, kind = note.pitch, "again" if again else "ok"
        if i in wrong and not again:
            step = int(rng.choice([-4, -3, -2, -1, 1, 2, 3, 4]))
            pitch, kind = pitch + step, "wrong"
        cents = rng.normal() * (manner.bent_spread if note.bent else manner.spread)
        cents = float(np.clip(cents, -40, 40)) * (0.3 if kind == "wrong" else 1.0)
        played.append(_note(rng, manner, now, now + length - gap, pitch, cents, i, kind))
        now += length
        following = written[i + 1].onset - note.end if i + 1 < n else 0.0
        now += following / pace
        if i in extra and not again:
            length = float(rng.uniform(0.15, 0.3))
            near = {note.pitch, written[i + 1].pitch}
            choices = [note.pitch + s for s in (-5, -4, -3, -2, -1, 1, 2, 3, 4, 5)]
            low, high = written_range(written)
            pitch = rng.choice([p for p in choices if p not in near and low <= p <= high])
            played.append(_note(rng, manner, now, now + length * 0.9, pitch, 0.0, None, "extra"))
            now += length
    return Take(written, played, np.zeros(0), RATE, manner, sorted(skip))


def _slips(
    rng: np.random.Generator, written: list[Written], manner: Manner
) -> tuple[set[int], set[int], set[int]]:
    """Notes to skip, to play wrong, and to follow by an extra one, so far apart that no other
    account has fewer slips: an extra note before two equal ones of which one is skipped is to
    any ear one wrong note."""
    taken: list[int] = []
    for i in rng.permutation(np.arange(2, len(written) - 2)).tolist():
        pitches = [note.pitch for note in written]
        if all(abs(i - j) > 2 and len(set(pitches[min(i, j) : max(i, j) + 1])) > 2 for j in taken):
            taken.append(i)
    kinds = np.cumsum([0, manner.skips, manner.wrongs, manner.extras])
    skip, wrong, extra = (set(taken[a:b]) for a, b in pairwise(kinds.tolist()))
    return skip, wrong, extra


def written_range(written: list[Written]) -> tuple[float, float]:
    """The lowest and highest pitch of the tune: an extra note is one of the same harp."""
    pitches = [note.pitch for note in written]
    return min(pitches), max(pitches)


def _note(rng, manner, onset, end, pitch, cents, index, kind) -> Played:
    note = Played(
        float(onset),
        float(end),
        float(pitch),
        cents,
        index,
        kind,
        velocity=int(rng.integers(70, 112)),
    )
    if rng.random() < manner.scoops and end - onset > 0.2:
        note = replace(
            note, scoop=float(rng.uniform(20, 60)), scoop_s=float(rng.uniform(0.05, 0.1))
        )
    elif rng.random() < manner.vibratos and end - onset > 0.4:
        note = replace(note, vibrato=float(rng.uniform(8, 25)), vibrato_hz=float(rng.uniform(4, 7)))
    return note


def midi_file(played: list[Played], tuning: float) -> bytes:
    """A MIDI file, 2000 ticks a second, each note on the next channel with its bend curve."""
    file = mido.MidiFile(type=0, ticks_per_beat=1000)
    track = mido.MidiTrack()
    file.tracks.append(track)
    events: list[tuple[int, int, mido.Message]] = []
    control = functools.partial(mido.Message, "control_change")
    for channel in CHANNELS:
        events.append((0, 0, mido.Message("program_change", program=PROGRAM, channel=channel)))
        for number, value in ((101, 0), (100, 0), (6, BEND_RANGE), (38, 0), (91, 0), (93, 0)):
            events.append((0, 0, control(control=number, value=value, channel=channel)))
    for place, note in enumerate(played):
        channel = CHANNELS[place % len(CHANNELS)]
        on, off = round(note.onset * 2000), round(note.end * 2000)
        key = round(note.pitch)

        def bend(cents: float, channel: int = channel, at: int = 0) -> mido.Message:
            value = int(np.clip(round(cents / 100 / BEND_RANGE * 8192), -8192, 8191))
            return mido.Message("pitchwheel", pitch=value, channel=channel)

        moving = note.scoop or note.vibrato
        for tick in range(on, off, 8) if moving else [on]:
            t = (tick - on) / 2000
            cents = note.cents + tuning
            if note.scoop and t < note.scoop_s:
                cents -= note.scoop * 0.5 * (1 + np.cos(np.pi * t / note.scoop_s))
            if note.vibrato:
                rise = min(1.0, t / 0.2)
                cents += note.vibrato * rise * np.sin(2 * np.pi * note.vibrato_hz * t)
            events.append((tick, 1, bend(cents)))
        message = functools.partial(mido.Message, note=key, channel=channel)
        events.append((on, 2, message("note_on", velocity=note.velocity)))
        events.append((off, 0, message("note_off", velocity=0)))
    events.sort(key=lambda event: event[:2])
    now = 0
    for tick, _, message in events:
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=2000))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def render(take: Take, rng: np.random.Generator) -> Take:
    """Sound the take: reeds, then room, noise and coding."""
    manner = take.manner
    samples, rate = reeds(take.played, manner)
    samples = np.concatenate([samples, np.zeros(rate // 2)])
    if manner.tilt:
        samples = tilted(samples, rate, manner.tilt)
    loud = np.sqrt(np.mean(samples[np.abs(samples) > 1e-4] ** 2))
    samples = samples * (0.1 / loud)
    if manner.room:
        samples = room(samples, rate, manner.room, rng)
    if manner.noise_db is not None:
        samples = samples + pink_white(rng, len(samples)) * 0.1 * 10 ** (-manner.noise_db / 20)
    if manner.coding == "aac":
        samples, rate = aac(samples, rate)
    return replace(take, samples=samples.astype(np.float32), rate=rate)


def reeds(played: list[Played], manner: Manner) -> tuple[np.ndarray, int]:
    """The notes sounded by the manner's font, or by the package's own ``voice``."""
    if manner.font == "voice":
        from tabtool.sound import voice

        sounds = [
            voice.Sound(p.onset, p.end, p.pitch + (p.cents + manner.tuning) / 100, p.velocity / 96)
            for p in played
        ]
        return voice.render(sounds, RATE), RATE
    import midirenderer

    wave = midirenderer.render_wave_from(font_bytes(manner.font), midi_file(played, manner.tuning))
    samples, rate = soundfile.read(io.BytesIO(bytes(wave)))
    return (samples.mean(axis=1) if samples.ndim > 1 else samples), rate


def tilted(samples: np.ndarray, rate: int, tilt: float) -> np.ndarray:
    """Louder by so many decibels with each octave above 440 Hz, softer below."""
    octaves = np.log2(np.maximum(np.fft.rfftfreq(len(samples), 1 / rate), 20.0) / 440)
    return np.fft.irfft(np.fft.rfft(samples) * 10 ** (tilt * octaves / 20), len(samples))


def room(samples: np.ndarray, rate: int, seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Direct sound plus exponentially decaying noise, reverberant level 6 dB under the direct."""
    t = np.arange(int(seconds * rate)) / rate
    tail = rng.normal(size=len(t)) * 10 ** (-3 * t / seconds)
    tail[: int(0.004 * rate)] = 0
    tail *= 0.5 / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    size = 1 << (len(samples) + len(tail)).bit_length()
    wet = np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(tail, size), size)
    return wet[: len(samples)]


def pink_white(rng: np.random.Generator, count: int) -> np.ndarray:
    """Noise of unit power, half white, half falling by 3 dB an octave (rooms, fans, phones)."""
    white = rng.normal(size=count)
    spectrum = np.fft.rfft(rng.normal(size=count))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 1.0))
    pink = np.fft.irfft(spectrum, count)
    return (white + pink / pink.std()) / np.sqrt(2)


def aac(samples: np.ndarray, rate: int, bits: int = 64000) -> tuple[np.ndarray, int]:
    """Through 64 kb/s AAC in an m4a file and back, as a phone would keep it."""
    import av

    from tabtool.takes import recording

    data = m4a(samples, rate, bits)
    with av.open(io.BytesIO(data)):
        pass
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.m4a"
        path.write_bytes(data)
        heard = recording.read(path)
    return heard.samples, heard.rate


def m4a(samples: np.ndarray, rate: int, bits: int = 64000) -> bytes:
    """The samples as an AAC stream in an m4a file."""
    import av

    out = io.BytesIO()
    with av.open(out, "w", format="ipod") as container:
        stream = container.add_stream("aac", rate=rate)
        stream.bit_rate = bits
        stream.layout = "mono"
        for first in range(0, len(samples), 1024):
            part = samples[first : first + 1024].astype(np.float32)[None, :]
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
            frame.sample_rate = rate
            frame.pts = first
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return out.getvalue()


@functools.cache
def calibrate(font: str, key: int) -> tuple[np.ndarray, np.ndarray]:
    """Seconds since the onset and cents from the key, of the plain note, clean.

    Per window of 50 ms the frequency that a sum of its first harmonics fits best in the least-
    squares sense (parabola through the residuals at −1, 0 and +1 cent about the best of a scan).
    """
    import midirenderer

    note = Played(0.2, 1.9, key)
    wave = midirenderer.render_wave_from(font_bytes(font), midi_file([note], 0.0))
    samples, rate = soundfile.read(io.BytesIO(bytes(wave)))
    samples = samples.mean(axis=1) if samples.ndim > 1 else samples
    base = 440 * 2 ** ((key - 69) / 12)
    size = int(0.05 * rate)
    taper = np.hanning(size)
    number = np.arange(1, max(2, min(9, int(0.45 * rate / base))))
    t = (np.arange(size) - size / 2) / rate
    times, cents = [], []

    def residual(segment: np.ndarray, offset: float) -> float:
        phase = 2 * np.pi * base * 2 ** (offset / 1200) * t[:, None] * number
        basis = np.hstack([np.cos(phase), np.sin(phase)]) * taper[:, None]
        right = basis.T @ (segment * taper)
        fit = np.linalg.solve(basis.T @ basis, right)
        return float(np.sum((segment * taper) ** 2) - right @ fit)

    for at in [*np.arange(0.03, 0.5, 0.02), *np.arange(0.5, 1.5, 0.05)]:
        first = int((0.2 + at) * rate - size / 2)
        segment = samples[first : first + size]
        scan = np.arange(-90, 31, 4.0) if at < 0.3 else np.arange(-9, 10, 3.0)
        best = scan[int(np.argmin([residual(segment, c) for c in scan]))]
        for width in (1.5, 0.5):
            a, b, c = (residual(segment, best + d) for d in (-width, 0, width))
            bow = a - 2 * b + c
            best += float(np.clip(0.5 * width * (a - c) / bow, -width, width)) if bow > 0 else 0.0
        times.append(at)
        cents.append(best)
    return np.array(times), np.array(cents)


def true_cents(note: Played, font: str) -> float:
    """What was planted, plus what the sample does over the later 60 % of the note."""
    times, cents = calibrate(font, round(note.pitch))
    length = min(note.end - note.onset, 1.5)  # from there on the sample is a loop
    part = (times >= 0.4 * length) & (times <= max(0.9 * length, 0.4 * length + 0.025))
    return note.cents + float(np.median(cents[part]))
