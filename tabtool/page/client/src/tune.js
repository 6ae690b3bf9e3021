// The tune in beats: a box for each bar, a tile for each note, higher notes higher up.
//
// A tile tells everything twice: out-breath has its arrow and a bar on top, in-breath its
// arrow and a bar below; a bend wears one notch for each semitone, an overbend a double edge.
import { make, plural } from "./dom.js";

const UNIT = 3.1; // rem a beat at least
const WIDEST = 8; // rem a beat at most
const TILE = 1.75; // rem a tile at least
const RISE = 0.15; // rem a semitone

export const key = (place) => `${place[0]}:${place[1]}`;

export class TuneView {
  constructor(parent, { lit, chosen }) {
    this.parent = parent;
    this.lit = lit;
    this.chosen = chosen;
    this.tiles = new Map();
    this.order = [];
    parent.addEventListener("keydown", (event) => this.step(event));
  }

  draw(view) {
    const focused = this.parent.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    this.tiles.clear();
    this.order = view.notes;
    const pitches = view.notes.flatMap((note) => note.tones.map((tone) => tone[1])).filter((pitch) => pitch !== null);
    this.low = Math.min(...pitches, 127);
    this.spread = pitches.length ? Math.max(...pitches) - this.low : 0;
    const rows = [];
    let row = null;
    let stretch = -1;
    let at = 0;
    for (const bar of view.bars) {
      if (bar.stretch !== stretch) {
        const head = bar.section || (stretch >= 0 ? "and then" : "");
        stretch = bar.stretch;
        if (head) rows.push(make("h2", {}, head));
        row = null;
      }
      if (!row) rows.push((row = make("div", { class: "bars" })));
      const notes = [];
      while (at < view.notes.length && view.notes[at].onset < bar.onset + bar.beats - 1e-9) notes.push(view.notes[at++]);
      row.append(this.bar(bar, view, notes));
    }
    this.parent.replaceChildren(...rows);
    if (!rows.length) this.parent.append(make("p", { class: "empty" }, "No bars yet. Write some: | 4^ 4v 5^ 5v |"));
    const first = this.tiles.get(focused) ?? this.tiles.values().next().value;
    if (first) first[0].tabIndex = 0;
    if (focused && this.tiles.has(focused)) this.tiles.get(focused)[0].focus();
  }

  bar(bar, view, notes) {
    const beats = Math.max(1, bar.beats);
    const room = notes.map((note) => (TILE + 0.75 * (note.tones.length - 1)) / Math.min(1, note.length));
    const unit = Math.min(Math.max(UNIT, ...room), WIDEST);
    const box = make("div", { class: "lane", style: { height: `${this.spread * RISE + 3.4}rem` } });
    for (let beat = 1; beat < beats; beat++) box.append(make("i", { class: "beat", style: { left: `${(100 * beat) / beats}%` } }));
    // Notes held into this bar from before it.
    const held = view.notes.filter(
      (note) => note.onset < bar.onset - 1e-9 && note.onset + note.length > bar.onset + 1e-9 && note.harp >= 0,
    );
    for (const note of held) box.append(this.tile(note, bar, beats, true));
    for (const note of notes) box.append(this.tile(note, bar, beats, false));
    const words = notes.filter((note) => note.lyric);
    const chords = view.chords.filter(([onset]) => onset >= bar.onset && onset < bar.onset + bar.beats);
    const under = view.notes.some((note) => note.lyric)
      ? make("div", { class: "words", "aria-hidden": "true" },
          words.map((note) => make("span", { style: { left: `${(100 * (note.onset - bar.onset)) / beats}%` } }, note.lyric)))
      : null;
    const over = view.chords.length
      ? make("div", { class: "chords" },
          chords.map(([onset, text]) => make("span", { style: { left: `${(100 * (onset - bar.onset)) / beats}%` } }, text)))
      : null;
    const signs = [
      bar.before.includes(":") ? make("b", { class: "sign", title: "repeated from here" }, "|:") : "",
      /[1-9]$/.test(bar.before) ? make("b", { class: "sign", title: "ending" }, `${bar.before.at(-1)}.`) : "",
      make("span", { class: "number" }, String(bar.number)),
      bar.after.startsWith(":") ? make("b", { class: "sign back", title: "back to where the repeat began" }, ":|") : "",
    ];
    return make("div", {
      class: "bar", role: "group", "aria-label": `bar ${bar.number}`, "data-bar": String(bar.number),
      style: { "flex-grow": String(beats), "min-width": `min(${beats * unit}rem, 100%)`, "max-width": `${beats * unit * 1.6}rem` },
    }, make("div", { class: "barhead" }, signs), over, box, under);
  }

