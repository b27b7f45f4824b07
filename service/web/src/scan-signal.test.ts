// A stubbed phone: what it was made to buzz and sound.
import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";
import { readyTones, setAudible, signalScan, signalTrouble } from "./scan-signal.ts";

let buzzed: unknown[] = [];
let tones: { hz: number; starts: number; stops: number }[] = [];
let made = 0;
let resumed = 0;

class FakeAudio {
  state = "suspended";
  currentTime = 1;
  destination = {};
  constructor() {
    made += 1;
  }
  async resume() {
    resumed += 1;
    this.state = "running";
  }
  createOscillator() {
    const tone = { hz: 0, starts: 0, stops: 0 };
    tones.push(tone);
    return {
      frequency: {
        set value(hz: number) {
          tone.hz = hz;
        },
      },
      connect: (next: unknown) => next,
      start: (at: number) => (tone.starts = at),
      stop: (at: number) => (tone.stops = at),
    };
  }
  createGain() {
    return {
      gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} },
      connect: (next: unknown) => next,
    };
  }
}

function phone(parts: { vibrate?: (pattern: unknown) => boolean; audio?: unknown }) {
  Object.defineProperty(globalThis, "navigator", {
    value: parts.vibrate === undefined ? {} : { vibrate: parts.vibrate },
    configurable: true,
  });
  Object.defineProperty(globalThis, "AudioContext", {
    value: parts.audio,
    configurable: true,
  });
}

beforeEach(() => {
  buzzed = [];
  tones = [];
  resumed = 0;
  setAudible(true);
});

test("a phone without any sound still buzzes, and nothing is thrown", () => {
  phone({ vibrate: (pattern) => buzzed.push(pattern) > 0, audio: undefined });
  signalScan();
  signalTrouble();
  assert.deepEqual(buzzed, [[80], [250, 100, 250]]);
  assert.equal(tones.length, 0);
});

test("a phone that can't buzz sounds: one high tone, or two low ones", () => {
  phone({ audio: FakeAudio });
  signalScan();
  assert.deepEqual(
    tones.map((one) => [one.hz, one.starts, one.stops]),
    [[1320, 1, 1.08]],
  );
  tones = [];
  signalTrouble();
  assert.deepEqual(
    tones.map((one) => [one.hz, one.starts, one.stops]),
    [
      [330, 1, 1.25],
      [330, 1.35, 1.6],
    ],
  );
});

test("one source of sound serves all scans, and a touch wakes it", () => {
  phone({ audio: FakeAudio });
  for (let scans = 0; scans < 50; scans += 1) signalScan();
  assert.ok(made <= 1, `${made} sources were made`);
  assert.equal(tones.length, 50);
  readyTones();
  assert.equal(resumed, 0); // It runs already since the test before.
});

test("with the tones off it buzzes only, and makes nothing ready", () => {
  phone({ vibrate: (pattern) => buzzed.push(pattern) > 0, audio: FakeAudio });
  setAudible(false);
  readyTones();
  signalScan();
  assert.equal(buzzed.length, 1);
  assert.equal(tones.length, 0);
});
