// The folder: every tune with what it needs, and a search through all that is said of it.
import { duration, find, make, plural } from "./dom.js";
import { ask } from "./talk.js";

function wants(tune) {
  if (tune.unreadable) return [tune.unreadable];
  const said = [];
  if (tune.harp) said.push(tune.harp);
  else said.push("no harp named");
  if (tune.key) said.push(`in ${tune.key}${tune.position ? `, position ${tune.position}` : ""}`);
  said.push(tune.deepest_bend ? `bends ${tune.deepest_bend}` : "no bends");
  if (tune.overbends) said.push(plural(tune.overbends, "overbend"));
  if (tune.slide) said.push("slide");
  if (tune.chords) said.push(plural(tune.chords, "chord"));
  said.push(`${plural(tune.notes, "note")}, ${duration(tune.seconds)}`);
  if (tune.errors) said.push(`✕ ${plural(tune.errors, "error")}`);
  else if (tune.cautions) said.push(`! ${plural(tune.cautions, "caution")}`);
  else said.push("✓ nothing to object to");
  return said;
}

export class Library {
  constructor({ open }) {
    this.open = open;
    this.tunes = [];
    find("search").addEventListener("input", () => this.show());
  }

  async show() {
    const words = find("search").value.toLowerCase().split(/\s+/).filter(Boolean);
    const rows = this.tunes.map((tune) => ({ tune, said: wants(tune) }))
      .filter(({ tune, said }) => {
        const all = `${tune.path} ${tune.title} ${tune.composer ?? ""} ${said.join(" ")}`.toLowerCase();
        return words.every((word) => all.includes(word));
      });
    find("found").textContent = `${rows.length} of ${plural(this.tunes.length, "tune")}`;
    find("listed").replaceChildren(...rows.map(({ tune, said }) =>
      make("li", {}, make("button", { type: "button", onclick: () => { find("library").close(); this.open(tune.path); } },
        make("strong", {}, tune.title || tune.path), make("span", { class: "path" }, tune.path),
        make("span", { class: "wants" }, said.join(" · "))))));
  }

  async choose() {
    find("library").showModal();
    find("found").textContent = "reading …";
    this.tunes = (await ask("library")).tunes;
    this.show();
  }
}
