// The page: one tune at a time, its text the only truth; all else is drawn from the answers.
import { question } from "./ask.js";
import { duration, find, make, plural, say } from "./dom.js";
import { Editor } from "./editor.js";
import { TuneFile } from "./file.js";
import { HarpView } from "./harp.js";
import { bring } from "./import.js";
import { Library } from "./library.js";
import { Mover } from "./move.js";
import { drill, practise } from "./practise.js";
import { Sound } from "./sound.js";
import { ask, Refusal } from "./talk.js";
import { SOUNDS, Takes } from "./take.js";
import { TuneView, key } from "./tune.js";

const LONG = 150; // notes
const REST = 150; // milliseconds
const WAIT = 40; // milliseconds of quiet before the text is looked at

let start = null;
let latest = null; // the last answer to `draw`, for the text as it was then
let asked = 0;
let score = null; // what `play` answered, for one text and speed

const editor = new Editor(find("editor"), document.body.dataset.nonce, {
  changed: () => changed(),
  selected: () => selected(),
  keys: [
    { key: "Mod-s", run: () => (guarded(() => tune.save())(), true) },
    { key: "Mod-Enter", run: () => (guarded(toggle)(), true) },
  ],
});
const tune = new TuneFile(editor, {
  title: () => latest?.title ?? "",
  shown: () => {
    sound.stop();
    changed();
  },
});
const view = new TuneView(find("tune"), {
  lit: (note) => light(note),
  chosen: (note, extend) => {
    editor.select(note.place, extend);
    if (!sound.playing && !extend) hear(note);
  },
});
const harp = new HarpView(find("harp"), {
  pressed: (way) => {
    editor.insert(way.token);
    sound.wake();
    voiced().then(() => sound.once([way]), failed);
  },
});
const sound = new Sound({ moved: (at) => moved(at), ended: () => ended() });
const mover = new Mover({
  tune: () => ({ text: editor.text, path: tune.path, drawn: latest }),
  hear: guarded((text) => hearText(text)),
  closed: () => sound.stop(),
  accept: (text, said) => {
    editor.replace(text);
    say(`${said}; undo brings the old tab back`);
  },
});
const library = new Library({ open: guarded((path) => tune.leave(() => tune.open(path))) });

function failed(error) {
  if (!(error instanceof Refusal)) console.error(error);
  say(error.message, true);
}

// An act whose refusal is told of; it begins at once, since sound may only begin on a press.
function guarded(act) {
  return async (...words) => {
    try {
      return await act(...words);
    } catch (error) {
      return failed(error);
    }
  };
}

// Looking: after each change, the newest answer wins.

let pending = null;
function changed() {
  find("unsaved").hidden = !tune.unsaved;
  score = null;
  clearTimeout(pending);
  pending = setTimeout(guarded(look), WAIT);
}

async function look() {
  const number = ++asked;
  const text = editor.text;
  const body = { text, path: tune.path };
  const { problems, summary } = await ask("check", body);
  if (number !== asked || text !== editor.text) return;
  editor.showProblems(problems, take);
  find("verdict").textContent = summary.replace(/^.*?: /, "");
  announce(problems.filter((found) => found.level === "error").length);
  find("list").replaceChildren(...problems.map(problem));
  // A long tune is drawn when the typing rests; what is wrong is told at once.
  if (view.order.length > LONG) await new Promise((done) => setTimeout(done, REST));
  if (number !== asked || text !== editor.text) return;
  const drawn = await ask("draw", body);
  if (number !== asked || text !== editor.text) return;
  latest = drawn;
  view.draw(drawn);
  harp.draw(drawn.harps[0] ?? null);
  document.body.dataset.looked = String(number);
  document.title = `${drawn.title || "New tune"} – tabtool`;
  if (!tune.path) find("name").textContent = drawn.title || "New tune";
  selected();
}

// Tell a screen reader how many errors there are, once the typing rests and only if that changed.
let told = 0;
function announce(errors) {
  clearTimeout(announce.timer);
  announce.timer = setTimeout(() => {
    if (errors !== told) find("spoken").textContent = errors ? plural(errors, "error") : "no errors";
    told = errors;
  }, 1200);
}

const SIGNS = { error: "✕", caution: "!", hint: "i" };

function problem(found) {
  const where = `${found.line}:${found.column}`;
  return make("li", { class: found.level },
    make("button", { type: "button", class: "goto", onclick: () => {
      editor.select([found.line, found.column, found.end_column]);
      editor.view.focus();
    } },
      make("span", { class: "level" }, make("span", { "aria-hidden": "true" }, SIGNS[found.level]), ` ${found.level} `),
      make("span", { class: "at" }, where), ` ${found.message}`),
    found.help ? make("p", { class: "help" }, `→ ${found.help}`) : "",
    (found.fixes ?? []).length
      ? make("p", { class: "fixes" }, found.fixes.map((fix) =>
          make("button", { type: "button", onclick: () => take(fix) }, fix.title)))
      : "");
}

