// Elements from names, properties and children; text is only ever text, never markup.

export function make(name, properties = {}, ...children) {
  const svg = name === "svg" || name === "path";
  const element = svg
    ? document.createElementNS("http://www.w3.org/2000/svg", name)
    : document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "style") Object.entries(value).forEach(([k, v]) => element.style.setProperty(k, v));
    else if (key in element && !svg && typeof value !== "string") element[key] = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return element;
}

export const find = (id) => document.getElementById(id);

// Said to a screen reader and shown for a while; `grave` stays until it is replaced.
export function say(text, grave = false) {
  const line = find("status");
  line.textContent = text;
  line.classList.toggle("grave", grave);
  clearTimeout(say.timer);
  if (!grave) say.timer = setTimeout(() => (line.textContent = ""), 6000);
}

export function plural(count, word) {
  return `${count} ${word}${count === 1 ? "" : "s"}`;
}

export function duration(seconds) {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
