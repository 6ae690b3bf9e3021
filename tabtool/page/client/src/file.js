// The file behind the text: opening, saving, never overwriting what changed on disk unasked.
import { question } from "./ask.js";
import { find, make, say } from "./dom.js";
import { ask } from "./talk.js";

const NEW = "title: New tune\nharp: C\nkey: C\ntempo: 96\nmeter: 4/4\n\n";

export class TuneFile {
  // `title` gives the tune's title, `shown` is called when another text has been put in.
  constructor(editor, { title, shown }) {
    this.editor = editor;
    this.title = title;
    this.shown = shown;
    this.suffix = "";
    this.path = "";
    this.digest = null; // of the version on disk that the text was made from
    this.line_end = "\n";
    this.saved = "";
  }

  get unsaved() {
    return this.editor.text !== this.saved;
  }

  // Do something that puts another text in, unless the player would lose this one.
  async leave(act) {
    if (this.unsaved) {
      const answer = await question("The tune is not saved", make("p", {}, "Leave it and lose what has changed?"), [
        ["stay", "Stay here", true], ["leave", "Leave it"],
      ]);
      if (answer !== "leave") return;
    }
    await act();
  }

  show({ path, digest, line_end, text }, saved = text) {
    Object.assign(this, { path, digest, line_end, saved });
    this.editor.open(text);
    find("name").textContent = path || "New tune";
    history.replaceState(null, "", path ? `#${encodeURI(path)}` : location.pathname);
    this.shown();
  }

  async open(path) {
    this.show(await ask("open", { path }));
  }

  // A tune of no file yet: an empty one, or a text made elsewhere, which then is not saved.
  fresh(text = NEW) {
    this.show({ path: "", digest: null, line_end: "\n", text }, text === NEW ? NEW : "");
    if (text !== NEW) return;
    this.editor.view.dispatch({ selection: { anchor: "title: ".length, head: "title: New tune".length } });
    this.editor.view.focus();
  }

  get name() {
    const plain = this.title().toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "");
    return `${plain || "tune"}${this.suffix}`;
  }

  async save() {
    if (this.path) await this.put(this.path, this.digest);
    else await this.saveAs();
  }

  async saveAs() {
    const input = make("input", { id: "savename", value: this.path || this.name, size: 36 });
    const answer = await question("Save the tune in the folder", make("label", {}, "file name ", input), [
      ["save", "Save", true], ["", "Cancel"],
    ]);
    if (answer !== "save") return;
    const name = input.value.trim();
    const path = name.endsWith(this.suffix) ? name : `${name}${this.suffix}`;
    await this.put(path, path === this.path ? this.digest : null);
  }

  async put(path, seen) {
    const { text } = this.editor;
    try {
      const saved = await ask("save", { path, text, seen, line_end: this.line_end });
      Object.assign(this, { path: saved.path, digest: saved.digest, saved: text });
      find("name").textContent = saved.path;
      history.replaceState(null, "", `#${encodeURI(saved.path)}`);
      find("unsaved").hidden = !this.unsaved;
      say(`saved ${saved.path}`);
    } catch (error) {
      if (!error.changed) throw error;
      await this.settle(path, error, text);
    }
  }

  // The file on disk is another: show both and ask; nothing is overwritten unasked.
  async settle(path, error, text) {
    const now = error.now;
    const content = [make("p", {}, `${error.message}. What is there now would be lost if this were saved over it.`)];
    if (now) {
      content.push(make("div", { class: "two" },
        make("div", {}, make("h3", {}, "here"), make("pre", { tabindex: "0" }, text)),
        make("div", {}, make("h3", {}, "on disk"), make("pre", { tabindex: "0" }, now.text))));
    }
    const answer = await question(now ? "Another version on disk" : "Gone from disk", content, [
      ["", "Keep editing", true], ["over", "Save over it"], ...(now ? [["disk", "Open what is on disk"]] : []),
    ], true);
    if (answer === "over") await this.put(path, now ? now.digest : null);
    else if (answer === "disk") await this.open(path);
  }
}