function take(fix) {
  editor.take(fix);
  say(`done: ${fix.title}`);
  editor.view.focus();
}

// Lighting: one note at a time, hovered, chosen or sounding.

function light(note) {
  if (!note) return;
  if (note.harp >= 0) harp.draw(latest.harps[note.harp]);
  harp.lightNote(note);
}

function chosenNotes() {
  const { from, to } = editor.selection;
  if (!latest || from === to) return [];
  return latest.notes.filter((note) => {
    const range = editor.range(note.place);
    return range.from < to && range.to > from;
  });
}

function selected() {
  if (!latest) return;
  const notes = chosenNotes();
  view.range(notes.length > 1 ? notes : []);
  if (sound.playing) return;
  const { state } = editor.view;
  const line = state.doc.lineAt(state.selection.main.head);
  const note = notes[0] ?? view.noteAt(line.number, state.selection.main.head - line.from + 1);
  view.now(note?.place ?? null, Boolean(note));
  if (note) light(note);
}

// Hearing.

async function voiced() {
  if (!sound.voice) sound.setVoice(await ask("reeds"));
}

async function hear(note) {
  sound.wake();
  await voiced();
  const ways = latest.harps[note.harp]?.ways ?? [];
  sound.once(note.tones.map(([token]) => ways.find((way) => way.token === token)).filter(Boolean));
}

// Another text than the one in the editor, from its start; no cursor follows.
async function hearText(text) {
  sound.wake();
  await voiced();
  if (sound.playing) return sound.stop();
  const other = await ask("play", { text, path: tune.path });
  score = null;
  sound.moved = () => {};
  sound.countIn = false;
  sound.play(other, 0, null);
}

async function toggle() {
  if (sound.playing) {
    sound.pause();
    find("play").textContent = "▶ Play";
    say("paused");
    return;
  }
  await begin(sound.paused || null);
}

async function begin(from) {
  sound.wake();
  await voiced();
  const speed = Number(find("speed").value) / 100;
  if (!score || score.speed !== speed) {
    const text = editor.text;
    score = { ...(await ask("play", { text, path: tune.path, speed })), speed };
    score.at = new Map();
    for (const note of score.notes) if (!score.at.has(key(note.place))) score.at.set(key(note.place), note);
  }
  if (!score.sounds.length) {
    say("nothing in it can be sounded yet", true);
    return;
  }
  const notes = chosenNotes().map((note) => score.at.get(key(note.place))).filter(Boolean);
  let loop = null;
  if (notes.length > 1) {
    const span = [Math.min(...notes.map((note) => note.start)), Math.max(...notes.map((note) => note.end))];
    if (find("loop").checked) loop = span;
    if (from === null || (loop && (from < span[0] || from >= span[1]))) from = span[0];
  } else if (find("loop").checked) loop = [0, score.seconds];
  sound.moved = moved;
  sound.click = find("click").checked;
  sound.countIn = find("count").checked;
  sound.play(score, from ?? 0, loop);
  find("play").textContent = "❚❚ Pause";
  document.body.classList.add("playing");
}

let shown = null;
function moved(at) {
  find("clock").textContent = duration(Math.max(0, at));
  const index = score.notes.findLastIndex((note) => note.start <= at + 0.01);
  const note = index >= 0 && score.notes[index].end > at ? score.notes[index] : null;
  if (note === shown) return;
  shown = note;
  editor.showNow(note?.place ?? null, true);
  view.now(note?.place ?? null, true);
  if (note) {
    const drawn = latest?.notes.find((other) => key(other.place) === key(note.place));
    document.body.dataset.sounding = drawn?.token ?? "";
    light(drawn);
  }
}

function ended() {
  find("play").textContent = "▶ Play";
  find("clock").textContent = "0:00";
  document.body.classList.remove("playing");
  shown = null;
  editor.showNow(null);
  view.now(null);
}

// The rest.

async function tidy() {
  const { text } = await ask("tidy", { text: editor.text, path: tune.path });
  if (text === editor.text) say("the text is tidy");
  else {
    editor.replace(text);
    say("laid out in columns; undo brings the old layout back");
  }
}

