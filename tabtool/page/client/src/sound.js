// Hearing it: additive reeds from the measured partials, placed ahead on the audio clock.
// Pitch curves come ready from the program; the speed never changes a pitch.

const AHEAD = 0.3; // seconds placed before they sound
const TICK = 60; // milliseconds between two looks ahead
const LEVEL = 0.16;

export class Sound {
  constructor({ moved, ended }) {
    this.moved = moved;
    this.ended = ended;
    this.context = null;
    this.voice = null;
    this.waves = [];
    this.volume = 0.6;
    this.playing = false;
    this.click = false;
    this.countIn = false;
    this.loop = null;
    this.live = new Set();
  }

  // Browsers let sound begin only on a press: call this from one.
  wake() {
    if (!this.context) {
      this.context = new AudioContext();
      this.out = this.context.createGain();
      this.out.gain.value = this.volume;
      const limiter = this.context.createDynamicsCompressor();
      this.out.connect(limiter).connect(this.context.destination);
    }
    if (this.context.state === "suspended") this.context.resume();
  }

  setVoice(voice) {
    this.voice = voice;
    this.waves = [];
  }

  setVolume(volume) {
    this.volume = volume;
    if (this.out) this.out.gain.setTargetAtTime(volume, this.context.currentTime, 0.02);
  }

  wave(midi) {
    const index = this.voice.reeds.reduce(
      (best, reed, at, reeds) => (Math.abs(reed.key - midi) < Math.abs(reeds[best].key - midi) ? at : best), 0);
    if (!this.waves[index]) {
      const { partials, level } = this.voice.reeds[index];
      const count = partials.length + 1;
      const real = new Float32Array(count), imaginary = new Float32Array(count);
      let power = 0;
      partials.forEach((db, at) => {
        const amplitude = 10 ** (db / 20);
        const phase = (Math.PI * (at + 1) ** 2) / partials.length; // spreads the energy over the period
        real[at + 1] = amplitude * Math.cos(phase);
        imaginary[at + 1] = amplitude * Math.sin(phase);
        power += amplitude ** 2 / 2;
      });
      this.waves[index] = {
        wave: this.context.createPeriodicWave(real, imaginary, { disableNormalization: true }),
        gain: 10 ** (level / 20) / Math.sqrt(power),
        attack: this.voice.reeds[index].attack,
      };
    }
    return this.waves[index];
  }

  // One tone of a score at a time of the audio clock.
  tone(sound, at) {
    const { wave, gain, attack } = this.wave(sound.midi);
    const length = Math.max(0.02, sound.end - sound.start);
    const source = this.context.createOscillator();
    source.setPeriodicWave(wave);
    source.frequency.value = sound.hz;
    if (sound.cents) source.detune.setValueCurveAtTime(Float32Array.from(sound.cents), at, length);
    const envelope = this.context.createGain();
    const rise = Math.min(attack, 0.4 * length);
    const level = LEVEL * gain * (sound.accent ? 1.5 : 1);
    envelope.gain.setValueAtTime(0, at);
    envelope.gain.linearRampToValueAtTime(level, at + rise);
    envelope.gain.setValueAtTime(level, at + length);
    envelope.gain.setTargetAtTime(0, at + length, this.voice.release);
    let last = source.connect(envelope);
    if (sound.hands) {
      // Closed hands shut the upper partials in and make the tone softer.
      const shut = this.context.createBiquadFilter();
      shut.type = "lowpass";
      shut.frequency.setValueCurveAtTime(Float32Array.from(sound.hands, (open) => 800 * 10 ** open), at, length);
      const soft = this.context.createGain();
      soft.gain.setValueCurveAtTime(Float32Array.from(sound.hands, (open) => 0.6 + 0.4 * open), at, length);
      last = last.connect(shut).connect(soft);
    }
    last.connect(this.out);
    source.start(at);
    source.stop(at + length + 8 * this.voice.release);
    this.live.add(source);
    source.onended = () => this.live.delete(source);
  }

