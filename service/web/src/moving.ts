// What this phone packed, listed, handed over and received, folded from its own events; and what
// of a list has come, is missing, or is on no list.
import type { Body } from "./contract.ts";
import type { KeptEvent } from "./store.ts";

export interface Packing {
  /** The event, to be taken back when it was a mistake. */
  event: string;
  tag: string;
  container: string;
}

export interface Handover {
  givenBy: string;
  takenBy: string;
  signature: string | null;
}

export interface Load {
  manifest: string;
  vehicle: string;
  expectedAt: string | null;
  /** Why it comes later than its list said, the latest reason last. */
  delays: string[];
  tags: string[];
  received: string[];
  handovers: Handover[];
}

export interface Delay {
  expectedAt: string;
  reason: string;
}

export interface Receipt {
  tag: string;
  /** The list it was scanned against; null when there was none. */
  manifest: string | null;
  condition: string;
}

export interface Moves {
  /** For each piece the packing that stands: a piece is in one container at a time. */
  packed: Map<string, Packing>;
  loads: Map<string, Load>;
  /** By list, also of lists that another phone made. */
  handovers: Map<string, Handover[]>;
  /** By list, as the handovers. */
  delays: Map<string, Delay[]>;
  receipts: Receipt[];
  /** For a tag that replaced another: that other. */
  replaced: Map<string, string>;
}

/** The moves of one loss that this phone wrote, from its events in order. */
export function foldMoves(kept: readonly KeptEvent[]): Moves {
  const told = kept.map(({ id, event }) => ({ id, body: event.body as unknown as Body }));
  const undone = new Set(
    told.flatMap(({ body }) => (body.type === "event_undone" ? [body.event] : [])),
  );
  const moves: Moves = {
    packed: new Map(),
    loads: new Map(),
    handovers: new Map(),
    delays: new Map(),
    receipts: [],
    replaced: new Map(),
  };
  for (const { id, body } of told) {
    if (undone.has(id)) continue;
    switch (body.type) {
      case "item_packed":
        // Taken out first, so that the map keeps the order of packing.
        moves.packed.delete(body.tag);
        moves.packed.set(body.tag, { event: id, tag: body.tag, container: body.container });
        break;
      case "manifest_closed":
        moves.loads.set(body.manifest, {
          manifest: body.manifest,
          vehicle: body.vehicle,
          expectedAt: body.expected_at,
          tags: union(moves.loads.get(body.manifest)?.tags ?? [], body.tags),
          delays: [],
          received: [],
          handovers: [],
        });
        break;
      case "manifest_delayed":
        moves.delays.set(body.manifest, [
          ...(moves.delays.get(body.manifest) ?? []),
          { expectedAt: body.expected_at, reason: body.reason },
        ]);
        break;
      case "tag_replaced":
        moves.replaced.set(body.new_tag, body.tag);
        break;
      case "handed_over":
        moves.handovers.set(body.manifest, [
          ...(moves.handovers.get(body.manifest) ?? []),
          {
            givenBy: body.given_by,
            takenBy: body.taken_by,
            signature: body.signature ?? null,
          },
        ]);
        break;
      case "item_received":
        moves.receipts.push({
          tag: body.tag,
          manifest: body.manifest ?? null,
          condition: body.condition ?? "",
        });
        break;
    }
  }
  return moves;
}

/** Containers by name, each with its pieces in the order they were packed. */
export function containersOf(moves: Moves): Map<string, string[]> {
  const found = new Map<string, string[]>();
  for (const { tag, container } of moves.packed.values()) {
    found.set(container, [...(found.get(container) ?? []), tag]);
  }
  return found;
}

/** What no list of this phone names yet: pieces in containers, and loose ones out of `tagged`. */
export function notYetLoaded(
  moves: Moves,
  tagged: Iterable<string>,
): { containers: Map<string, string[]>; loose: string[] } {
  const listed = new Set([...moves.loads.values()].flatMap((load) => load.tags));
  const containers = new Map<string, string[]>();
  for (const [name, tags] of containersOf(moves)) {
    const left = tags.filter((tag) => !listed.has(tag));
    if (left.length > 0) containers.set(name, left);
  }
  const loose = [...tagged].filter((tag) => !listed.has(tag) && !moves.packed.has(tag));
  return { containers, loose };
}

