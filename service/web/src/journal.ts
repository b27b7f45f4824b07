// The phone's own end of the log: numbers, clocks and chains what it writes, as
// shared/events.py does, so that both give the same bytes and the same digests.
import canonicalize from "canonicalize";
import type { Body, Event } from "./contract.ts";

const FORMAT = "lagan-event/1";

/** Where a device's journal stands; kept in the database beside the events. */
export interface JournalState {
  device: string;
  sequence: number;
  clock: number;
  previous: string;
}

/** Who writes, when, and on which loss. */
export interface Writer {
  actor: string;
  zone: string;
  loss: string;
  at: Date;
}

export interface Written {
  events: Event[];
  digests: string[];
  state: JournalState;
}

/** The device's next events, one for each body, and where its journal stands after them. */
export async function write(
  state: JournalState,
  bodies: readonly Body[],
  writer: Writer,
): Promise<Written> {
  const events: Event[] = [];
  const digests: string[] = [];
  let { sequence, clock, previous } = state;
  for (const body of bodies) {
    sequence += 1;
    clock += 1;
    const event: Event = {
      format: FORMAT,
      id: `${state.device}.${sequence}`,
      device: state.device,
      sequence,
      clock,
      previous,
      device_time: writer.at.toISOString(),
      zone: writer.zone,
      actor: writer.actor,
      role: "crew",
      loss: writer.loss,
      body: { ...body },
    };
    previous = await digestOf(event);
    events.push(event);
    digests.push(previous);
  }
  return { events, digests, state: { device: state.device, sequence, clock, previous } };
}

/** The journal after a clock was seen elsewhere: what is written next comes after it. */
export function saw(state: JournalState, clock: number): JournalState {
  return { ...state, clock: Math.max(state.clock, clock) };
}

/** SHA-256 of the RFC 8785 bytes of `event`, lower-case hex. */
export async function digestOf(event: Event): Promise<string> {
  const text = canonicalize(event);
  if (text === undefined) throw new TypeError("an event has no canonical form");
  return sha256(new TextEncoder().encode(text));
}

/** SHA-256 of `bytes`, lower-case hex. */
export async function sha256(bytes: Uint8Array<ArrayBuffer> | ArrayBuffer): Promise<string> {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
}
