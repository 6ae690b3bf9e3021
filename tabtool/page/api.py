"""What the page may ask for: the commands' own calls, JSON in and JSON out.

Each function takes the desk and the body of a request and hands back what is sent;
`TabError` is the user's mistake in plain words, `folder.Changed` a file that is another
on disk than the page believes. Nothing here knows of the web.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Callable

from tabtool import canonical
from tabtool.bars import Known
from tabtool.diagnostics import TabError
from tabtool.files import decode
from tabtool.fixes import Fixes
from tabtool.header import FIELDS
from tabtool.holes.ranking import every_harp
from tabtool.load import SUFFIX, Loaded, load
from tabtool.music import MODES, parse_key
from tabtool.page.folder import LARGEST_TUNE, Folder
from tabtool.page.formats import FORMATS, brought_in
from tabtool.page.formats import export as export_as
from tabtool.page.keep import Kept, harp_named, kept_of, load_kept, save_kept
from tabtool.page.moving import Wish, best_harps, layouts_for
from tabtool.page.moving import move as moved
from tabtool.page.play import sounds, voice
from tabtool.page.takes import judge, write_down
from tabtool.page.view import Json, needs, view
from tabtool.player import Player
from tabtool.readers import SUFFIXES, Choice
from tabtool.readers.stacks import LINES
from tabtool.report import as_rows, summary
from tabtool.scores.spellings import SPELLINGS
from tabtool.tunings import REGISTERS, STANDARD_KEYS, TUNINGS

LARGEST_IMPORT = 4_500_000  # characters of base 64
LARGEST_TAKE = 60_000_000  # the same: four minutes of uncompressed sound, an hour of any other
MOST_FIXED = 60  # findings that get mends; a text with more has other worries


class Desk:
    """What requests share: the opened folder, what is kept, what was found of each tune."""

    def __init__(self, folder: Folder, kept_path: str) -> None:
        self.folder = folder
        self.kept_path = kept_path
        self.kept = load_kept(kept_path)
        self.known: Known = {}
        self.last: tuple[tuple[str, str, Kept], Loaded] | None = None
        self.needs: dict[str, tuple[tuple[int, int, Player], Json]] = {}

    def load(self, body: Json) -> tuple[Loaded, str]:
        """The tune of a request: its text, and the path it has or will have."""
        text = text_of(body, "text", LARGEST_TUNE)
        path = text_of(body, "path", 400, "") or "tune"
        folder = self.folder.root
        if path != "tune":
            folder = os.path.dirname(self.folder.real(path))
        key = text, path, self.kept
        last = self.last
        if last is None or last[0] != key:
            loaded = load(
                text,
                path,
                folder=folder,
                player=self.kept.player,
                within=self.folder.root,
                known=self.known,
            )
            last = self.last = key, loaded
        return last[1], text


def text_of(body: Json, name: str, limit: int, default: str | None = None) -> str:
    """A text of the request; `TabError` if it is missing or too long."""
    value = body.get(name, default)
    if not isinstance(value, str):
        raise TabError(f"the request has no text '{name}'")
    if len(value) > limit:
        raise TabError(f"'{name}' is longer than {limit:,} characters")
    return value


def number_of(body: Json, name: str, default: float) -> float:
    """A number of the request; `TabError` if it is none."""
    value = body.get(name, default)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise TabError(f"'{name}' is no number")
    return float(value)


def start(desk: Desk, body: Json) -> Json:
    """What the page needs once: the words it can complete, what is kept."""
    return {
        "folder": os.path.basename(desk.folder.root),
        "suffix": SUFFIX,
        "kept": kept_json(desk.kept),
        "headers": {name: field.example for name, field in FIELDS.items()},
        "values": {
            "harp": [
                f"{where} {key}".strip() for where in ("", "low", "high") for key in STANDARD_KEYS
            ],
            "tuning": [*TUNINGS, "half-valved Richter"],
            "key": [f"{key}{mode}" for mode in ("", " minor") for key in STANDARD_KEYS]
            + [f"D {mode}" for mode in MODES if mode not in ("major", "minor")],
            "meter": ["4/4", "3/4", "2/4", "6/8", "9/8", "12/8", "2/2", "free"],
            "feel": ["straight", "shuffle", "swing 3:2"],
            "tempo": ["60", "72", "84", "96", "108", "120", "132", "144"],
            "pitch": ["440", "442", "443"],
        },
        "exports": [[form, what] for form, (what, _) in FORMATS.items()],
        "imports": [*SUFFIXES, SUFFIX],
        "spellings": [[one.name, one.meaning] for one in SPELLINGS.values()],
        "lines": list(LINES.items()),
        "keys": list(STANDARD_KEYS),
        "registers": list(REGISTERS),
        "tunings": list(TUNINGS),
    }


def library(desk: Desk, body: Json) -> Json:
    """Every tune of the folder with what it needs; a tune that has not changed is not reread."""
    rows = []
    for path in desk.folder.tunes():
        real = desk.folder.real(path)
        try:
            stat = os.stat(real)
            mark = (stat.st_mtime_ns, stat.st_size, desk.kept.player)
            known = desk.needs.get(path)
            if known is None or known[0] != mark:
                opened = desk.folder.open(path)
                loaded = load(
                    opened.text,
                    path,
                    folder=os.path.dirname(real),
                    player=desk.kept.player,
                    within=desk.folder.root,
                )
                known = desk.needs[path] = mark, needs(loaded)
            rows.append({"path": path, **known[1]})
        except (TabError, OSError) as error:
            reason = str(error) if isinstance(error, TabError) else "cannot be read"
            rows.append({"path": path, "title": "", "unreadable": reason})
    return {"tunes": rows}


def open_tune(desk: Desk, body: Json) -> Json:
    """A tune's text and the digest of the version read."""
    opened = desk.folder.open(text_of(body, "path", 400))
    return {**opened._asdict()}


