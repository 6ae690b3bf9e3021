"""The figures of the benchmark held to what is promised, and trackers to each other."""

from __future__ import annotations

import pytest

np = pytest.importorskip("numpy")
pytest.importorskip("midirenderer")

import takes  # noqa: E402
from takes import Manner, Played, Take  # noqa: E402

from tabtool.takes import pitchtrack, recording  # noqa: E402

fonts = pytest.mark.skipif(
    bool(takes.missing_fonts()),
    reason=f"needs the Debian packages {', '.join(takes.missing_fonts())}",
)


@fonts
def test_praat_agrees_about_single_notes() -> None:
    """An independent tracker (praat, autocorrelation after Boersma 1993) hears the same pitches
    within a cent, from the low F harp's lowest note to the C harp's highest."""
    parselmouth = pytest.importorskip("parselmouth")
    keys = (53, 60, 67, 74, 81, 88, 95)
    notes = [Played(0.3 + 0.7 * i, 0.9 + 0.7 * i, k, 7.0 * i - 20) for i, k in enumerate(keys)]
    rng = np.random.default_rng(5)
    take = takes.render(Take([], notes, np.zeros(0), takes.RATE, Manner()), rng)
    heard = recording.thin(take.samples, take.rate)
    ours = pitchtrack.track(heard.samples, heard.rate)
    theirs = parselmouth.Sound(take.samples.astype(np.float64), take.rate).to_pitch_ac(
        time_step=0.01, pitch_floor=75, pitch_ceiling=4000
    )
    hz = theirs.selected_array["frequency"]
    for note in notes:
        middles = []
        for times, pitch in (
            (ours.times, ours.pitch[:, 0]),
            (theirs.xs(), pitchtrack.midi(np.where(hz > 0, hz, np.nan))),
        ):
            inside = (times > note.onset + 0.3) & (times < note.end - 0.05)
            middles.append(float(np.nanmedian(pitch[inside])))
        assert 100 * abs(middles[0] - middles[1]) < 1.0, note.pitch


@fonts
@pytest.mark.filterwarnings("ignore")  # it asks for pkg_resources, which warns
def test_world_agrees_about_single_notes() -> None:
    """A second independent tracker (WORLD: DIO and StoneMask) hears the same pitches within two
    cents, up to the highest note it is steady at."""
    pyworld = pytest.importorskip("pyworld")
    keys = (53, 60, 67, 74, 81, 88)
    notes = [Played(0.3 + 0.7 * i, 0.9 + 0.7 * i, k, 7.0 * i - 20) for i, k in enumerate(keys)]
    rng = np.random.default_rng(6)
    take = takes.render(Take([], notes, np.zeros(0), takes.RATE, Manner()), rng)
    heard = recording.thin(take.samples, take.rate)
    ours = pitchtrack.track(heard.samples, heard.rate)
    samples = take.samples.astype(np.float64)
    coarse, times = pyworld.dio(samples, take.rate, 75, 4000, frame_period=10.0)
    hz = pyworld.stonemask(samples, coarse, times, take.rate)
    theirs = pitchtrack.midi(np.where(hz > 0, hz, np.nan))
    for note in notes:
        middles = []
        for at, pitch in ((ours.times, ours.pitch[:, 0]), (times, theirs)):
            inside = (at > note.onset + 0.3) & (at < note.end - 0.05)
            middles.append(float(np.nanmedian(pitch[inside])))
        assert 100 * abs(middles[0] - middles[1]) < 2.0, note.pitch


@fonts
@pytest.mark.long
def test_the_whole_benchmark() -> None:
    """All conditions of takebench.py; the limits are those promised for takes rendered from
    sampled reeds: `python tests/takebench.py` prints the table."""
    import takebench

    whole = takebench.Figures()
    noisy = takebench.Figures()
    print("\n" + takebench.HEAD)
    for name in takebench.CONDITIONS:
        figures = takebench.figures_of(name)
        print(takebench.line_of(name, figures))
        for fault in figures.faults:
            print(f"    {fault}")
        for into in (whole, noisy) if "noise" in name else (whole,):
            into.error += figures.error
            into.bent += figures.bent
            into.onset += figures.onset
            into.counts.update(figures.counts)
    assert np.median(np.abs(whole.error)) <= 0.1
    assert np.percentile(np.abs(whole.error), 95) <= 1.5
    assert np.percentile(np.abs(whole.bent), 95) <= 1.0
    assert np.percentile(np.abs(noisy.error), 95) <= 3.0
    assert whole.share("ok named", "ok") >= 0.995
    for kind in ("wrong", "missing", "extra", "again"):
        assert whole.counts[f"{kind} named"] == whole.counts[kind] > 0, kind
    assert whole.counts["false extra"] == 0
    assert np.percentile(np.abs(whole.onset), 95) <= 15
