// Tone and speech. Silent until the first touch; one for the whole browser tab.

const PITCH_HZ = { low: 330, there: 520, high: 780 };
const TIMBRE = { low: "triangle", there: "sine", high: "sawtooth" };
const VOICES = [
  ["en-GB mm", "British, mm"], ["en-GB in", "British, inch"],
  ["en-US mm", "American, mm"], ["en-US in", "American, inch"],
];
const VOICE_KEPT = "sparehand.voice";
const LOUD = { low: 0.25, there: 0.16, high: 0.09 };

class Sound {
  constructor(counters) {
    this.counters = counters;
    this.context = null;
    this.muted = false;
    this.said = "";
    this.voice = keptVoice();
    this.side = null;
    this.off = 0;
  }

  unlock() {
    if (!this.context) {
      const Context = window.AudioContext || window.webkitAudioContext;
      if (!Context) return;
      this.context = new Context();
      this.voices = {};
      this.tones = {};
      for (const side of Object.keys(PITCH_HZ)) this.voices[side] = this.makeVoice(side);
      this.pulse();
    }
    if (this.context.state !== "running") this.context.resume();
  }

  get on() {
    return this.context !== null && this.context.state === "running";
  }

  makeVoice(side) {
    const tone = this.context.createOscillator();
    const gain = this.context.createGain();
    tone.type = TIMBRE[side];
    tone.frequency.value = PITCH_HZ[side];
    gain.gain.value = 0;
    tone.connect(gain).connect(this.context.destination);
    tone.start();
    this.tones[side] = tone;
    return gain.gain;
  }

  follow(side, off) {
    this.side = side;
    this.off = Math.abs(off || 0);
  }

  // Outside: pulses, faster the nearer. Inside: one steady tone.
  pulse() {
    const now = this.context.currentTime;
    const side = this.muted ? null : this.side;
    for (const [name, gain] of Object.entries(this.voices)) {
      gain.cancelScheduledValues(now);
      if (name !== side) gain.setTargetAtTime(0, now, 0.02);
      else gain.setTargetAtTime(LOUD[name], now, 0.015);
    }
    let wait = 150;
    if (side === "low" || side === "high") {
      wait = 160 + 130 * Math.min(4, Math.log2(1 + this.off) / 1.5);
      this.voices[side].setTargetAtTime(0, now + 0.09, 0.02);
    }
    setTimeout(() => this.pulse(), wait);
  }

  // Two tones: rising for what was done, falling for what was taken back.
  confirm(undone) {
    if (!this.on || this.muted) return;
    const pitches = undone ? [780, 520] : [520, 780];
    pitches.forEach((pitch, i) => {
      const from = this.context.currentTime + 0.2 * i;
      const tone = this.context.createOscillator();
      const gain = this.context.createGain();
      tone.frequency.value = pitch;
      gain.gain.setValueAtTime(0.3, from);
      gain.gain.setTargetAtTime(0, from + 0.12, 0.02);
      tone.connect(gain).connect(this.context.destination);
      tone.start(from);
      tone.stop(from + 0.25);
    });
  }

  // `ways` is what is said, by voice and unit.
  say(ways) {
    const text = ways ? ways[this.voice] : "";
    if (!text || ways[VOICES[0][0]] === this.said) return;
    this.said = ways[VOICES[0][0]];
    this.speak(text);
  }

  speak(text) {
    if (!this.on || this.muted || !window.speechSynthesis) return;
    window.speechSynthesis.cancel();
    const words = new SpeechSynthesisUtterance(text);
    words.lang = this.voice.split(" ")[0];
    words.rate = 0.95;
    window.speechSynthesis.speak(words);
    this.counters.spoken.push(text);
    this.counters.spoken.splice(0, this.counters.spoken.length - 50);
  }

  // The next voice and unit; kept by this browser.
  nextVoice() {
    const now = VOICES.findIndex(([key]) => key === this.voice);
    this.voice = VOICES[(now + 1) % VOICES.length][0];
    try {
      localStorage.setItem(VOICE_KEPT, this.voice);
    } catch { /* a browser that keeps nothing still speaks */ }
    this.said = "";
  }

  get voiceWords() {
    return VOICES.find(([key]) => key === this.voice)[1];
  }

  mute(on) {
    this.muted = on;
    if (on && window.speechSynthesis) window.speechSynthesis.cancel();
  }

  silence() {
    this.follow(null, 0);
  }
}

function keptVoice() {
  let kept = null;
  try {
    kept = localStorage.getItem(VOICE_KEPT);
  } catch { /* not allowed here */ }
  return VOICES.some(([key]) => key === kept) ? kept : VOICES[0][0];
}
