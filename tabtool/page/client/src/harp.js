// The harp below the tune: a column for each hole, out-breath above, in-breath below,
// bends further out. A cell writes its note and lets it be heard.
import { find, make } from "./dom.js";

export class HarpView {
  constructor(parent, { pressed }) {
    this.parent = parent;
    this.pressed = pressed;
    this.cells = new Map();
    this.harp = null;
  }

  draw(harp) {
    if (JSON.stringify(harp) === JSON.stringify(this.harp)) return;
    this.harp = harp;
    this.cells.clear();
    if (!harp) {
      this.parent.replaceChildren(make("p", { class: "empty" }, "No harp is named yet. Write harp: C at the top of the tune."));
      return;
    }
    const holes = Array.from({ length: harp.holes }, (_, index) => index + 1);
    const rows = [];
    const add = (label, kind, ways) => {
      if (ways.length) rows.push({ label, kind, ways: new Map(ways.map((way) => [way.hole, way])) });
    };
    const of = (breath, technique, depth, slide = false) =>
      harp.ways.filter((w) => w.breath === breath && w.technique === technique && w.depth === depth && w.slide === slide);
    add("overblow", "over", of("blow", "overblow", 0));
    for (let depth = 4; depth > 0; depth--) {
      add(`blow bent ${depth}`, "bend out", of("blow", "bend", depth));
      add(`slide in, blow bent ${depth}`, "bend out", of("blow", "bend", depth, true));
    }
    add("slide in, blow", "reed out", of("blow", "natural", 0, true));
    add("blow", "reed out", of("blow", "natural", 0));
    rows.push({ label: "hole", kind: "holes" });
    add("draw", "reed in", of("draw", "natural", 0));
    add("slide in, draw", "reed in", of("draw", "natural", 0, true));
    for (let depth = 1; depth < 5; depth++) {
      add(`draw bent ${depth}`, "bend in", of("draw", "bend", depth));
      add(`slide in, draw bent ${depth}`, "bend in", of("draw", "bend", depth, true));
    }
    add("overdraw", "over", of("draw", "overdraw", 0));
    this.heads = new Map();
    const body = rows.map(({ label, kind, ways }) =>
      make("tr", { class: kind },
        make("th", { scope: "row" }, label === "blow" ? "▲ blow" : label === "draw" ? "▼ draw" : label),
        holes.map((hole) => {
          if (!ways) {
            const head = make("th", { scope: "col", class: "hole" }, String(hole));
            this.heads.set(hole, head);
            return head;
          }
          const way = ways.get(hole);
          return make("td", {}, way ? this.cell(way) : "");
        })));
    this.parent.replaceChildren(
      make("table", {}, make("caption", {}, harp.name + (harp.position ? `, ${ordinal(harp.position)} position` : "")),
        make("tbody", {}, body)));
  }

  cell(way) {
    const cell = make("button", {
      type: "button", tabindex: "-1", "aria-label": `${way.said}, ${way.name}`, title: `${way.token}: ${way.said}, ${way.name}, ${way.hz} Hz`,
      onclick: () => this.pressed(way),
      onpointerenter: () => this.light([[way.token, way.midi]], true),
    }, way.name);
    cell.addEventListener("keydown", (event) => this.step(event));
    if (!this.cells.size) cell.tabIndex = 0;
    this.cells.set(way.token, { cell, way });
    return cell;
  }

  step(event) {
    const at = event.target.closest("td");
    const row = at.parentElement;
    const column = [...row.children].indexOf(at);
    let target = null;
    if (event.key === "ArrowRight" || event.key === "ArrowLeft") {
      const way = event.key === "ArrowRight" ? "nextElementSibling" : "previousElementSibling";
      for (let cell = at[way]; cell && !target; cell = cell[way]) target = cell.querySelector("button");
    } else if (event.key === "ArrowUp" || event.key === "ArrowDown") {
      const way = event.key === "ArrowDown" ? "nextElementSibling" : "previousElementSibling";
      for (let line = row[way]; line && !target; line = line[way]) target = line.children[column].querySelector("button");
    } else return;
    event.preventDefault();
    if (!target) return;
    event.target.tabIndex = -1;
    target.tabIndex = 0;
    target.focus();
  }

  // Light the cells of these tones, `[token, midi]` each, and mark where else they sound.
  light(tones, quiet = false) {
    for (const { cell } of this.cells.values()) cell.classList.remove("lit", "same", "octave", "reed");
    this.heads?.forEach((head) => head.classList.remove("lit"));
    const others = [];
    for (const [token, midi] of tones) {
      const hole = Number(/^\d+/.exec(token)[0]);
      this.heads?.get(hole)?.classList.add("lit");
      this.cells.get(token)?.cell.classList.add("lit");
      for (const { cell, way } of this.cells.values()) {
        if (way.hole === hole && way.technique === "natural" && !way.slide) cell.classList.add("reed");
        if (way.token === token || midi === null) continue;
        if (way.midi === midi) {
          cell.classList.add("same");
          others.push(way);
        } else if (Math.abs(way.midi - midi) % 12 === 0) cell.classList.add("octave");
      }
    }
    if (quiet && tones.length) {
      const way = this.cells.get(tones[0][0])?.way;
      if (way) this.tell(way.said, way.name, way.hz, "", others);
    }
    return others;
  }

  lightNote(note) {
    const others = this.light(note.tones);
    const holes = new Set(note.tones.map(([token]) => Number(/^\d+/.exec(token)[0])));
    const reeds = [...this.cells.values()].map(({ way }) => way)
      .filter((way) => holes.has(way.hole) && way.technique === "natural" && !way.slide);
    const hz = note.tones.map(([token]) => this.cells.get(token)?.way.hz).filter(Boolean).join(" + ");
    this.tell(note.said, note.pitch, hz, note.degree, others, note.possible, reeds);
  }

  tell(said, pitch, hz, degree, others, possible = true, reeds = []) {
    const rows = [
      ["how", said], ["pitch", pitch || "unknown"], ["Hz", String(hz)], ["degree", degree],
      ["reeds", reeds.length < 5 ? reeds.map((way) => `${way.breath} ${way.name}`).join(", ") : ""],
      ["also at", others.map((way) => way.token).join("  ") || (possible ? "nowhere else" : "")],
    ];
    if (!possible) rows.push(["", "cannot be played"]);
    find("about").replaceChildren(...rows.filter(([, text]) => text).flatMap(([name, text]) => [make("dt", {}, name), make("dd", {}, text)]));
  }
}

function ordinal(number) {
  const ending = number > 3 && number < 21 ? "th" : ["th", "st", "nd", "rd"][number % 10] ?? "th";
  return `${number}${ending}`;
}
