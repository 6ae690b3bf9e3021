"""The page from end to end in a real browser: Debian's chromium, headless.

Accessibility is judged by axe-core; frequencies heard are compared with the equal
tempered scale on A4 = 440 Hz (ISO 16:1975), worked out here anew.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tabtool.load import load

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if CHROMIUM is None:
    pytest.skip("needs chromium (Debian: apt-get install chromium)", allow_module_level=True)
pytest.importorskip("starlette", reason="the page needs starlette")
playwright = pytest.importorskip("playwright.sync_api", reason="needs playwright")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe")

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
    "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",  # a beeping microphone
]  # fmt: skip
TUNE = """title: Kettle on the Boil
harp: C
key: G
tempo: 120
meter: 4/4

[head]
|: 2v /4v,4v1 3v2 2v | "G7"4^ -,5v~ 6^^ 6^!,6v | 2v - 3v3 4^ | 2v . . . :|
lyric: Ket- tle on the boil | and it sings | a- way _ | now
| 2+3+4v - 4~5v - | {5v}6v 8^1 9^ 10^2\\ |
"""
# Every tone started, as the page itself asks the browser for it.
LISTEN = """
window.heard = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (at) {
  window.heard.push([this.type, this.frequency.value, at]);
  return start.call(this, at);
};
"""


@pytest.fixture(scope="module")
def songs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page") / "songs"
    folder.mkdir()
    return folder


@pytest.fixture(scope="module")
def address(songs: Path) -> Iterator[str]:
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path),
           "XDG_CONFIG_HOME": str(songs.parent / "config")}  # fmt: skip
    command = [sys.executable, "-m", "tabtool", "page", str(songs), "--port", "0", "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env)
    assert process.stdout is not None
    yield process.stdout.readline().split()[4]
    process.terminate()
    process.wait(10)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()


@pytest.fixture
def page(browser: Browser, address: str, songs: Path) -> Iterator[Page]:
    for old in songs.glob("*.harptab"):
        old.unlink()
    (songs / "kettle.harptab").write_text(TUNE)
    context = browser.new_context(viewport={"width": 1280, "height": 860}, accept_downloads=True)
    page = context.new_page()
    page.add_init_script(LISTEN)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.set_default_timeout(15_000)
    yield page
    context.close()
    # It works offline: nothing is fetched but from the program itself.
    own = (address, "blob:", "data:", "about:", "http://127.0.0.1:9/")
    assert not [url for url in asked if not url.startswith(own)]
    # A refusal that a test provokes is logged by the browser; nothing else may be.
    provoked = re.compile("status of 4|Content Security Policy|TrustedScript|ERR_")
    assert not [fault for fault in faults if not provoked.search(fault)]


def opened(page: Page, address: str, path: str = "kettle.harptab") -> Page:
    page.goto(f"{address}#{path}" if path else address)
    page.wait_for_selector("body[data-ready][data-looked]")
    return page


def text_of(page: Page) -> str:
    lines = page.locator(".cm-line").all_inner_texts()
    return "\n".join(line.rstrip("\n") for line in lines)


def write(page: Page, text: str) -> None:
    """Type a whole tune over what stands there."""
    page.locator(".cm-content").click()
    page.keyboard.press("Control+a")
    page.keyboard.insert_text(text)


def until(page: Page, condition: str) -> None:
    """Wait for a condition of the page; its own policy forbids the driver to wait there."""
    end = time.monotonic() + 15
    while not page.evaluate(condition):
        assert time.monotonic() < end, condition
        page.wait_for_timeout(30)


def hz(midi: float) -> float:
    return float(440 * 2 ** ((midi - 69) / 12))


def test_write_mend_move_play_save_reload(page: Page, address: str, songs: Path) -> None:
    """A tune with a mistake is written, mended, moved to another harp, heard, saved, reloaded."""
    opened(page, address, "")
    text = "title: Draughty Lane\nharp: C\nkey: C\ntempo: 200\n\n| 4^ 4v2 5^ 6^ | 7^ - - - |\n"
    write(page, text)
    error = page.locator("#list li.error")
    playwright.expect(error).to_have_count(1)
    (finding,) = [d for d in load(text).diagnostics if d.level == "error"]
    playwright.expect(error).to_contain_text(finding.message)  # the very words of `check`
    playwright.expect(error).to_contain_text(finding.help)
    playwright.expect(page.locator(".cm-lintRange-error")).to_have_text("4v2")
    error.get_by_role("button", name="write 4v1").click()
    playwright.expect(error).to_have_count(0)
    assert "| 4^ 4v1 5^ 6^ | 7^ - - - |" in text_of(page)

    # To another harp: nothing changes until it is accepted, and nothing if it is dropped.
    for taken in (False, True):
        page.get_by_role("button", name="Move").click()
        page.locator("#toharp").select_option("G")
        moved = page.locator("#moved")
        playwright.expect(moved).to_contain_text("every note sounds as before")
        playwright.expect(moved.locator(".lines td").last).to_contain_text("5v 5^^ 6v 7^")
        page.get_by_role("button", name="Accept" if taken else "Drop it").click()
        assert ("harp: G" in text_of(page)) == taken
    assert "| 5v 5^^ 6v 7^ | 9v - - - |" in text_of(page)

    playwright.expect(page.locator("#harp caption")).to_contain_text("G harp")
    page.locator("#play").click()
    until(page, "document.body.dataset.sounding === '9v'")
    playwright.expect(page.locator(".tile.now .hole")).to_have_text("9")
    playwright.expect(page.locator(".cm-line .tab-now")).to_have_text("9v")
    heard = page.evaluate("heard.filter(([type]) => type === 'custom').map(([, hz]) => hz)")
    assert heard == pytest.approx([hz(m) for m in (72, 73, 76, 79, 84)], rel=1e-4)
    page.locator("#stop").click()

    page.keyboard.press("Control+s")
    playwright.expect(page.locator("#savename")).to_have_value("draughty-lane.harptab")
    page.get_by_role("button", name="Save", exact=True).last.click()
    playwright.expect(page.locator("#status")).to_contain_text("saved")
    saved = (songs / "draughty-lane.harptab").read_text()
    assert [e.pitches for e in load(saved).score.events] == [
        e.pitches for e in load(text.replace("4v2", "4v1")).score.events
    ]
    page.reload()
    page.wait_for_selector("body[data-ready][data-looked]")
    assert text_of(page).rstrip() == saved.rstrip()
    playwright.expect(page.locator("#unsaved")).to_be_hidden()


def test_the_file_changed_on_disk_asks(page: Page, address: str, songs: Path) -> None:
    opened(page, address)
    page.locator(".cm-content").click()
    page.keyboard.press("Control+End")
    page.keyboard.insert_text("# mine\n")
    (songs / "kettle.harptab").write_text("title: theirs\nharp: C\n")
    page.locator("#save").click()
    dialog = page.locator("#asked")
    playwright.expect(dialog).to_contain_text("has changed on disk")
    playwright.expect(dialog.locator("pre").nth(1)).to_contain_text("title: theirs")
    dialog.get_by_role("button", name="Keep editing").click()
    assert (songs / "kettle.harptab").read_text().startswith("title: theirs")
    page.locator("#save").click()
    dialog.get_by_role("button", name="Save over it").click()
    playwright.expect(page.locator("#status")).to_contain_text("saved")
    assert "# mine" in (songs / "kettle.harptab").read_text()


def test_saved_as_another_file_the_first_one_stays(page: Page, address: str, songs: Path) -> None:
    opened(page, address)
    page.locator(".cm-content").click()
    page.keyboard.press("Control+End")
    page.keyboard.insert_text("# mine\n")
    page.locator("#saveas").click()
    page.locator("#savename").fill("mine")
    page.keyboard.press("Enter")
    playwright.expect(page.locator("#name")).to_have_text("mine.harptab")
    assert (songs / "kettle.harptab").read_text() == TUNE
    assert (songs / "mine.harptab").read_text() == TUNE + "# mine\n"
    page.locator("#saveas").click()  # onto another tune: asked first
    page.locator("#savename").fill("kettle.harptab")
    page.keyboard.press("Enter")
    playwright.expect(page.locator("#askedhead")).to_have_text("Another version on disk")
    page.keyboard.press("Escape")
    assert (songs / "kettle.harptab").read_text() == TUNE


def test_the_highlighting_reads_what_the_grammar_reads(page: Page, address: str) -> None:
    opened(page, address)
    notes = [note.figure.token for note in load(TUNE).tune.notes()]
    shown = page.locator(".cm-line .tab-blow, .cm-line .tab-draw, .cm-line .tab-over")
    texts = shown.all_inner_texts()
    assert len(texts) == len(notes)
    assert texts[:4] == notes[:4]
    assert not page.locator(".cm-line .tab-wrong").count()
    write(page, "harp: C\n| 4v 4d 4^5v 4v |\n")
    playwright.expect(page.locator(".cm-line .tab-wrong")).to_have_count(2)


def test_a_note_lights_its_hole_pitch_and_other_places(page: Page, address: str) -> None:
    opened(page, address)
    page.locator(".tile:not(.held)").first.hover()  # 2 draw, G4: also 3 blow
    lit = page.locator("#harp td button.lit")
    playwright.expect(lit).to_have_text("G4")
    playwright.expect(page.locator("#harp th.lit")).to_have_text("2")
    playwright.expect(page.locator("#harp td button.same")).to_have_attribute(
        "aria-label", "3 blow, G4"
    )
    about = page.locator("#about")
    for said in ("2 draw", "G4", "392", "3^", "blow E4, draw G4"):  # G4 = 392.00 Hz
        playwright.expect(about).to_contain_text(said)


def test_a_cell_of_the_harp_writes_its_note(page: Page, address: str) -> None:
    opened(page, address, "")
    write(page, "harp: A\n| ")
    playwright.expect(page.locator("#harp caption")).to_contain_text("A harp")
    for said in ("4 blow, A4", "4 draw, B4", "3 draw bent 2, F#4"):
        page.get_by_role("button", name=said, exact=True).click()
    assert text_of(page).split("\n")[1] == "| 4^ 4v 3v2"


def test_header_values_are_completed(page: Page, address: str) -> None:
    opened(page, address, "")
    page.locator(".cm-content").click()
    page.keyboard.press("Control+a")
    page.keyboard.type("tun")
    playwright.expect(page.locator(".cm-tooltip-autocomplete")).to_contain_text("tuning")
    page.wait_for_timeout(150)  # the editor takes no Enter in the first moments of a list
    page.keyboard.press("Enter")
    page.keyboard.type("pad")
    playwright.expect(page.locator(".cm-tooltip-autocomplete")).to_contain_text("Paddy Richter")
    page.wait_for_timeout(150)
    page.keyboard.press("Enter")
    assert text_of(page) == "tuning: Paddy Richter"


def test_loop_count_in_click_pause_and_speed(page: Page, address: str) -> None:
    opened(page, address, "")
    write(page, "harp: C\ntempo: 240\n| 4^ 4v 5^ 5v | 6^ 6v 7v 7^ |\n")
    playwright.expect(page.locator(".tile")).to_have_count(8)
    page.locator(".tile").nth(1).click()
    page.locator(".tile").nth(2).click(modifiers=["Shift"])
    playwright.expect(page.locator(".tile.within")).to_have_count(2)
    page.evaluate("heard.length = 0")
    page.get_by_label("loop selection").check()
    page.get_by_label("count in").check()
    page.get_by_label("click", exact=True).check()
    page.locator("#play").click()
    until(page, "heard.filter(([type]) => type === 'custom').length >= 6")
    tones = page.evaluate("heard.filter(([type]) => type === 'custom')")
    clicks = page.evaluate("heard.filter(([type]) => type === 'square')")
    assert [t[1] for t in tones[:6]] == pytest.approx([hz(74), hz(76)] * 3, rel=1e-4)
    gaps = [b[2] - a[2] for a, b in pairwise(tones)]
    assert gaps[:5] == pytest.approx([0.25] * 5, abs=0.002)  # 240 beats a minute, no seam
    before = [c for c in clicks if c[2] < tones[0][2] - 0.01]
    assert len(before) == 4  # a bar of counting in
    assert len(clicks) > 4  # and the click goes on
    playwright.expect(page.locator("#play")).to_contain_text("Pause")
    page.locator("#play").click()
    page.wait_for_timeout(400)
    count = page.evaluate("heard.length")
    page.wait_for_timeout(400)
    assert page.evaluate("heard.length") == count
    # Slower: the same pitches, further apart.
    page.get_by_label("count in").uncheck()
    page.locator("#speed").evaluate(
        "e => { e.value = 50; e.dispatchEvent(new Event('input')); "
        "e.dispatchEvent(new Event('change')) }"
    )
    page.evaluate("heard.length = 0")
    page.locator("#play").click()
    until(page, "heard.filter(([type]) => type === 'custom').length >= 3")
    tones = page.evaluate("heard.filter(([type]) => type === 'custom')")
    assert {round(t[1], 1) for t in tones} == {round(hz(74), 1), round(hz(76), 1)}
    assert tones[2][2] - tones[1][2] == pytest.approx(0.5, abs=0.002)


def test_the_tune_is_walked_by_keys(page: Page, address: str) -> None:
    opened(page, address)
    stops = page.locator("#tune .tile[tabindex='0']")
    playwright.expect(stops).to_have_count(1)  # one tab stop, arrows within
    stops.focus()
    page.keyboard.press("ArrowRight")
    label = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert label.startswith("4 draw, scoop, D5, beat 2 of bar 1, 0.5 beats")
    playwright.expect(page.locator("#harp td button.lit")).to_have_text("D5")
    page.keyboard.press("End")
    assert "10 blow bent 2" in page.evaluate("document.activeElement.getAttribute('aria-label')")


def test_library_search(page: Page, address: str, songs: Path) -> None:
    (songs / "plain.harptab").write_text("title: Plain Tune\nharp: A\n| 4^ 4v 5^ 5v |\n")
    opened(page, address, "")
    page.get_by_role("button", name="Tunes").click()
    playwright.expect(page.locator("#found")).to_have_text("2 of 2 tunes")
    page.locator("#search").fill("overbend")
    playwright.expect(page.locator("#listed li")).to_have_count(1)
    playwright.expect(page.locator("#listed li")).to_contain_text("Kettle on the Boil")
    page.locator("#search").fill("plain")
    playwright.expect(page.locator("#listed li")).to_have_count(1)
    page.locator("#listed button").click()
    playwright.expect(page.locator("#name")).to_have_text("plain.harptab")


def test_export_gives_a_file(page: Page, address: str) -> None:
    opened(page, address)
    page.get_by_role("button", name="Export").click()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="MIDI file").click()
    assert waiting.value.suggested_filename == "kettle.mid"
    assert Path(waiting.value.path()).read_bytes()[:4] == b"MThd"


def test_a_drill_and_a_worksheet_are_one_press_away(page: Page, address: str) -> None:
    opened(page, address)
    page.get_by_role("button", name="Practise").click()
    page.locator("#drillbends").fill("3v2")
    page.get_by_role("button", name="Drills").click()
    playwright.expect(page.locator("#status")).to_contain_text("a new tune")
    until(page, "document.title.startsWith('Bend')")
    playwright.expect(page.locator("#unsaved")).to_be_visible()
    playwright.expect(page.locator("#list li.error")).to_have_count(0)
    page.get_by_role("button", name="Practise").click()
    page.get_by_role("button", name="Worksheet").click()
    playwright.expect(page.locator("#asked pre")).to_contain_text("1")
    page.get_by_role("button", name="Answers").click()
    playwright.expect(page.locator("#askedhead")).to_have_text("Answers")


def test_a_harp_of_the_ranking_is_tried_and_taken(page: Page, address: str) -> None:
    opened(page, address)
    page.get_by_role("button", name="Move").click()
    best = page.locator("#ranking tbody button").first
    name = best.inner_text()
    best.click()
    playwright.expect(page.locator("#moved")).to_contain_text(f"{name} harp")
    page.get_by_role("button", name="Accept").click()
    assert f"harp: {name}" in text_of(page)
    page.locator(".cm-content").press("Control+z")  # one undo brings all of it back
    playwright.expect(page.locator(".cm-content")).to_contain_text("harp: C")


def test_a_tune_in_a_tuning_of_its_own_is_moved(page: Page, address: str, songs: Path) -> None:
    own = "name: Fourth reed\nkey: C\nblow: C4 E4 A4 C5 E5 G5 C6 E6 G6 C7\n"
    own += "draw: D4 G4 B4 D5 F#5 A5 B5 D6 F#6 A6\n"
    (songs / "own.harptuning").write_text(own)
    (songs / "kettle.harptab").write_text(
        "title: Own\nharp: C\ntuning: own.harptuning\n\n| 4^ 5v 6^ 3v |\n"
    )
    opened(page, address)
    playwright.expect(page.locator("#harp caption")).to_contain_text("Fourth reed")
    page.locator("#move").click()
    page.locator("#ranking tbody button").filter(has_text="Fourth reed").first.click()
    playwright.expect(page.locator("#moved")).to_contain_text("every note sounds as before")
    page.get_by_role("button", name="Accept").click()
    assert "tuning: own.harptuning" in text_of(page)
    playwright.expect(page.locator("#list li.error")).to_have_count(0)


def test_a_score_dropped_on_the_page_becomes_a_tune(page: Page, address: str) -> None:
    pytest.importorskip("music21", reason="reading scores needs music21")
    opened(page, address)
    page.get_by_role("button", name="Import").click()
    abc = b"X:1\nT:Up the Weir\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|\n"
    page.locator("#bringfile").set_input_files(
        {"name": "weir.abc", "mimeType": "text/plain", "buffer": abc}
    )
    page.get_by_role("button", name="Read it").click()
    until(page, "document.title.startsWith('Up the Weir')")
    playwright.expect(page.locator(".tile:not(.held)")).to_have_count(8)
    # Dropped, it asks the same.
    page.evaluate(
        """() => { const data = new DataTransfer();
        data.items.add(new File(['X:1'], 'dropped.abc'));
        dispatchEvent(new DragEvent('drop', { dataTransfer: data })) }"""
    )
    playwright.expect(page.locator("#askedhead")).to_have_text("Import")
    assert page.locator("#bringfile").evaluate("e => e.files[0].name") == "dropped.abc"


def test_a_take_is_judged_and_a_recording_made(page: Page, address: str) -> None:
    """A sound file of the tune is found note for note; the browser's microphone is read too."""
    pytest.importorskip("soundfile", reason="recordings need the audio extra")
    audio = pytest.importorskip("tabtool.sound.audio", reason="recordings need the audio extra")
    text = "title: Take\nharp: C\ntempo: 100\n\n| 4^ 4v 5^ 5v | 6^ - 3v2 - |\n"
    sound = audio.encoded(audio.by_voice(load(text).score), audio.RATE, ".wav")
    opened(page, address, "")
    write(page, text)
    playwright.expect(page.locator(".tile:not(.held)")).to_have_count(6)
    page.locator("#take").click()
    page.locator("#takefile").set_input_files(
        {"name": "take.wav", "mimeType": "audio/wav", "buffer": sound}
    )
    page.get_by_role("button", name="Judge it").click()
    report = page.locator("#taken pre")
    playwright.expect(report).to_contain_text("6 notes of 6 found", timeout=30_000)
    playwright.expect(report).to_contain_text("3v2")
    assert page.locator("#taken img").evaluate("e => e.decode().then(() => e.naturalWidth)") > 300
    page.locator("#record").click()
    playwright.expect(page.locator("#record")).to_contain_text("Stop")
    page.wait_for_timeout(1500)
    page.locator("#record").click()
    playwright.expect(page.locator("#record")).to_contain_text("again")
    with page.expect_response("**/api/take") as waiting:
        page.get_by_role("button", name="Judge it").click()
    answer = waiting.value  # beeps are no playing: either way in one plain line or a report
    assert answer.status in (200, 400)
    assert "cannot be read" not in answer.text()
    assert "not a recording" not in answer.text()


