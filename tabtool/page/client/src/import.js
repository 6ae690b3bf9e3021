// Bringing in a score, or tab typed by hand: chosen or dropped on the page, it becomes a new tune.
import { find, make } from "./dom.js";
import { ask } from "./talk.js";

export async function base64(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  let text = "";
  for (let at = 0; at < bytes.length; at += 0x8000) text += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
  return btoa(text);
}

export function bring(start, open, dropped = null) {
  const dialog = find("asked");
  const file = make("input", { type: "file", id: "bringfile", accept: start.imports.join(",") });
  if (dropped) {
    const carrier = new DataTransfer();
    carrier.items.add(dropped);
    file.files = carrier.files;
  }
  const field = (id, label, hint) => {
    const input = make("input", { id, placeholder: hint, size: 22 });
    return [make("label", { for: id }, label), input, input];
  };
  const [harpLabel, harp] = field("bringharp", "harp", "the one it lies best on");
  const [partLabel, part] = field("bringpart", "part, by name or number", "the only one");
  const [tuneLabel, tune] = field("bringtune", "tune of a collection, by number or title", "the only one");
  const choice = (id, named) => make("select", { id }, [["", "found by itself"], ...named].map(
    ([value, label]) => make("option", { value }, label)));
  const spelling = choice("bringspelling", start.spellings);
  const lines = choice("bringlines", start.lines);
  const said = make("p", { role: "status", class: "refused" });
  const read = make("button", { type: "button", id: "bringread", class: "main", onclick: async () => {
    if (!file.files.length) {
      said.textContent = "choose a file first";
      return;
    }
    read.disabled = true;
    said.textContent = "reading …";
    try {
      const body = { name: file.files[0].name, data: await base64(file.files[0]), harp: harp.value, part: part.value, tune: tune.value, spelling: spelling.value, lines: lines.value };
      const made = await ask("import", body);
      dialog.close();
      await open(made.text, made.told.join("; "));
    } catch (error) {
      said.textContent = error.message;
    }
    read.disabled = false;
  } }, "Read it");
  dialog.classList.remove("wide");
  dialog.onclose = null;
  dialog.replaceChildren(
    make("h2", { id: "askedhead" }, "Import"),
    make("label", { for: "bringfile" }, `a file: ${start.imports.join(" ")}`), file,
    harpLabel, harp, partLabel, part, tuneLabel, tune,
    make("label", { for: "bringspelling" }, "spelling of tab typed by hand"), spelling,
    make("label", { for: "bringlines" }, "its lines directly below each other"), lines, said,
    make("p", { class: "buttons" }, make("button", { type: "button", onclick: () => dialog.close() }, "Cancel"), read));
  dialog.showModal();
}
