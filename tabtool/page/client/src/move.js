// Moving a tune: what stays, where to, what it costs; before and after side by side.
// Nothing in the editor changes until the move is accepted.
import { find, make, plural } from "./dom.js";
import { ask } from "./talk.js";

const KINDS = [
  ["sound", "same sound, other harp: the holes are worked out anew"],
  ["holes", "same holes, other harp: the tab stays, the sound moves"],
  ["key", "other key, this harp or another: the sound moves"],
  ["position", "other key, and the harp moves along"],
];
const COUNTS = [
  ["notes", "notes played"], ["bends", "bends"], ["overbends", "overbends"], ["breath_changes", "breath changes"],
  ["impossible", "impossible"], ["cost", "points of effort"], ["hardest", "hardest bar"],
];

function choice(id, options, chosen) {
  const select = make("select", { id }, options.map(([value, label]) => make("option", { value }, label)));
  select.value = chosen;
  return select;
}

export class Mover {
  constructor({ tune, hear, accept, closed }) {
    this.closed = closed;
    this.tune = tune;
    this.hear = hear;
    this.accept = accept;
    this.number = 0;
  }

  async ask(start) {
    const { text, path, drawn } = this.tune();
    this.body = { text, path };
    this.moved = null;
    const harp = drawn?.harps[0];
    this.ownTuning = harp?.tuning ?? "";
    const keys = ["", "low", "high"].flatMap((register) => start.keys.map((key) => `${register} ${key}`.trim()));
    this.keep = choice("keep", KINDS, "sound");
    this.harp = choice("toharp", [["", "the tune's own"], ...keys.map((key) => [key, key])], "");
    this.tuning = choice("totuning", [["", "as it is"], ...start.tunings.map((name) => [name, name])], "");
    this.key = choice("tokey", [["", "as it is"], ...start.keys.map((key) => [key, key])], "");
    this.octaves = choice("octaves", [
      ["no", "none"], ["tune", "the whole tune"], ["note", "single notes that cannot be played otherwise"],
    ], "no");
    this.result = make("div", { id: "moved", role: "region", "aria-label": "Before and after", tabindex: "0" });
    this.by = "";
    this.own = make("input", { type: "checkbox", checked: start.kept.harps.length > 0, disabled: !start.kept.harps.length });
    this.every = make("input", { type: "checkbox" });
    this.anyKey = make("input", { type: "checkbox" });
    this.ranking = make("div", { id: "ranking", role: "region", "aria-label": "Best harps", tabindex: "0" });
    const field = (label, control) => make("label", {}, `${label} `, control);
    const buttons = make("p", { class: "buttons" },
      make("button", { type: "button", onclick: () => this.hear(this.body.text) }, "▶ Hear before"),
      make("button", { type: "button", id: "hearafter", onclick: () => this.moved && this.hear(this.moved.text) }, "▶ Hear after"),
      make("button", { type: "button", onclick: () => find("asked").close() }, "Drop it"),
      make("button", { type: "button", id: "accept", class: "main", onclick: () => this.take() }, "Accept"));
    const dialog = find("asked");
    dialog.classList.add("wide");
    dialog.onclose = () => this.closed();
    dialog.replaceChildren(
      make("h2", { id: "askedhead" }, harp ? `Move the tune from the ${harp.name}` : "Move the tune"),
      make("div", { class: "fields" }, field("what stays", this.keep), field("harp", this.harp), field("tuning", this.tuning),
        field("key", this.key), field("octaves may change for", this.octaves)),
      make("p", { class: "rankhead" }, make("strong", {}, "Best harps for it"),
        make("label", {}, this.own, " only mine"), make("label", {}, this.every, " every tuning"), make("label", {}, this.anyKey, " in any key")),
      this.ranking, this.result, buttons);
    for (const control of [this.own, this.every, this.anyKey]) control.addEventListener("change", () => this.rank());
    for (const control of [this.keep, this.harp, this.tuning, this.key, this.octaves]) {
      control.addEventListener("change", () => {
        this.by = "";
        this.look();
      });
    }
    dialog.showModal();
    await Promise.all([this.look(), this.rank()]);
  }