  tile(note, bar, beats, held) {
    const onset = Math.max(note.onset, bar.onset);
    const end = Math.min(note.onset + note.length, bar.onset + beats);
    const [token, pitch] = note.tones[note.tones.length - 1];
    const arrow = /[\^v]+/.exec(token)?.[0] ?? "^";
    const out = arrow[0] === "^";
    const over = arrow.length > 1;
    const depth = Number(/[\d.]+\*?$/.exec(token.replace(/^\d+[\^v]+/, ""))?.[0]?.replace("*", "") ?? 0) || 0;
    const holes = note.tones.map((tone) => /^\d+/.exec(tone[0])[0]).join("+") + (note.shake ? `~${/^\d+/.exec(note.shake)[0]}` : "");
    const rise = pitch === null ? 0 : (pitch - this.low) * RISE;
    const element = make(held ? "span" : "button", {
      class: `tile ${out ? "out" : "in"}${over ? " over" : ""}${note.possible ? "" : " impossible"}${held ? " held" : ""}${note.tones.length > 1 ? " chord" : ""}`,
      style: { left: `${(100 * (onset - bar.onset)) / beats}%`, width: `${(100 * (end - onset)) / beats}%`, bottom: `${rise}rem` },
    });
    if (held) {
      element.setAttribute("aria-hidden", "true");
      element.append(make("span", { class: "hole" }, "–"));
    } else {
      element.type = "button";
      element.tabIndex = -1;
      element.dataset.key = key(note.place);
      element.setAttribute("aria-label", this.spoken(note, bar));
      const notches = depth ? make("span", { class: "notches" }, depth % 1 ? `${depth}` : "▪".repeat(Math.min(depth, 4))) : "";
      const sign = make("span", { class: "arrow" }, (out ? "▲" : "▼").repeat(over ? 2 : 1));
      const small = (text) => (text ? make("small", {}, text) : "");
      element.append(make("span", { class: "hole" }, small(note.before), holes, small(note.after)), make("span", { class: "how" }, sign, notches));
      element.addEventListener("pointerenter", () => this.lit(note));
      element.addEventListener("focus", () => this.lit(note));
      element.addEventListener("click", (event) => this.chosen(note, event.shiftKey));
    }
    const known = this.tiles.get(key(note.place));
    if (known) known.push(element);
    else this.tiles.set(key(note.place), [element]);
    return element;
  }

  spoken(note, bar) {
    const beat = note.onset - bar.onset + 1;
    const said = [`${note.said}${note.pitch ? `, ${note.pitch}` : ""}`];
    said.push(`beat ${Number(beat.toFixed(2))} of bar ${bar.number}`, plural(Number(note.length.toFixed(2)), "beat"));
    if (note.lyric) said.push(`“${note.lyric}”`);
    if (!note.possible) said.push("cannot be played");
    return said.join(", ");
  }

  step(event) {
    const moves = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: 8, ArrowUp: -8, Home: -1e6, End: 1e6 };
    if (!(event.key in moves) || !event.target.dataset.key) return;
    event.preventDefault();
    const now = this.order.findIndex((note) => key(note.place) === event.target.dataset.key);
    const next = this.order[Math.max(0, Math.min(this.order.length - 1, now + moves[event.key]))];
    const target = this.tiles.get(key(next.place))?.[0];
    if (!target) return;
    event.target.tabIndex = -1;
    target.tabIndex = 0;
    target.focus();
    if (event.shiftKey) this.chosen(next, true);
  }

  noteAt(line, column) {
    return this.order.find(({ place }) => place[0] === line && place[1] <= column && column < place[2] + 1) ?? null;
  }

  // The tile that sounds, and, when following, brought into sight.
  now(place, follow) {
    this.parent.querySelectorAll(".tile.now").forEach((tile) => tile.classList.remove("now"));
    const tiles = place ? this.tiles.get(key(place)) : null;
    if (!tiles) return;
    tiles.forEach((tile) => tile.classList.add("now"));
    if (follow) {
      const frame = this.parent.getBoundingClientRect();
      const box = tiles[0].getBoundingClientRect();
      if (box.top < frame.top || box.bottom > frame.bottom) {
        const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
        this.parent.scrollBy({ top: box.top - frame.top - frame.height / 3, behavior: calm ? "auto" : "smooth" });
      }
    }
  }

  range(notes) {
    const inside = new Set(notes.map((note) => key(note.place)));
    for (const [name, tiles] of this.tiles) tiles.forEach((tile) => tile.classList.toggle("within", inside.has(name)));
  }
}
