// A recording against the tab: chosen, dropped or made here; judged, or written down as a tune.
// Nothing is kept: the recording goes to the program on this machine and is gone afterwards.
import { find, make } from "./dom.js";
import { base64 } from "./import.js";
import { ask } from "./talk.js";

export const SOUNDS = [".wav", ".flac", ".ogg", ".opus", ".mp3", ".m4a", ".mp4", ".aac", ".webm"];

export class Takes {
  constructor({ tune, drill, open }) {
    this.tune = tune;
    this.drill = drill;
    this.open = open;
    this.recorder = null;
  }

  ask(dropped = null) {
    const dialog = find("asked");
    this.blob = dropped;
    this.file = make("input", { type: "file", id: "takefile", accept: `audio/*,${SOUNDS.join(",")}`, onchange: () => {
      this.blob = this.file.files[0] ?? null;
      this.ready();
    } });
    this.button = make("button", { type: "button", id: "record", onclick: () => this.record() }, "● Record here");
    this.heard = make("audio", { controls: true, hidden: true, "aria-label": "The recording" });
    this.harp = make("input", { id: "takeharp", size: 14, value: this.harpOf() });
    this.judgeButton = make("button", { type: "button", class: "main", onclick: () => this.judge() }, "Judge it by this tune");
    this.writeButton = make("button", { type: "button", onclick: () => this.write() }, "Write it down as a new tune");
    this.said = make("p", { role: "status", class: "refused" });
    this.result = make("div", { id: "taken", role: "region", "aria-label": "What was heard", tabindex: "0" });
    dialog.classList.add("wide");
    dialog.onclose = () => this.recorder?.state === "recording" && this.recorder.stop();
    dialog.replaceChildren(
      make("h2", { id: "askedhead" }, "A take"),
      make("p", {}, "Play alone, near the microphone, in a quiet room, at any tempo. If you feel light-headed, stop and breathe quietly."),
      make("div", { class: "fields" },
        make("label", {}, "a recording ", this.file), make("label", { for: "record" }, "or with this machine's microphone ", this.button)),
      this.heard, this.said, this.result,
      make("p", { class: "buttons" },
        make("button", { type: "button", onclick: () => dialog.close() }, "Close"),
        make("label", { class: "inline" }, "harp ", this.harp), this.writeButton, this.judgeButton));
    dialog.showModal();
    this.ready();
  }

  harpOf() {
    const harp = this.tune().drawn?.harps[0];
    return harp ? (harp.tuning === "Richter" ? harp.key : `${harp.key} ${harp.tuning}`) : "C";
  }

  ready() {
    for (const button of [this.judgeButton, this.writeButton]) button.disabled = !this.blob;
    this.heard.hidden = !this.blob;
    if (this.heard.src) URL.revokeObjectURL(this.heard.src);
    if (this.blob) this.heard.src = URL.createObjectURL(this.blob);
  }

  async record() {
    if (this.recorder?.state === "recording") {
      this.recorder.stop();
      return;
    }
    let stream;
    try {
      // What makes speech clear spoils pitch and attack: all of it off.
      stream = await navigator.mediaDevices.getUserMedia({
        audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
      });
    } catch {
      this.said.textContent = "no microphone is to be had; the browser's settings say whether this page may use one";
      return;
    }
    const parts = [];
    this.recorder = new MediaRecorder(stream);
    const kind = this.recorder.mimeType.includes("mp4") ? "m4a" : this.recorder.mimeType.includes("ogg") ? "ogg" : "webm";
    this.recorder.ondataavailable = (event) => parts.push(event.data);
    this.recorder.onstop = () => {
      stream.getTracks().forEach((track) => track.stop());
      this.button.textContent = "● Record again";
      this.blob = new File(parts, `take.${kind}`, { type: this.recorder.mimeType });
      this.said.textContent = "";
      this.ready();
    };
    this.recorder.start();
    this.button.textContent = "■ Stop recording";
    this.said.textContent = "recording …";
  }

  async send(body) {
    this.said.textContent = "listening …";
    this.judgeButton.disabled = this.writeButton.disabled = true;
    try {
      const answer = await ask("take", { name: this.blob.name, data: await base64(this.blob), ...body });
      this.said.textContent = "";
      return answer;
    } catch (error) {
      this.said.textContent = error.message;
      return null;
    } finally {
      this.judgeButton.disabled = this.writeButton.disabled = false;
    }
  }

  async judge() {
    const { text, path } = this.tune();
    const take = await this.send({ text, path });
    if (!take) return;
    const picture = make("img", {
      alt: "The pitch that was heard, drawn over the notes of the tab; the report below tells the same in words",
      src: `data:image/svg+xml;base64,${btoa(unescape(encodeURIComponent(take.picture)))}`,
    });
    const weak = take.practise.length
      ? make("p", {}, make("button", { type: "button", id: "drillthese", onclick: () => {
          find("asked").close();
          this.drill(this.harpOf(), take.practise.join(" "));
        } }, `Drill ${take.practise.join(" ")}`))
      : "";
    this.result.replaceChildren(make("div", { class: "picture" }, picture), weak, make("pre", { tabindex: "0", "aria-label": "Report" }, take.report));
  }

  async write() {
    const made = await this.send({ harp: this.harp.value });
    if (!made) return;
    find("asked").close();
    await this.open(made.text, made.told.join("; "));
  }
}
