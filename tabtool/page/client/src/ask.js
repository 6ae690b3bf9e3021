// One dialog for every question: a heading, what it shows, and its buttons.
import { find, make } from "./dom.js";

// Resolves to the value of the button pressed, null if the dialog was left.
export function question(heading, content, buttons, wide = false) {
  const dialog = find("asked");
  return new Promise((resolve) => {
    const form = make("form", { method: "dialog" },
      make("h2", { id: "askedhead" }, heading), content,
      make("p", { class: "buttons" }, buttons.map(([value, label, main]) =>
        make("button", { value, class: main ? "main" : null }, label))));
    dialog.classList.toggle("wide", wide);
    dialog.replaceChildren(form);
    dialog.returnValue = "";
    dialog.onclose = () => resolve(dialog.returnValue || null);
    dialog.showModal();
  });
}
