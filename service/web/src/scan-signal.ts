// What tells that a scan was taken, or that the phone wants to be looked at: a buzz, felt through
// gloves, and a tone, for phones that do not buzz (no iPhone does) and for noise that drowns it.

const TAKEN_MS = [80];
const TROUBLE_MS = [250, 100, 250];
const HIGH_HZ = 1320;
const LOW_HZ = 330;
const LOUDNESS = 0.15;
/** Loudness falls towards this, for it can't fall exponentially to nothing. */
const SILENCE = 0.001;

let audible = true;
let audio: AudioContext | null = null;

/** Turn the tones on or off; the buzz stays. */
export function setAudible(on: boolean): void {
  audible = on;
}

/**
 * Get the tones ready. Browsers let a page be heard only after it was touched, and a scan is no
 * touch: so this is called at each touch, and the one source of sound kept.
 */
export function readyTones(): void {
  if (!audible) return;
  try {
    audio ??= new AudioContext();
    if (audio.state !== "running") void audio.resume().catch(() => undefined);
  } catch {
    audio = null; // A browser without sound scans all the same.
  }
}

/** A scan was taken. */
export function signalScan(): void {
  navigator.vibrate?.(TAKEN_MS);
  play(HIGH_HZ, TAKEN_MS);
}

/** Otherwise than a plain scan: look at the phone. */
export function signalTrouble(): void {
  navigator.vibrate?.(TROUBLE_MS);
  play(LOW_HZ, TROUBLE_MS);
}

/** `pattern` as for a buzz: sound, silence, sound, each in milliseconds. */
function play(pitchHz: number, pattern: readonly number[]): void {
  readyTones();
  if (!audible || audio === null) return;
  let at = audio.currentTime;
  for (const [place, lengthMs] of pattern.entries()) {
    const end = at + lengthMs / 1000;
    if (place % 2 === 0) playTone(audio, pitchHz, at, end);
    at = end;
  }
}

function playTone(on: AudioContext, pitchHz: number, start: number, end: number): void {
  const tone = on.createOscillator();
  const loudness = on.createGain();
  tone.frequency.value = pitchHz;
  loudness.gain.setValueAtTime(LOUDNESS, start);
  loudness.gain.exponentialRampToValueAtTime(SILENCE, end);
  tone.connect(loudness).connect(on.destination);
  tone.start(start);
  tone.stop(end);
}