/** This phone's receipts against a list; those on no list when `manifest` is null. */
export function receivedOn(moves: Moves, manifest: string | null): string[] {
  return union(
    [],
    moves.receipts.filter((one) => one.manifest === manifest).map((one) => one.tag),
  );
}

export interface Count {
  arrived: string[];
  missing: string[];
  surplus: string[];
}

/** A list beside what came. With no list known (null) nothing can be missing or surplus. */
export function countOff(listed: readonly string[] | null, received: readonly string[]): Count {
  if (listed === null) return { arrived: [...received], missing: [], surplus: [] };
  const list = new Set(listed);
  const came = new Set(received);
  return {
    arrived: [...came].filter((tag) => list.has(tag)),
    missing: [...list].filter((tag) => !came.has(tag)),
    surplus: [...came].filter((tag) => !list.has(tag)),
  };
}

/**
 * A name for a new list that no other phone can make: this phone's own name, given to it by the
 * service and to no other, and the number of the entry it is about to write. In capitals, which
 * make a smaller code and leave no question when it is typed.
 */
export function manifestName(journal: { device: string; sequence: number }): string {
  return `${journal.device}-${journal.sequence + 1}`.toUpperCase();
}

const NAME = /^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/;

/** A typed name of a container or list as the log takes it, or null when it can't be one. */
export function readName(typed: string): string | null {
  const name = typed.trim().replace(/\s+/g, "-");
  return NAME.test(name) ? name : null;
}

/** Gives the tag that a piece was first given, from the tags that replaced others. */
export function firstTagBy(replaced: ReadonlyMap<string, string>): (tag: string) => string {
  return (tag) => {
    const seen = new Set<string>();
    for (let older = replaced.get(tag); older !== undefined && !seen.has(tag);) {
      seen.add(tag);
      tag = older;
      older = replaced.get(tag);
    }
    return tag;
  };
}

/**
 * Lists known to the service and those made here, as one: a list made here may not be sent yet.
 * A piece that was given a new tag in between stands on them under its first.
 */
export function joined(
  served: readonly Load[],
  own: Moves,
  firstTag: (tag: string) => string = firstTagBy(own.replaced),
): Map<string, Load> {
  const loads = new Map(served.map((load) => [load.manifest, load]));
  for (const load of own.loads.values()) {
    const other = loads.get(load.manifest);
    loads.set(load.manifest, {
      ...load,
      tags: union(other?.tags ?? [], load.tags),
      expectedAt: other?.expectedAt ?? load.expectedAt,
      delays: other?.delays ?? [],
      received: other?.received ?? [],
      handovers: other?.handovers ?? [],
    });
  }
  const unnamed = receivedOn(own, null).map(firstTag);
  for (const [name, load] of loads) {
    const tags = union([], load.tags.map(firstTag));
    const came = unnamed.filter((tag) => tags.includes(tag));
    const given = own.handovers.get(name) ?? [];
    const untold = withoutOnce(own.delays.get(name) ?? [], load.delays);
    loads.set(name, {
      ...load,
      tags,
      // The service's are this phone's own and those of others, once it has them.
      handovers: given.length > load.handovers.length ? given : load.handovers,
      expectedAt: untold.at(-1)?.expectedAt ?? load.expectedAt,
      delays: [...load.delays, ...untold.map(({ reason }) => reason)],
      received: union([], [...load.received, ...receivedOn(own, name)].map(firstTag).concat(came)),
    });
  }
  return loads;
}

/** Those of this phone's delays that the service does not count yet, each reason once for each. */
function withoutOnce(own: readonly Delay[], counted: readonly string[]): Delay[] {
  const left = [...counted];
  return own.filter(({ reason }) => {
    const place = left.indexOf(reason);
    if (place >= 0) left.splice(place, 1);
    return place < 0;
  });
}

function union(one: readonly string[], other: readonly string[]): string[] {
  return [...new Set([...one, ...other])];
}
