"""Speed and memory, each as a ratio to something measured in the same run.

The figures are printed with the benchmarks (extra_info); nothing here fails on a time alone.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tabtool.load import load

TOKENS = ("2v", "3v", "4v", "4^", "5^", "5v", "6^", "6v", "3v1", "2v2", "4v1", "3v2", "2^", "1v")


def tune_of(notes: int) -> str:
    """A tune of so many notes, the same each time: four bars a line, one to three notes a beat."""
    dice = random.Random(1)
    lines = ["title: long", "harp: C", "tempo: 100", "", "[all of it]"]
    written = 0
    while written < notes:
        bars = []
        for _ in range(4):
            beats = []
            for _ in range(4):
                count = min(dice.choice((1, 1, 2, 2, 3)), max(1, notes - written))
                beats.append(",".join(dice.choice(TOKENS) for _ in range(count)))
                written += count
            bars.append(" ".join(beats))
        lines.append("| " + " | ".join(bars) + " |")
    return "\n".join(lines) + "\n"


def seconds(command: list[str], env: dict[str, str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, env=env, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def test_check_starts_at_once(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """`tabtool check` on a song of 100 notes, cold, is at most ten bare interpreters."""
    song = tmp_path / "song.harptab"
    song.write_text(tune_of(100))
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)  # else every source is compiled anew each time
    # What the installed command runs.
    command = "import sys; from tabtool.cli import main; sys.exit(main())"
    check = [sys.executable, "-c", command, "check", str(song)]
    bare = [sys.executable, "-c", "pass"]
    seconds(check, env)
    ratio, pairs = 99.0, list[tuple[float, float]]()
    while ratio > 10 and len(pairs) < 100:  # a busy machine needs more tries to find a quiet moment
        pairs += [(seconds(check, env), seconds(bare, env)) for _ in range(25)]
        ratio = min(ours for ours, _ in pairs) / min(theirs for _, theirs in pairs)
    benchmark.pedantic(seconds, args=(check, env), rounds=5)
    benchmark.extra_info["times a bare interpreter"] = round(ratio, 1)
    assert ratio <= 10


def test_reading_a_long_tune_against_music21(benchmark: BenchmarkFixture) -> None:
    """parse + resolve + check: at least ten times the notes a second music21 reads from ABC."""
    converter = pytest.importorskip("music21.converter")
    notes = 2000
    dice = random.Random(1)
    bars = ["".join(dice.choice("CDEFGABcdefg") for _ in range(8)) for _ in range(notes // 8)]
    abc = "X:1\nT:long\nM:4/4\nL:1/8\nK:C\n" + "|\n".join(bars) + "|\n"
    start = time.process_time()
    stream = converter.parse(abc, format="abc")
    theirs = len(stream.flatten().notes) / (time.process_time() - start)
    text = tune_of(notes)
    load(text)
    start = time.process_time()
    for _ in range(3):
        load(text)
    ours = 3 * notes / (time.process_time() - start)
    benchmark.pedantic(load, args=(text,), rounds=5)
    benchmark.extra_info["times music21's notes a second"] = round(ours / theirs, 1)
    assert ours / theirs >= 10


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from /proc")
def test_cost_is_linear_and_memory_bounded(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """From 1,000 to 100,000 notes the cost of a note stays alike; 400 MB hold them all."""
    short = tune_of(1000)
    load(short)
    start = time.process_time()
    for _ in range(20):
        load(short)
    each = (time.process_time() - start) / 20_000
    path = tmp_path / "long.harptab"
    path.write_text(tune_of(100_000))
    code = (
        "import sys, time\n"
        "from tabtool.load import load\n"
        "text = open(sys.argv[1]).read()\n"
        "load('harp: C\\n| 4v 4v 4v 4v |')\n"
        "start = time.process_time()\n"
        "loaded = load(text)\n"
        "assert len(loaded.score.events) >= 100_000\n"
        "print(time.process_time() - start)\n"
        # Not getrusage: its peak takes in that of the process which started this one.
        "print(*[line.split()[1] for line in open('/proc/self/status') if 'VmHWM' in line])\n"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    out = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True, env=env
    ).stdout.split()
    long_each, megabytes = float(out[0]) / 100_000, int(out[1]) / 1024
    benchmark.pedantic(load, args=(short,), rounds=5)
    benchmark.extra_info["cost of a note, 100,000 to 1,000"] = round(long_each / each, 2)
    benchmark.extra_info["peak MB at 100,000 notes"] = round(megabytes)
    assert long_each / each < 2.5
    assert megabytes < 400