def save_tune(desk: Desk, body: Json) -> Json:
    """Write a tune; `seen` is the digest it was opened with, null for a new file."""
    seen = body.get("seen")
    if seen is not None and not isinstance(seen, str):
        raise TabError("'seen' is a digest or null")
    line_end = "\r\n" if body.get("line_end") == "\r\n" else "\n"
    text = text_of(body, "text", LARGEST_TUNE)
    saved = desk.folder.save(text_of(body, "path", 400), text, seen, line_end)
    return {"path": saved.path, "digest": saved.digest}


def check(desk: Desk, body: Json) -> Json:
    """The findings of `check` with their mends."""
    loaded, text = desk.load(body)
    mends = Fixes(text, loaded, desk.kept.player)
    problems = as_rows(loaded.diagnostics)
    for row, found in zip(problems[:MOST_FIXED], loaded.diagnostics, strict=False):
        row["fixes"] = [
            {
                "title": fix.title,
                "edits": [
                    {
                        "line": edit.span.line,
                        "column": edit.span.column,
                        "end_column": edit.span.end_column,
                        "text": edit.text,
                    }
                    for edit in fix.edits
                ],
            }
            for fix in mends.of(found)
        ]
    return {"problems": problems, "summary": summary(loaded)}


def draw(desk: Desk, body: Json) -> Json:
    """The tune to draw."""
    loaded, _ = desk.load(body)
    return {**view(loaded), "needs": needs(loaded)}


def play(desk: Desk, body: Json) -> Json:
    """The tune to sound, at `speed` times its tempo."""
    loaded, _ = desk.load(body)
    return sounds(loaded.score, number_of(body, "speed", 1.0))


def reeds(desk: Desk, body: Json) -> Json:
    """The voice of the page's synthesizer."""
    return voice()


def tidy(desk: Desk, body: Json) -> Json:
    """The tune in its canonical layout."""
    loaded, _ = desk.load(body)
    if not loaded.readable:
        raise TabError("part of the tune is not understood; mend the errors first")
    return {"text": canonical.write(loaded.tune)}


def export(desk: Desk, body: Json) -> Json:
    """The tune as a file of another format, in base 64."""
    loaded, _ = desk.load(body)
    suffix = text_of(body, "format", 20)
    made = export_as(loaded, suffix)
    return {
        "data": base64.b64encode(made.data).decode(),
        "suffix": f".{made.suffix or suffix}",
        "lost": list(made.lost),
    }


