// The form for a tag that the camera can't read, and the pieces that a torn tag may be of.
import { useState } from "preact/hooks";
import { labelsOf, type ObjectType } from "../contract.ts";
import { carrying } from "../pieces.ts";
import { strings } from "../strings.ts";
import { lookalikes, type TagFault } from "../tag.ts";
import { Icon, TagCode } from "./parts.tsx";
import { Thumb } from "./photos.tsx";
import { pieces } from "./state.ts";
import { CodeForm } from "./typing.tsx";

const OBJECTS = labelsOf<ObjectType>("ObjectType");
const MOST_SHOWN = 6;

/** `onUse` says whether the code was taken, and the field is to be empty for the next. */
export function TypedTag(props: {
  fault: string | null;
  busy?: boolean;
  onUse: (code: string) => boolean | Promise<boolean>;
  onEdit: () => void;
  /** Called with the tag of the piece that a person took a torn tag for. */
  onPick: (tag: string) => void;
}) {
  const [code, setCode] = useState("");
  return (
    <>
      <CodeForm
        id="code"
        label={strings.codeLabel}
        hint={strings.codeHint}
        use={strings.useCode}
        value={code}
        fault={props.fault}
        busy={props.busy ?? false}
        onInput={(value) => {
          setCode(value);
          props.onEdit();
        }}
        onUse={() => void Promise.resolve(props.onUse(code)).then((used) => used && setCode(""))}
      />
      {props.fault !== null && <Lookalikes typed={code} onPick={props.onPick} />}
    </>
  );
}

function Lookalikes({ typed, onPick }: { typed: string; onPick: (tag: string) => void }) {
  const all = [...pieces.value.values()].flatMap((piece) => piece.tags);
  const found = lookalikes(typed, all).slice(0, MOST_SHOWN);
  return (
    <section class="lookalikes" aria-live="polite">
      <h2 class="group">
        {found.length > 0 ? strings.tagging.lookalikes : strings.tagging.noneAlike}
      </h2>
      {found.length === 0 && <p>{strings.tagging.notAlike}</p>}
      <ul class="cards">
        {found.map((tag) => {
          const piece = carrying(pieces.value, tag);
          if (piece === undefined) return null;
          return (
            <li key={tag}>
              <button type="button" class="card card--pick" onClick={() => onPick(piece.tag)}>
                <Thumb sha={piece.photos[0] ?? null} alt="" />
                <span class="card__body">
                  <span class="card__title">{piece.title || OBJECTS.get(piece.objectType)}</span>
                  <TagCode tag={tag} />
                </span>
                <Icon name="next" size={28} />
              </button>
            </li>
          );
        })}
      </ul>
    </section>
  );
}

export function wordsFor(fault: TagFault): string {
  switch (fault.fault) {
    case "character":
      return strings.fault.character(fault.place, fault.character);
    case "length":
      return strings.fault.length(fault.length, fault.expected);
    default:
      return strings.fault[fault.fault];
  }
}
