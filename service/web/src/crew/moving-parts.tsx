// What packing, loading and receiving share: reading one tag after another, and lines of pieces.
import type { ComponentChildren } from "preact";
import { useRef, useState } from "preact/hooks";
import { labelsOf, type ObjectType } from "../contract.ts";
import { carrying } from "../pieces.ts";
import { signalScan } from "../scan-signal.ts";
import { strings } from "../strings.ts";
import type { Load } from "../moving.ts";
import { readTag } from "../tag.ts";
import { shortTime } from "./damage-choice.tsx";
import { Field, Notice, TagCode } from "./parts.tsx";
import { answers, firstTag, newTags, onTheRoad, pieces } from "./state.ts";
import { TypedTag, wordsFor } from "./typed-tag.tsx";
import { Viewfinder } from "./viewfinder.tsx";

const OBJECTS = labelsOf<ObjectType>("ObjectType");

/** A tag still before the camera is read many times a second, and is one scan. */
const STILL_THERE_MS = 3000;

/** Reads one tag after another, by camera or typed. */
export function TagReader(props: { typing: boolean; onTag: (tag: string) => void }) {
  const [fault, setFault] = useState<string | null>(null);
  const seenAt = useRef(new Map<string, number>());

  const use = (text: string): boolean => {
    const reading = readTag(text);
    if ("fault" in reading) {
      setFault(wordsFor(reading));
      return false;
    }
    setFault(null);
    signalScan();
    props.onTag(reading.tag);
    return true;
  };
  const seen = (text: string) => {
    const now = Date.now();
    const before = seenAt.current.get(text) ?? -Infinity;
    seenAt.current.set(text, now);
    if (now - before > STILL_THERE_MS) use(text);
  };

  if (!props.typing) {
    return (
      <>
        <Viewfinder onCode={seen} />
        {fault !== null && <Notice kind="error" title={fault} />}
      </>
    );
  }
  return (
    <TypedTag
      fault={fault}
      onUse={use}
      onEdit={() => setFault(null)}
      onPick={(tag) => {
        setFault(null);
        props.onTag(tag);
      }}
    />
  );
}

/** A name to type, of a container or a list; the form's id is `id` and "-form". */
export function NameForm(props: {
  id: string;
  label: string;
  hint: string;
  capitals?: boolean;
  /** Takes the name, or gives what is wrong with it. */
  onName: (typed: string) => string | null;
  children?: ComponentChildren;
}) {
  const [name, setName] = useState("");
  const [fault, setFault] = useState<string | null>(null);
  return (
    <form
      id={`${props.id}-form`}
      class="panel"
      onSubmit={(event) => {
        event.preventDefault();
        setFault(props.onName(name));
      }}
    >
      <Field
        id={props.id}
        label={props.label}
        hint={props.hint}
        value={name}
        error={fault}
        onInput={(value) => {
          setName(value);
          setFault(null);
        }}
        attributes={{
          autocomplete: "off",
          autocapitalize: props.capitals ? "characters" : "none",
          spellcheck: false,
          maxLength: 64,
        }}
      />
      {props.children}
    </form>
  );
}

/** What the piece under `tag` is, in a few words; null when this phone does not know. */
export function whatIs(tag: string): string | null {
  const own = carrying(pieces.value, tag);
  const known = own ?? answers.value.get(tag)?.item;
  const listed = onTheRoad.value?.pieces.find((one) => one.tag === tag);
  const type = own?.objectType ?? answers.value.get(tag)?.item.object_type ?? listed?.object_type;
  return known?.title || listed?.title || (type === undefined ? null : (OBJECTS.get(type) ?? type));
}

/** The tag that a piece listed as `tag` carries now, when it was given another. */
function newTagOf(tag: string): string | null {
  return [...newTags.value].findLast(([newer]) => firstTag.value(newer) === tag)?.[0] ?? null;
}

/** Pieces one under the other, each with its state in words. */
export function PieceLines(props: {
  tags: readonly string[];
  state?: string;
  kind?: "done" | "caution" | "stop";
}) {
  return (
    <ul class="piece-lines">
      {props.tags.map((tag) => (
        <li key={tag}>
          <span class="piece-lines__what">{whatIs(tag) ?? strings.moving.unknownHere}</span>
          <TagCode tag={tag} />
          {newTagOf(tag) !== null && (
            <span>
              {strings.moving.nowUnder} <TagCode tag={newTagOf(tag) ?? ""} />
            </span>
          )}
          {props.state !== undefined && (
            <span class={`flag flag--${props.kind ?? "done"}`}>{props.state}</span>
          )}
        </li>
      ))}
    </ul>
  );
}

/** When a load is expected, and why so late where it is late. */
export function expectedWords(load: Load): string {
  const when = load.expectedAt === null ? "" : shortTime(load.expectedAt);
  const why = load.delays.at(-1);
  return why === undefined ? strings.moving.expected(when) : strings.moving.delayed(when, why);
}

/** `moment` as an input of type datetime-local wants it: local time, no zone. */
export function localInput(moment: Date): string {
  const local = new Date(moment.getTime() - moment.getTimezoneOffset() * 60_000);
  return local.toISOString().slice(0, 16);
}