def move(desk: Desk, body: Json) -> Json:
    """The tune on another harp, in another key: before and after, nothing changed yet."""
    loaded, text = desk.load(body)
    faults = [row for row in loaded.diagnostics if row.rule.reads]
    if faults:
        raise TabError(f"line {faults[0].span.line}: {faults[0].message}; mend that first")
    fields = {name: text_of(body, name, 60, default) for name, default in _WISH.items()}
    path = text_of(body, "path", 400, "")
    real = desk.folder.real(path) if path else os.path.join(desk.folder.root, "tune")
    return moved(loaded, text, Wish(**fields), desk.kept.player, real)


def harps(desk: Desk, body: Json) -> Json:
    """The best harps for the tune: of the player's own, of every tuning, or of its own tuning
    and Richter."""
    loaded, _ = desk.load(body)
    own = [harp_named(name) for name in desk.kept.harps] if body.get("own") else []
    if body.get("own") and not own:
        raise TabError("no harps of yours are named yet; name them under Player")
    every, any_key = bool(body.get("every")), bool(body.get("any_key"))
    return {
        "harps": best_harps(
            loaded, desk.kept.player, own or every_harp(layouts_for(loaded, every)), any_key
        )
    }


def bring_in(desk: Desk, body: Json) -> Json:
    """A score, or tab typed by hand, as the text of a new tune, with what was lost on the way."""
    name, data = _upload(body, LARGEST_IMPORT)
    if name.endswith(SUFFIX):
        return {"text": decode(data, name), "told": []}
    which = [text_of(body, part, 200, "") for part in ("part", "voice", "tune")]
    harp, spelling, lines = (text_of(body, part, 60, "") for part in ("harp", "spelling", "lines"))
    return brought_in(data, name, Choice(*which), harp, spelling, lines)


def take(desk: Desk, body: Json) -> Json:
    """The report on a recording of the tune; with ``harp``, the recording as a new tune's text."""
    name, data = _upload(body, LARGEST_TAKE)
    harp = text_of(body, "harp", 60, "")
    if harp:
        return write_down(data, name, harp_named(harp))
    loaded, _ = desk.load(body)
    if not loaded.readable:
        raise TabError("part of the tune is not understood; mend the errors first")
    return judge(loaded, data, name)


def _upload(body: Json, limit: int) -> tuple[str, bytes]:
    """The name, without any folder, and the bytes of a file in base 64."""
    name = os.path.basename(text_of(body, "name", 200).replace("\\", "/")) or "file"
    try:
        return name, base64.b64decode(text_of(body, "data", limit), validate=True)
    except ValueError:
        raise TabError("the file did not arrive whole") from None


def practise(desk: Desk, body: Json) -> Json:
    """A page of drills for a harp as the text of a tune, or a worksheet with its answers."""
    from tabtool import drills

    harp = harp_named(text_of(body, "harp", 60))
    player = desk.kept.player
    seed = int(number_of(body, "seed", 1)) % 1_000_000
    if body.get("worksheet"):
        sheet = drills.worksheet(harp, player, seed=seed)
        return {"questions": drills.as_questions(sheet), "answers": drills.as_answers(sheet)}
    bends = drills.find_bends(harp, player, text_of(body, "bends", 200, ""))
    key = parse_key(text_of(body, "key", 20, "")) or drills.home_key(harp)
    made = drills.page(drills.Drill(harp, bends, key, player=player, seed=seed))
    return {"text": made.text, "title": made.title}


def keep(desk: Desk, body: Json) -> Json:
    """Keep the player's abilities and harps on this machine."""
    kept = kept_of(body)
    save_kept(desk.kept_path, kept)
    desk.kept = kept
    return {"kept": kept_json(kept)}


def kept_json(kept: Kept) -> Json:
    """What is kept, as the page shows it."""
    return {"abilities": kept.abilities, "harps": list(kept.harps)}


_WISH = Wish()._asdict()

CALLS: dict[str, Callable[[Desk, Json], Json]] = {
    "start": start,
    "library": library,
    "open": open_tune,
    "save": save_tune,
    "check": check,
    "draw": draw,
    "play": play,
    "reeds": reeds,
    "tidy": tidy,
    "export": export,
    "move": move,
    "harps": harps,
    "import": bring_in,
    "practise": practise,
    "take": take,
    "keep": keep,
}