  async rank() {
    let harps;
    try {
      ({ harps } = await ask("harps", { ...this.body, own: this.own.checked, every: this.every.checked, any_key: this.anyKey.checked }));
    } catch (error) {
      this.ranking.replaceChildren(make("p", {}, error.message));
      return;
    }
    const heads = ["try", "position", "cannot play", "points a note", "key moves"];
    this.ranking.replaceChildren(make("table", {},
      make("thead", {}, make("tr", {}, heads.map((head) => make("th", { scope: "col" }, head)))),
      make("tbody", {}, harps.map((harp) => make("tr", {},
        make("td", {}, make("button", { type: "button", onclick: () => this.try(harp) },
          harp.tuning === "Richter" ? harp.key : `${harp.key} ${harp.tuning}`)),
        make("td", {}, harp.position ? String(harp.position) : "–"),
        make("td", {}, harp.impossible ? `✕ ${harp.impossible}` : "✓ nothing"),
        make("td", {}, harp.ease.toFixed(1)),
        make("td", {}, harp.move ? `${harp.move > 0 ? "+" : "−"}${Math.abs(harp.move)}` : "0"))))));
  }

  // Show the move to a harp of the ranking.
  try(harp) {
    this.keep.value = "sound";
    this.key.value = "";
    // The tune's own tuning may come from a file, which has no name to choose it by.
    const tuning = harp.tuning === this.ownTuning ? "" : harp.tuning;
    for (const [select, value] of [[this.harp, harp.key], [this.tuning, tuning]]) {
      if (![...select.options].some((option) => option.value === value)) select.append(make("option", { value }, value));
      select.value = value;
    }
    this.by = harp.move ? String(harp.move) : "";
    this.look();
  }

  // What the controls say; empty where they do not yet say enough.
  wish() {
    const kind = this.keep.value;
    const moves = kind === "key" || kind === "position";
    this.key.disabled = !moves;
    this.harp.disabled = kind === "position";
    this.tuning.disabled = kind === "position";
    const wish = {
      keep: kind === "key" ? "sound" : kind,
      harp: this.harp.disabled ? "" : this.harp.value,
      tuning: this.tuning.disabled ? "" : this.tuning.value,
      to_key: moves ? this.key.value : "",
      octaves: this.octaves.value,
      by: moves ? "" : this.by,
    };
    return wish.harp || wish.tuning || wish.to_key ? wish : null;
  }

  async look() {
    const number = ++this.number;
    const wish = this.wish();
    this.moved = null;
    find("accept").disabled = true;
    find("hearafter").disabled = true;
    if (!wish) {
      this.result.replaceChildren(make("p", {}, "Choose a harp, a tuning or a key."));
      return;
    }
    let moved;
    try {
      moved = await ask("move", { ...this.body, ...wish });
    } catch (error) {
      if (number === this.number) this.result.replaceChildren(make("p", { class: "refused", role: "alert" }, error.message));
      return;
    }
    if (number !== this.number) return;
    this.moved = moved;
    find("accept").disabled = false;
    find("hearafter").disabled = false;
    this.result.replaceChildren(...this.show(moved));
    document.body.dataset.moved = String(number);
  }

  show(moved) {
    const by = moved.semitones;
    const sounds = by ? `the sound moves ${by > 0 ? "up" : "down"} ${plural(Math.abs(by), "semitone")}` : "every note sounds as before";
    const place = moved.position ? `, position ${moved.position}` : "";
    const changed = moved.lines.filter(([old, now]) => old !== now);
    const counts = make("table", { class: "counts" },
      make("thead", {}, make("tr", {}, make("td", {}), make("th", { scope: "col" }, "before"), make("th", { scope: "col" }, "after"))),
      make("tbody", {}, COUNTS.map(([name, label]) => make("tr", {}, make("th", { scope: "row" }, label),
        make("td", {}, String(moved.before[name] ?? "–")), make("td", {}, String(moved.after[name] ?? "–"))))));
    const findings = make("ul", {}, moved.findings.map((found) => make("li", { class: found.level },
      `${found.level}, line ${found.line}: ${found.message}${found.help ? ` → ${found.help}` : ""}`)));
    return [
      make("p", {}, make("strong", {}, `${moved.harp}${moved.key ? `, in ${moved.key}` : ""}${place}`), `: ${sounds}. ${moved.summary.replace(/^.*?: /, "")}.`),
      make("div", { class: "compare" },
        make("table", { class: "lines" },
          make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "before"), make("th", { scope: "col" }, "after"))),
          make("tbody", {}, changed.length
            ? changed.map(([old, now]) => make("tr", {}, make("td", {}, old ?? ""), make("td", {}, now ?? "")))
            : make("tr", {}, make("td", {}, "no line changes"), make("td", {}, "")))),
        make("div", {}, counts, moved.findings.length ? findings : "")),
    ];
  }

  take() {
    if (!this.moved) return;
    const { text, harp } = this.moved;
    find("asked").close();
    this.accept(text, `moved to the ${harp}`);
  }
}