def test_text_never_becomes_markup(page: Page, address: str) -> None:
    opened(page, address, "")
    bad = "<img src=x onerror=\"document.body.dataset.hit='1'\">"
    write(page, f'title: {bad}\nharp: C\n[{bad}]\n| "<b>"4v 4v {bad} 4v |\nlyric: {bad}\n')
    playwright.expect(page.locator("#list li.error").first).to_be_visible()
    page.wait_for_timeout(200)
    assert not page.locator("main img").count()
    assert page.evaluate("document.body.dataset.hit") is None


def test_no_script_but_its_own_runs(page: Page, address: str) -> None:
    opened(page, address)
    ran = page.evaluate(
        """() => { const s = document.createElement('script');
        try { s.textContent = 'window.ran = 1'; document.head.append(s) } catch {}
        return window.ran ?? 0 }"""
    )
    assert ran == 0
    fetched = page.evaluate("fetch('http://127.0.0.1:9/').then(() => 1, () => 0)")
    assert fetched == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_accessibility(page: Page, address: str, scheme: Any, width: int) -> None:
    """axe-core finds nothing, in either colour scheme, at desk and phone, dialogs too."""
    page.set_viewport_size({"width": width, "height": 844})
    page.emulate_media(color_scheme=scheme)
    opened(page, address)
    judge_of = axe.Axe()

    def judge(what: str) -> None:
        page.wait_for_timeout(100)
        found = judge_of.run(page).response["violations"]
        told = [(v["id"], [node["target"] for node in v["nodes"]][:3]) for v in found]
        assert not told, what

    if width < 600:
        for pane in ("Tune", "By harp", "Text"):
            page.locator("#panes").get_by_role("button", name=pane).click()
            judge(pane)
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, pane  # nothing runs off the side
    else:
        page.locator(".tile").nth(2).hover()
        judge("whole page")
    page.get_by_role("button", name="Tunes").click()
    playwright.expect(page.locator("#found")).to_contain_text("1 tune")
    judge("library")
    page.keyboard.press("Escape")
    for name in ("me", "give", "import", "practise", "take", "move"):
        page.locator(f"#{name}").click()
        judge(name)
        page.keyboard.press("Escape")


