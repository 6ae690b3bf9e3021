// The text of the tune: typing, problems underlined, completion, the note that sounds.
import { autocompletion, completionKeymap } from "@codemirror/autocomplete";
import { defaultKeymap, history, historyKeymap } from "@codemirror/commands";
import { lintKeymap, setDiagnostics } from "@codemirror/lint";
import { EditorState, StateEffect, StateField } from "@codemirror/state";
import { Decoration, EditorView, drawSelection, keymap, lineNumbers } from "@codemirror/view";
import { notation } from "./notation.js";

const mark = StateEffect.define();
const marked = StateField.define({
  create: () => Decoration.none,
  update(shown, transaction) {
    shown = shown.map(transaction.changes);
    for (const effect of transaction.effects) {
      if (effect.is(mark)) {
        shown = effect.value
          ? Decoration.set([Decoration.mark({ class: "tab-now" }).range(effect.value.from, effect.value.to)])
          : Decoration.none;
      }
    }
    return shown;
  },
  provide: (field) => EditorView.decorations.from(field),
});

const SEVERITY = { error: "error", caution: "warning", hint: "info" };

export class Editor {
  constructor(parent, nonce, { changed, selected, keys }) {
    this.words = { headers: {}, values: {} };
    this.extensions = [
      EditorView.cspNonce.of(nonce),
      lineNumbers(),
      history(),
      drawSelection(),
      EditorView.lineWrapping,
      EditorView.contentAttributes.of({
        "aria-label": "The tune as text",
        tabindex: "0",
        spellcheck: "false",
        autocorrect: "off",
        autocapitalize: "off",
      }),
      notation,
      marked,
      autocompletion({ override: [(context) => this.complete(context)], icons: false }),
      keymap.of([...keys, ...completionKeymap, ...lintKeymap, ...historyKeymap, ...defaultKeymap]),
      EditorView.updateListener.of((update) => {
        if (update.docChanged) changed();
        if (update.selectionSet || update.docChanged) selected();
      }),
    ];
    this.view = new EditorView({ parent, state: this.fresh("") });
  }

  fresh(doc) {
    return EditorState.create({ doc, extensions: this.extensions });
  }

  get text() {
    return this.view.state.doc.toString();
  }

  // Another tune: its history begins anew.
  open(text) {
    this.view.setState(this.fresh(text));
  }

  // The same tune, changed as a whole; one undo brings the old text back.
  replace(text) {
    const { doc } = this.view.state;
    this.view.dispatch({ changes: { from: 0, to: doc.length, insert: text }, selection: { anchor: 0 } });
  }

  // Lines and columns count characters from 1, offsets count UTF-16 units from 0.
  offset(line, column) {
    const doc = this.view.state.doc;
    if (line > doc.lines) return doc.length;
    const at = doc.line(line);
    const text = at.text;
    let units = column - 1;
    if (/[\ud800-\udbff]/.test(text)) units = [...text].slice(0, column - 1).join("").length;
    return at.from + Math.min(units, text.length);
  }

  range([line, column, end]) {
    return { from: this.offset(line, column), to: this.offset(line, end) };
  }

  showProblems(problems, take) {
    const length = this.view.state.doc.length;
    const shown = problems.map((problem) => {
      const { from, to } = this.range([problem.line, problem.column, problem.end_column]);
      return {
        from,
        to: Math.min(length, Math.max(to, from + 1)),
        severity: SEVERITY[problem.level],
        source: problem.rule,
        message: `${problem.level}: ${problem.message}${problem.help ? `\n→ ${problem.help}` : ""}`,
        actions: (problem.fixes ?? []).map((fix) => ({ name: fix.title, apply: () => take(fix) })),
      };
    });
    this.view.dispatch(setDiagnostics(this.view.state, shown));
  }

  take(fix) {
    const changes = fix.edits.map(({ line, column, end_column, text }) => {
      const doc = this.view.state.doc;
      const range = this.range([line, column, end_column]);
      // A line put below the last one needs a line end before it.
      if (line > doc.lines) return { from: doc.length, insert: `\n${text.replace(/\n$/, "")}` };
      return { ...range, insert: text };
    });
    this.view.dispatch({ changes, userEvent: "input.fix" });
  }

  insert(text) {
    const { state } = this.view;
    const { from, to } = state.selection.main;
    const before = state.sliceDoc(Math.max(0, from - 1), from);
    const joins = text === "," || before === "" || /[\s,({]/.test(before) || before === "\n";
    const insert = (joins ? "" : " ") + text;
    this.view.dispatch({
      changes: { from, to, insert },
      selection: { anchor: from + insert.length },
      scrollIntoView: true,
      userEvent: "input.type",
    });
  }

  select(place, extend = false) {
    const { from, to } = this.range(place);
    const main = this.view.state.selection.main;
    const selection = extend
      ? { anchor: Math.min(from, main.from), head: Math.max(to, main.to) }
      : { anchor: from, head: to };
    this.view.dispatch({ selection, scrollIntoView: true });
  }

  get selection() {
    return this.view.state.selection.main;
  }

  showNow(place, follow = false) {
    const range = place ? this.range(place) : null;
    const effects = [mark.of(range && range.from < range.to ? range : null)];
    if (range && follow) effects.push(EditorView.scrollIntoView(range.from, { y: "nearest", yMargin: 40 }));
    this.view.dispatch({ effects });
  }

  complete(context) {
    const line = context.state.doc.lineAt(context.pos);
    const before = line.text.slice(0, context.pos - line.from);
    const value = /^\s*([A-Za-z][\w ]*?)\s*:\s*/.exec(before);
    if (value) {
      const words = this.words.values[value[1].toLowerCase()];
      if (!words) return null;
      const from = line.from + value[0].length;
      return { from, options: words.map((label, index) => ({ label, boost: -index })), validFor: /^.*$/ };
    }
    const head = /^\s*([A-Za-z ]*)$/.exec(before);
    if (!head || (!head[1] && !context.explicit)) return null;
    const options = Object.entries(this.words.headers).map(([name, example]) => ({
      label: `${name}: `,
      displayLabel: name,
      detail: example,
    }));
    options.push({ label: "lyric: ", displayLabel: "lyric", detail: "lyric: Ket- tle on the" });
    return { from: context.pos - head[1].length, options, validFor: /^[A-Za-z ]*$/ };
  }
}
