"""Folk tunes by the thousand: choose a harp, find the holes, check, and compare every pitch.

The tunes are the single-line ones of the collections of Aird (1778-1803), Ryan and O'Neill
that come with music21, read by its ABC reader. They are put on a sixteen-hole chromatic,
which has every pitch of them, and moved from there to the harp that plays them best at their
own pitch. A sample is run every day, all of them with `-m long -s`, which prints the counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tabtool.diagnostics import Level
from tabtool.holes.fingering import choose, hands
from tabtool.holes.melody import melody
from tabtool.holes.passage import Passage, Want
from tabtool.holes.ranking import Rated, every_harp, rank
from tabtool.holes.retab import Keep, Request, retab
from tabtool.load import load
from tabtool.player import Player
from tabtool.tunings import STANDARD_KEYS, TUNINGS, make_harp

RICHTER = TUNINGS["Richter"]
ALL_REGISTERS = every_harp([RICHTER])
STANDARD = [harp for harp in ALL_REGISTERS if harp.key in STANDARD_KEYS]
CHROMATIC = make_harp("C", TUNINGS["chromatic 16"])
BENDS_ONLY = Player(overbends=False)
GRACE_S, QUARTER_S = 0.07, 0.5
BEYOND = Path(__file__).with_name("folk_tunes_beyond_bends.txt")


class Air(NamedTuple):
    """A tune as music21 reads it: MIDI numbers, and seconds from each note to the next."""

    name: str
    pitches: tuple[int, ...]
    times: tuple[float, ...]


def airs(paths: list[str]) -> Iterator[Air]:
    """The single-line tunes of ABC files: no chord of two notes, no second part."""
    abc = pytest.importorskip("music21.abcFormat")
    pitch = pytest.importorskip("music21.pitch")
    for path in paths:
        handler = abc.ABCHandler()
        handler.process(Path(path).read_text(encoding="utf-8", errors="replace"))
        for number, tune in handler.splitByReferenceNumber().items():
            pitches: list[int] = []
            times: list[float] = []
            single, tied = True, False
            for token in tune.tokens:
                if isinstance(token, abc.ABCChord):
                    if len(token.subTokens) > 1:
                        single = False
                        break
                    notes = token.subTokens
                elif isinstance(token, abc.ABCNote):
                    notes = [token]
                else:
                    tied = tied or isinstance(token, abc.ABCTie)
                    continue
                for note in notes:
                    seconds = GRACE_S if note.inGrace else (note.quarterLength or 0.25) * QUARTER_S
                    if note.isRest:
                        if times:
                            times[-1] += seconds
                        tied = False
                        continue
                    midi = pitch.Pitch(note.pitchName).midi
                    if tied and pitches and pitches[-1] == midi:
                        times[-1] += seconds
                    else:
                        pitches.append(midi)
                        times.append(seconds)
                    tied = False
            if single and pitches and len(tune.splitByVoice()) <= 1:
                yield Air(
                    f"{Path(path).parent.name}/{Path(path).stem} {int(number)}",
                    tuple(pitches),
                    tuple(times),
                )


def collection() -> list[str]:
    corpora = pytest.importorskip("music21.corpus.corpora")
    folders = ("airdsAirs", "ryansMammoth", "oneills1850")
    paths = [str(path) for path in corpora.CoreCorpus().getPaths()]
    return sorted(path for path in paths if any(folder in path for folder in folders))


class Outcome(NamedTuple):
    best: Rated
    overbends: int
    lost: int
    wrong: int
    flagged: int


def taken_through(air: Air, player: Player) -> Outcome:
    """Choose the harp, find the holes, check, and compare."""
    assert CHROMATIC is not None
    start = choose(air.pitches, CHROMATIC, times=air.times)
    assert None not in start
    tokens = [tone.token for tone in start if tone]
    lines = [" ".join(tokens[at : at + 12]) for at in range(0, len(tokens), 12)]
    text = "harp: C\ntuning: chromatic 16\nmeter: free\n\n" + "\n".join(lines) + "\n"
    loaded = load(text)
    best = rank([melody(loaded.score.events)], ALL_REGISTERS, player)[0]
    move = retab(loaded, text, Request(Keep.SOUND, best.harp.key, RICHTER, "Richter"), player)
    events = move.loaded.score.events
    sounded = [event.pitches[0] for event in events]
    errors = {d.span for d in move.loaded.diagnostics if d.level is Level.ERROR}
    assert move.loaded.playable is (best.impossible == 0)
    return Outcome(
        best,
        sum(event.figure.tones[0].overbent for event in events),
        abs(len(sounded) - len(air.pitches)),
        sum(one != two for one, two in zip(sounded, air.pitches, strict=False)),
        len(errors),
    )


def bends_alone_will_do(air: Air, harps: list) -> bool:
    """Whether who bends and does not overbend can play it at its own pitch on one of the harps."""
    played = hands(RICHTER, BENDS_ONLY)
    passage = Passage([Want((pitch,)) for pitch in dict.fromkeys(air.pitches)])
    return any(played.rate(passage, harp.root)[0] == 0 for harp in harps)


def sample() -> list[str]:
    paths = collection()
    ryan = [path for path in paths if "ryansMammoth" in path]
    books = [path for path in paths if path.endswith(("book3.abc", "0101-0150.abc"))]
    return books + ryan[::40]


def test_the_reader_s_tokens_are_the_notes_of_its_scores() -> None:
    """Oracle: music21's own scores of the same tunes, ties taken together."""
    converter = pytest.importorskip("music21.converter")
    compared = 0
    for path in [path for path in collection() if "ryansMammoth" in path][::120]:
        score = converter.parse(path).stripTies()
        for air in airs([path]):  # none where it has chords
            compared += 1
            assert [note.pitch.midi for note in score.flatten().notes] == list(air.pitches)
    assert compared >= 6


def test_a_sample_of_folk_tunes_loses_nothing(benchmark: BenchmarkFixture) -> None:
    tunes = list(airs(sample()))[::3]
    assert len(tunes) >= 60
    for air in tunes:
        for player in (Player(), BENDS_ONLY):
            outcome = taken_through(air, player)
            assert (outcome.lost, outcome.wrong) == (0, 0), air.name
            assert (outcome.flagged > 0) is (outcome.best.impossible > 0), air.name
        assert (outcome.best.impossible == 0) is bends_alone_will_do(air, ALL_REGISTERS), air.name
    benchmark.pedantic(taken_through, args=(tunes[0], Player()), rounds=3)


@pytest.mark.long
def test_every_folk_tune_loses_nothing() -> None:
    """What needs overbends, and what bends alone cannot play, is counted and named."""
    tunes = list(airs(collection()))
    counts: Counter[str] = Counter(tunes=len(tunes), notes=sum(len(a.pitches) for a in tunes))
    beyond: list[str] = []
    for air in tunes:
        outcome = taken_through(air, Player())
        counts["lost"] += outcome.lost
        counts["wrong"] += outcome.wrong
        counts["impossible on every harp"] += outcome.best.impossible > 0
        counts["overbends on the best harp"] += outcome.overbends > 0
        counts["need overbends on any register"] += not bends_alone_will_do(air, ALL_REGISTERS)
        if not bends_alone_will_do(air, STANDARD):
            beyond.append(air.name)
    counts["beyond bends on the twelve standard harps"] = len(beyond)
    print(*(f"{count:7} {name}" for name, count in counts.items()), sep="\n")
    assert counts["tunes"] == 4140
    assert counts["lost"] == counts["wrong"] == counts["impossible on every harp"] == 0
    assert beyond == BEYOND.read_text().splitlines()
