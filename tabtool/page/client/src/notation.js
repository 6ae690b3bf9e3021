// The notation of .harptab files for the editor: a mirror of grammar/tab.lark, line by line.
import { HighlightStyle, StreamLanguage, syntaxHighlighting } from "@codemirror/language";
import { Tag } from "@lezer/highlight";

const TONE = String.raw`\d{1,2}(?:(?:\^{1,2}|[vV]{1,2}|↑{1,2}|↓{1,2})(?:\d{1,2}(?:\.\d+)?)?\*?)?`;
const NOTE = new RegExp(
  String.raw`(?:\{[^{}|\s]*\})?\/*${TONE}(?:[+~](?=\d)${TONE})*(?:\\+\/|\\+(?!\/)|[~!;@])*(?=[\s,|):#]|$)`,
);
const BARLINE = /:?(?:\|\||\|\]|\|)(?::|[1-9](?=\s|$))?/;
const HEADER = /\s*[A-Za-z][\w ]*?\s*:/;

const tags = Object.fromEntries(
  ["blow", "draw", "over", "barline", "quiet", "chord", "head", "value", "section", "lyric", "remark", "wrong"].map(
    (name) => [name, Tag.define(name)],
  ),
);

function music(stream) {
  if (stream.match(NOTE)) {
    const note = stream.current();
    const arrow = /[\^vV↑↓]+/.exec(note.replace(/^\{[^}]*\}/, ""));
    if (!arrow) return "wrong";
    if (arrow[0].length > 1) return "over";
    return "^↑".includes(arrow[0]) ? "blow" : "draw";
  }
  if (stream.match(BARLINE)) return "barline";
  if (stream.match(/[.-](?=[\s,|):#]|$)/) || stream.match(/[,()]/)) return "quiet";
  if (stream.match(/"[^"|]*"/)) return "chord";
  stream.match(/[^\s|,()"]+/) || stream.next();
  return "wrong";
}

const parser = {
  name: "tab",
  startState: () => ({ kind: "" }),
  token(stream, state) {
    if (stream.sol()) {
      state.kind = "";
      if (stream.eatSpace()) return null;
    }
    if (stream.peek() === "#" && (stream.pos === 0 || /\s/.test(stream.string[stream.pos - 1]) || state.kind === "music")) {
      if (state.kind !== "title" || /\s|^$/.test(stream.string[stream.pos + 1] ?? "")) {
        stream.skipToEnd();
        return "remark";
      }
    }
    if (!state.kind) {
      if (stream.peek() === "[") {
        stream.match(/\[[^\]]*\]?/);
        state.kind = "section";
        return "section";
      }
      const header = /[A-Za-z]/.test(stream.peek() ?? "") && stream.match(HEADER);
      if (header) {
        const name = header[0].replace(":", "").trim().toLowerCase();
        state.kind = name === "lyric" ? "lyric" : name === "title" || name === "composer" ? "title" : "header";
        return "head";
      }
      state.kind = "music";
    }
    if (stream.eatSpace()) return null;
    if (state.kind === "music") return music(stream);
    stream.match(/[^\s]+/) || stream.next();
    return state.kind === "lyric" ? "lyric" : state.kind === "section" ? "wrong" : "value";
  },
  tokenTable: tags,
  languageData: { commentTokens: { line: "#" } },
};

export const notation = [
  StreamLanguage.define(parser),
  syntaxHighlighting(
    HighlightStyle.define(Object.entries(tags).map(([name, tag]) => ({ tag, class: `tab-${name}` }))),
  ),
];
