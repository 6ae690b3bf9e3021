"""The tab as written: a tune is its lines, in order, and nothing else.

Everything the player typed is here (comments, blank lines, the place of every
token), nothing that follows from the harp: pitches, onsets and repeats played out
belong to `resolve`. Shares of a beat nest: a `Beat` holds one share, or several of
equal length; a `Split` divides one share again.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple, TypeAlias

from tabtool.diagnostics import Span
from tabtool.harp import Tone


class Marks(NamedTuple):
    """Expressive marks: they decorate a note and never change which note it is.

    `scoop`, `fall` and `dip` count semitones at most; one means as far as the reed
    gives, up to a semitone. The rest are on or off.
    """

    scoop: int = 0  # /    bent at the start, released up into the note
    fall: int = 0  # \    bent away at the end
    dip: int = 0  # \/   down and back in the middle
    vibrato: bool = False  # ~
    accent: bool = False  # !
    staccato: bool = False  # ;
    wah: bool = False  # @    hands opened and closed

    @property
    def bends(self) -> int:
        """The deepest expressive bend asked for, in semitones."""
        return max(self.scoop, self.fall, self.dip)

    @property
    def after(self) -> str:
        """The signs that stand behind the note, in canonical order."""
        return (
            "\\" * self.dip
            + "/" * bool(self.dip)
            + "~" * self.vibrato
            + "!" * self.accent
            + ";" * self.staccato
            + "@" * self.wah
            + "\\" * self.fall
        )


PLAIN = Marks()


class Figure(NamedTuple):
    """What one note token says: the holes, how they are played, and its marks.

    Several `tones` sound together; a `shake` alternates between the tone and the
    tone of another hole; `grace` figures come quickly before.
    """

    tones: tuple[Tone, ...]
    marks: Marks = PLAIN
    shake: Tone | None = None
    grace: tuple["Figure", ...] = ()

    @property
    def all_tones(self) -> tuple[Tone, ...]:
        """The tones of the note itself, the shake's second among them, graces apart."""
        return self.tones if self.shake is None else (*self.tones, self.shake)

    @property
    def token(self) -> str:
        """The note in canonical notation."""
        grace = "{" + ",".join(figure.token for figure in self.grace) + "}" if self.grace else ""
        body = ""
        tones = self.all_tones
        join = "+" if self.shake is None else "~"
        for tone, after in zip(tones, (*tones[1:], None), strict=True):
            shared = after is not None and after.arrow == tone.arrow
            body += str(tone.hole) + ("" if shared else tone.arrow) + (join if after else "")
        return grace + "/" * self.marks.scoop + body + self.marks.after


class Note(NamedTuple):
    """A figure at its place in the text; `symbol` is an accompaniment chord beginning here."""

    figure: Figure
    span: Span
    symbol: str = ""


class Rest(NamedTuple):
    """Silence."""

    span: Span
    symbol: str = ""


class Hold(NamedTuple):
    """Whatever sounded before goes on."""

    span: Span
    symbol: str = ""


class Broken(NamedTuple):
    """A place that could not be read; it keeps its share of the beat, so the bar still counts.

    `counted` is false where it may have been any number of beats or notes.
    """

    span: Span
    symbol: str = ""
    counted: bool = True


class Split(NamedTuple):
    """One share divided evenly again."""

    parts: tuple["Share", ...]
    span: Span
    symbol: str = ""


Share: TypeAlias = Note | Rest | Hold | Broken | Split


class Beat(NamedTuple):
    """One tap of the foot, in equal parts."""

    parts: tuple[Share, ...]
    span: Span


class Barline(NamedTuple):
    """A bar line: ``|``, ``||``, ``|]``, repeats, and the number of an ending that begins."""

    opens: bool = False  # |:  a repeated passage begins
    closes: bool = False  # :|  back to where it began
    double: bool = False  # ||
    final: bool = False  # |]
    ending: int = 0  # |1  first ending

    @property
    def token(self) -> str:
        line = "|]" if self.final else "||" if self.double else "|"
        return ":" * self.closes + line + ":" * self.opens + (str(self.ending or ""))


class Bar(NamedTuple):
    """The beats between two bar lines; None where the player wrote no line."""

    before: Barline | None
    beats: tuple[Beat, ...]
    after: Barline | None
    span: Span


class HeaderLine(NamedTuple):
    """``name: value``; `value` is canonical text, `parsed` its meaning (see `header`).

    Where the value could not be read, `value` is as typed and `parsed` is None.
    """

    name: str
    value: str
    parsed: object
    span: Span  # of the value
    comment: str = ""


class SectionLine(NamedTuple):
    """``[head]``."""

    name: str
    span: Span
    comment: str = ""


class MusicLine(NamedTuple):
    """A line of bars. Neighbouring bars share the bar line between them."""

    bars: tuple[Bar, ...]
    span: Span
    comment: str = ""


class LyricLine(NamedTuple):
    """Syllables for the notes of the line of bars above, with their places."""

    syllables: tuple[tuple[str, Span], ...]
    span: Span
    comment: str = ""


class CommentLine(NamedTuple):
    """A whole line of comment, its ``#`` included."""

    comment: str
    span: Span


class BlankLine(NamedTuple):
    """An empty line."""

    span: Span


class UnreadLine(NamedTuple):
    """A line that is no part of the notation; a diagnostic tells of it."""

    span: Span


Line: TypeAlias = (
    HeaderLine | SectionLine | MusicLine | LyricLine | CommentLine | BlankLine | UnreadLine
)


class Tune(NamedTuple):
    """A whole file, line by line."""

    lines: tuple[Line, ...]
    file: str = "tune"

    def header(self, name: str) -> str:
        """The first value of a header line; empty where there is none."""
        for line in self.lines:
            if isinstance(line, HeaderLine) and line.name == name:
                return line.value
        return ""

    @property
    def title(self) -> str:
        return self.header("title")

    def notes(self) -> Iterator[Note]:
        """Every note in written order."""
        for line in self.lines:
            if isinstance(line, MusicLine):
                for bar in line.bars:
                    for beat in bar.beats:
                        yield from notes_of(beat.parts)


def undivided(parts: Sequence[Share]) -> Iterator[Share]:
    """The shares among parts that are not divided again, in order."""
    for part in parts:
        if isinstance(part, Split):
            yield from undivided(part.parts)
        else:
            yield part


def notes_of(parts: Sequence[Share]) -> Iterator[Note]:
    """The notes among shares, splits opened."""
    return (part for part in undivided(parts) if isinstance(part, Note))