def test_first_sight_and_each_key_are_quick(
    browser: Browser, page: Page, address: str, songs: Path
) -> None:
    """Interactive, cold, within a hundred starts of a bare interpreter (a second, where that takes
    10 ms); problems at p95 within three fresh readings of the tune. The times are printed."""
    from test_speed import tune_of

    (songs / "long.harptab").write_text(tune_of(500))
    ready = []
    for _ in range(3):
        fresh = browser.new_context()
        cold = fresh.new_page()
        cold.goto(f"{address}#kettle.harptab")
        cold.wait_for_selector("body[data-ready]")
        ready.append(cold.evaluate("performance.getEntriesByName('ready')[0].startTime"))
        sizes = cold.evaluate(
            "[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType"
            "('resource')].map(e => [e.name.split('/').pop(), e.encodedBodySize])"
        )
        fresh.close()
    print(f"interactive after {min(ready):.0f} ms; bytes {dict(sizes)}")
    starts = []
    for _ in range(9):
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-c", "pass"], check=True)
        starts.append(1000 * (time.perf_counter() - begun))
    within = 100 * min(starts)
    print(f"interactive after {min(ready):.0f} ms, a bare interpreter after {min(starts):.0f}")
    skip_if_busy(min(ready) < within, f"interactive after {min(ready):.0f} ms")
    assert min(ready) < within
    best = min(key_times(page, address) for _ in range(3))
    print("p95 of the keys: processor {:.1f} ms, whole {:.1f} ms".format(*best))
    # Beside other work only the processor time is the program's own; the best of three counts.
    from test_speed import tune_of

    readings = []
    for _ in range(9):
        begun = time.thread_time()
        load(tune_of(500))
        readings.append(1000 * (time.thread_time() - begun))
    within = 3 * sorted(readings)[4]
    skip_if_busy(best[0] < within, f"processor {best[0]:.0f} ms a key")
    assert best[0] < within