  tick(at, strong) {
    const source = this.context.createOscillator();
    source.type = "square";
    source.frequency.value = strong ? 1760 : 1320;
    const envelope = this.context.createGain();
    envelope.gain.setValueAtTime(strong ? 0.12 : 0.07, at);
    envelope.gain.exponentialRampToValueAtTime(0.0005, at + 0.04);
    source.connect(envelope).connect(this.out);
    source.start(at);
    source.stop(at + 0.05);
    this.live.add(source);
    source.onended = () => this.live.delete(source);
  }

  // A single tone now, for a note pressed.
  once(tones) {
    this.wake();
    for (const { hz, midi } of tones) this.tone({ hz, midi, start: 0, end: 0.5 }, this.context.currentTime + 0.02);
  }

  // Sound a score from a time on; `loop` is `[from, to]` in seconds, or null.
  play(score, from, loop) {
    this.stop(true);
    this.wake();
    this.score = score;
    this.loop = loop;
    this.end = loop ? loop[1] : score.seconds;
    this.items = [
      ...score.sounds.map((sound) => ({ at: sound.start, sound })),
      ...score.beats.map(([at, first]) => ({ at, first, beat: true })),
    ].sort((a, b) => a.at - b.at);
    let begin = this.context.currentTime + 0.12;
    if (this.countIn) begin = this.count(from, begin);
    this.epochs = [{ clock: begin, tune: from }];
    this.next = this.items.findIndex((item) => item.at >= from - 1e-6);
    if (this.next < 0) this.next = this.items.length;
    this.playing = true;
    this.timer = setInterval(() => this.ahead(), TICK);
    this.ahead();
    const follow = () => {
      if (!this.playing) return;
      this.moved(this.position);
      requestAnimationFrame(follow);
    };
    requestAnimationFrame(follow);
  }

  // A bar of clicks before the music; returns when the music begins.
  count(from, begin) {
    const { beats } = this.score;
    const at = Math.max(0, beats.findLastIndex(([time]) => time <= from + 1e-6));
    const bar = beats.slice(0, at + 1).findLastIndex(([, first]) => first);
    let size = beats.slice(bar + 1).findIndex(([, first]) => first) + 1 || beats.length - bar;
    if (size < 2 || beats.length < 2) size = 4;
    const length = beats[at + 1] ? beats[at + 1][0] - beats[at][0] : 0.5;
    for (let beat = 0; beat < size; beat++) this.tick(begin + beat * length, beat === 0);
    return begin + size * length;
  }

  ahead() {
    const horizon = this.context.currentTime + AHEAD;
    for (let turn = 0; turn < 1000; turn++) {
      const epoch = this.epochs.at(-1);
      const item = this.items[this.next];
      const end = epoch.clock + this.end - epoch.tune;
      if (item && item.at < this.end - 1e-6) {
        const at = epoch.clock + item.at - epoch.tune;
        if (at > horizon) return;
        this.next++;
        if (at < this.context.currentTime - 0.05) continue; // the page slept
        if (!item.beat) this.tone({ ...item.sound, end: Math.min(item.sound.end, this.end) }, Math.max(at, this.context.currentTime));
        else if (this.click) this.tick(Math.max(at, this.context.currentTime), item.first);
      } else if (this.loop && this.end - this.loop[0] > 0.05) {
        if (end > horizon) return;
        this.epochs.push({ clock: end, tune: this.loop[0] });
        this.next = this.items.findIndex((other) => other.at >= this.loop[0] - 1e-6);
      } else {
        if (this.context.currentTime > end + 0.2) this.finish();
        return;
      }
    }
  }

  // Where in the tune the sound is that is heard now, in seconds; before 0 while counting in.
  get position() {
    if (!this.playing) return this.paused ?? 0;
    const now = this.context.currentTime - (this.context.outputLatency || 0);
    const epoch = this.epochs.findLast(({ clock }) => clock <= now) ?? this.epochs[0];
    return epoch.tune + now - epoch.clock;
  }

  pause() {
    const at = Math.max(0, this.position);
    this.stop(true);
    this.paused = at;
  }

  stop(quiet = false) {
    clearInterval(this.timer);
    this.playing = false;
    this.paused = 0;
    for (const source of this.live) {
      try {
        source.stop();
      } catch {
        // has ended by itself
      }
    }
    this.live.clear();
    if (!quiet) this.ended();
  }

  finish() {
    this.stop();
  }
}
