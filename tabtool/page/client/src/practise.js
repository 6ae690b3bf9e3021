// Drills and worksheets for a harp: a drill is a tune like any other.
import { question } from "./ask.js";
import { make, say } from "./dom.js";
import { ask } from "./talk.js";

export async function practise(drawn, start, open) {
  const named = drawn?.harps[0];
  const own = named ? (named.tuning === "Richter" ? named.key : `${named.key} ${named.tuning}`) : "C";
  const harp = make("input", { id: "drillharp", value: start.kept.harps[0] && !named ? start.kept.harps[0] : own, size: 24 });
  const bends = make("input", { id: "drillbends", value: "", size: 24, placeholder: "all that give new notes" });
  const answer = await question("Practise", [
    make("label", { for: "drillharp" }, "harp"), harp,
    make("label", { for: "drillbends" }, "bends, such as 2v2 3v1, or draw, blow, overbends"), bends,
    make("p", {}, "Bend with the mouth, not with force; breathe at every rest. If you feel light-headed, stop and breathe quietly."),
  ], [["drill", "Drills", true], ["worksheet", "Worksheet"], ["", "Cancel"]]);
  if (!answer) return;
  if (answer === "drill") await drill(harp.value, bends.value, open);
  else await sheet(await ask("practise", { harp: harp.value, seed: seed(), worksheet: true }));
}

const seed = () => 1 + Math.floor(Math.random() * 999999);

export async function drill(harp, bends, open) {
  say("writing it …");
  const made = await ask("practise", { harp, bends, seed: seed() });
  await open(made.text);
  say(`${made.title}: a new tune, not saved yet`);
}

async function sheet({ questions, answers }) {
  const answer = await question("Worksheet", make("pre", { tabindex: "0", "aria-label": "Questions" }, questions),
    [["answers", "Answers"], ["", "Close", true]], true);
  if (answer) {
    await question("Answers", make("pre", { tabindex: "0", "aria-label": "Answers" }, answers), [["", "Close", true]], true);
  }
}