def skip_if_busy(well: bool, said: str) -> None:
    """A time that is missed while others use the machine says nothing of the program."""
    load_now, cores = os.getloadavg()[0], os.cpu_count() or 1
    if not well and load_now > 1.5 * cores:
        pytest.skip(f"{said}, but the load is {load_now:.1f} on {cores} cores")


def key_times(page: Page, address: str) -> tuple[float, float]:
    """What the server took at p95 for a key typed into a tune of 500 notes, in ms."""
    page.goto("about:blank")
    opened(page, address, "long.harptab")
    page.locator(".cm-content").click()
    page.evaluate("performance.setResourceTimingBufferSize(2000)")
    for turn in range(45):
        page.keyboard.press(("ArrowDown", "ArrowRight", "ArrowRight")[turn % 3])
        page.evaluate("performance.clearResourceTimings()") if turn == 5 else None
        page.keyboard.type("4v- |."[turn % 6])
        page.wait_for_timeout(60)
    page.wait_for_timeout(300)
    timings = page.evaluate(
        "performance.getEntriesByType('resource').filter(e => e.name.endsWith('/api/check'))"
        ".map(e => e.serverTiming.map(t => t.duration))"
    )
    assert len(timings) >= 20
    whole, processor = (sorted(times) for times in zip(*timings, strict=True))
    at = int(0.95 * len(whole))
    return processor[at], whole[at]


def test_the_client_is_what_its_sources_build_to() -> None:
    """The sources beside the package; building them anew gives the same bytes (needs npm)."""
    root = Path(__file__).resolve().parent.parent
    script = root / "tabtool" / "page" / "client" / "build.mjs"
    if not script.exists():
        pytest.skip("no client sources beside these tests")
    if shutil.which("npm") is None:
        pytest.skip("needs node and npm to build the page")
    built = subprocess.run(
        ["node", str(script), "--check"], capture_output=True, text=True, check=False, timeout=300
    )
    if re.search(r"ENOTFOUND|ECONN|ETIMEDOUT|npm error code E4", built.stderr):
        pytest.skip(f"npm gets no packages here: {built.stderr[:80]}")
    assert built.returncode == 0, built.stderr
    assert re.search(r"page\.js \d+", built.stdout)