async function give() {
  const answer = await question("Export the tune", make("p", {}, "As a file of which kind?"),
    [...start.exports, ["", "Cancel"]]);
  if (!answer) return;
  const { data, suffix, lost } = await ask("export", { text: editor.text, path: tune.path, format: answer });
  const bytes = Uint8Array.from(atob(data), (character) => character.charCodeAt(0));
  const name = (tune.path.split("/").at(-1) || tune.name).replace(start.suffix, "") + suffix;
  const link = make("a", { href: URL.createObjectURL(new Blob([bytes])), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  say([`exported ${name}`, ...lost].join("; "), lost.length > 0);
}

async function me() {
  const abilities = make("textarea", { id: "abilities", rows: "3", cols: "44" });
  abilities.value = start.kept.abilities;
  const harps = make("textarea", { id: "harps", rows: "4", cols: "44" });
  harps.value = start.kept.harps.join("\n");
  const answer = await question("The player", [
    make("label", { for: "abilities" }, "What you can do, such as: bends 2, overbends no, tongue blocking yes, fastest change 0.15"),
    abilities,
    make("label", { for: "harps" }, "Your harps, one a line, such as: C, low F, A natural minor"), harps,
    make("p", {}, "Kept on this machine only. If playing makes you light-headed, stop, breathe normally, sit down; do not share a mouthpiece uncleaned; mind the volume on headphones."),
  ], [["keep", "Keep", true], ["", "Cancel"]]);
  if (answer !== "keep") return;
  const body = { abilities: abilities.value, harps: harps.value.split(/[\n,]/).map((line) => line.trim()).filter(Boolean) };
  start.kept = (await ask("keep", body)).kept;
  say("kept");
  changed();
}

function pane(name) {
  document.body.dataset.shown = name;
  document.querySelectorAll("#panes button").forEach((button) =>
    button.setAttribute("aria-pressed", String(button.dataset.pane === name)));
}

function wire() {
  const press = (id, act) => find(id).addEventListener("click", guarded(act));
  press("tunes", () => library.choose());
  press("new", () => tune.leave(() => tune.fresh()));
  press("save", () => tune.save());
  press("saveas", () => tune.saveAs());
  press("tidy", tidy);
  press("give", give);
  press("move", () => (sound.stop(), mover.ask(start)));
  const takes = new Takes({
    tune: () => ({ text: editor.text, path: tune.path, drawn: latest }),
    drill: guarded((harp, bends) => drill(harp, bends, (text) => tune.leave(() => tune.fresh(text)))),
    open: (text, told) => brought(text, told),
  });
  press("take", () => (sound.stop(), takes.ask()));
  const brought = (text, told) => tune.leave(() => (tune.fresh(text), say(told, told.length > 90)));
  press("import", () => bring(start, brought));
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", guarded((event) => {
    if (!event.dataTransfer.files.length) return;
    event.preventDefault();
    const [file] = event.dataTransfer.files;
    if (SOUNDS.some((suffix) => file.name.toLowerCase().endsWith(suffix))) takes.ask(file);
    else bring(start, brought, file);
  }));
  press("practise", () => practise(latest, start, (text) => tune.leave(() => tune.fresh(text))));
  press("me", me);
  press("play", toggle);
  press("stop", () => sound.stop());
  document.querySelectorAll("#panes button").forEach((button) =>
    button.addEventListener("click", () => pane(button.dataset.pane)));
  find("volume").addEventListener("input", () => sound.setVolume(Number(find("volume").value) / 100));
  find("speed").addEventListener("input", () => (find("speedsaid").textContent = `${find("speed").value} %`));
  find("speed").addEventListener("change", guarded(async () => {
    if (!sound.playing && !sound.paused) return;
    const playing = sound.playing;
    const share = sound.position / score.seconds;
    const seconds = score.seconds * score.speed;
    sound.stop(true);
    const at = Math.max(0, (share * seconds) / (Number(find("speed").value) / 100));
    if (playing) await begin(at);
    else sound.paused = at;
  }));
  for (const id of ["click", "loop"]) {
    find(id).addEventListener("change", guarded(async () => {
      sound.click = find("click").checked;
      if (id === "loop" && sound.playing) await begin(sound.position);
    }));
  }
  for (const [sign, what] of [["|", "bar line"], [".", "silence"], ["-", "hold on"], [",", "share the beat"]]) {
    find("signs").append(make("button", { type: "button", "aria-label": what, title: what, onclick: () => editor.insert(sign) }, sign));
  }
  addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.defaultPrevented) return;
    if (event.key === "s") {
      event.preventDefault();
      guarded(() => tune.save())();
    } else if (event.key === "Enter" && !document.querySelector("dialog[open]")) {
      event.preventDefault();
      guarded(toggle)();
    }
  });
  addEventListener("beforeunload", (event) => {
    if (tune.unsaved) event.preventDefault();
  });
}

async function begun() {
  wire();
  start = await ask("start");
  editor.words = start;
  const path = decodeURI(location.hash.slice(1)) || document.body.dataset.first;
  tune.suffix = start.suffix;
  if (path) await tune.open(path).catch((error) => (failed(error), tune.fresh()));
  else tune.fresh();
  document.body.dataset.ready = "yes";
  performance.mark("ready"); // with a tune open, every control answers
}

guarded(begun)();

