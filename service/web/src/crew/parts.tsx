// Small pieces of the screens; the classes are those of the server's own pages.
import type { ComponentChildren, JSX } from "preact";
import sprite from "../icons.svg";
import { tagGroups } from "../tag.ts";
import { strings } from "../strings.ts";
import { ageOf, type Age } from "../store.ts";
import { outbox } from "./state.ts";
import { address, STEPS, type Route, type Step } from "./route.ts";

/** Where the decoder of QR codes is served. */
export const decoder = document.getElementById("crew")?.dataset["decoder"] ?? "";

/** The drawings, put into the page once, so that they are there without a network too. */
export function Drawings() {
  const named = sprite.replaceAll('id="', 'id="icon-');
  return <div hidden dangerouslySetInnerHTML={{ __html: named }} />;
}

export function Icon({ name, size = 24 }: { name: string; size?: number }) {
  return (
    <svg class="icon" width={size} height={size} aria-hidden="true" focusable="false">
      <use href={`#icon-${name}`} />
    </svg>
  );
}

export function Band({ band, label }: { band: string; label: string }) {
  return (
    <span class={`band band--${band}`}>
      <svg class="band__mark" width="20" height="20" aria-hidden="true" focusable="false">
        <use href={`#icon-band-${band}`} />
      </svg>
      {label}
    </span>
  );
}

export function TagCode({ tag }: { tag: string }) {
  return (
    <span class="tag">
      {tagGroups(tag).map((group) => (
        <span>{group}</span>
      ))}
    </span>
  );
}

/** One of a list to go on with: its title, lines and flags, and where it leads. */
export function Card(props: {
  to: Route;
  title: string;
  before?: ComponentChildren;
  children?: ComponentChildren;
}) {
  return (
    <a class="card" href={address(props.to)}>
      {props.before}
      <span class="card__body">
        <span class="card__title">{props.title}</span>
        {props.children}
      </span>
      <Icon name="next" size={28} />
    </a>
  );
}

type NoticeKind = "caution" | "never" | "note" | "done" | "error";

export function Notice(props: { kind: NoticeKind; title: string; children?: ComponentChildren }) {
  const role = props.kind === "error" ? "alert" : props.kind === "done" ? "status" : undefined;
  return (
    <div class={`notice notice--${props.kind}`} role={role}>
      <Icon name={props.kind} size={28} />
      <div>
        <p class="notice__title">{props.title}</p>
        {props.children}
      </div>
    </div>
  );
}

/** The top of a screen: a heading that takes the focus, and a line under it. */
export function Heading({ title, lead }: { title: string; lead?: string }) {
  return (
    <header>
      <h1 tabIndex={-1}>{title}</h1>
      {lead !== undefined && <p class="page-head__lead">{lead}</p>}
    </header>
  );
}

/** A choice that stays pressed. */
export function Tile(props: {
  pressed: boolean;
  onPress: () => void;
  children: ComponentChildren;
  /** One of several, instead of any number of them. */
  single?: boolean;
}) {
  return (
    <button type="button" class="tile" aria-pressed={props.pressed} onClick={props.onPress}>
      {(props.pressed || !props.single) && (
        <span class="tile__box">{props.pressed && <Icon name="check" size={20} />}</span>
      )}
      <span>{props.children}</span>
    </button>
  );
}

/** The one of a few answers, side by side. */
export function Segments<Value extends string>(props: {
  legend: string;
  options: readonly (readonly [Value, string])[];
  value: Value;
  onChoose: (value: Value) => void;
}) {
  return (
    <fieldset class="segments">
      <legend class="sr-only">{props.legend}</legend>
      {props.options.map(([value, label]) => (
        <button
          type="button"
          aria-pressed={value === props.value}
          onClick={() => props.onChoose(value)}
        >
          {value === props.value && <Icon name="check" size={18} />}
          {label}
        </button>
      ))}
    </fieldset>
  );
}

export function Field(props: {
  id: string;
  label: string;
  value: string;
  onInput: (value: string) => void;
  hint?: string;
  error?: string | null;
  lines?: number;
  attributes?: JSX.IntrinsicElements["input"];
}) {
  const hint = props.hint === undefined ? "" : `${props.id}-hint`;
  const error = props.error == null ? "" : `${props.id}-error`;
  const common = {
    id: props.id,
    value: props.value,
    "aria-describedby": `${hint} ${error}`.trim() || undefined,
    "aria-invalid": error === "" ? undefined : true,
    onInput: (event: { currentTarget: HTMLInputElement | HTMLTextAreaElement }) =>
      props.onInput(event.currentTarget.value),
  };
  return (
    <div class={`field field--large${error === "" ? "" : " field--wrong"}`}>
      <label for={props.id}>{props.label}</label>
      {hint !== "" && (
        <p class="field__hint" id={hint}>
          {props.hint}
        </p>
      )}
      {props.lines === undefined ? (
        <input {...common} {...props.attributes} />
      ) : (
        <textarea {...common} rows={props.lines} />
      )}
      {error !== "" && (
        <p class="field__error" id={error} role="alert">
          <Icon name="error" size={20} />
          {props.error}
        </p>
      )}
    </div>
  );
}

/** The actions of a screen, where the thumb is. */
export function Dock({ children }: { children: ComponentChildren }) {
  return <div class="dock">{children}</div>;
}

export function BackButton({ to }: { to: Route }) {
  return (
    <a class="button button--field dock__back" href={address(to)}>
      <Icon name="back" />
      {strings.back}
    </a>
  );
}

export function NextButton(props: { label?: string; onPress: () => void; busy?: boolean }) {
  return (
    <button
      type="button"
      class="button button--primary button--field"
      disabled={props.busy}
      onClick={props.onPress}
    >
      {props.label ?? strings.next}
      <Icon name="next" />
    </button>
  );
}

/** How far along the piece is: floats on a line. */
export function Line({ step }: { step: Step }) {
  const names: Record<Step, string> = {
    tag: strings.stepTag,
    photos: strings.stepPhotos,
    object: strings.stepObject,
    materials: strings.stepMaterials,
    damage: strings.stepDamage,
    place: strings.stepPlace,
  };
  const now = STEPS.indexOf(step);
  return (
    <div class="line">
      <ol aria-hidden="true">
        {STEPS.map((one, place) => (
          <li key={one} class={place < now ? "line__done" : place === now ? "line__now" : ""} />
        ))}
      </ol>
      <p>{strings.stepOf(now + 1, STEPS.length, names[step])}</p>
    </div>
  );
}

const AGE_ICON: Record<Age, string> = {
  calm: "waiting",
  over_day: "clock",
  over_three_days: "caution",
};

/** Always in sight: which loss, and what has not been sent. */
export function Strip({ loss, title }: { loss: string; title: string }) {
  const count = outbox.value.length;
  const refused = outbox.value.some((one) => one.refused !== null);
  const age = ageOf(outbox.value, Date.now());
  return (
    <div class="strip">
      <a class="strip__loss" href={address({ at: "pieces", loss })}>
        <span>{title}</span>
      </a>
      <a
        class={`strip__unsent${count > 0 ? ` strip__unsent--some strip__unsent--${age}` : ""}`}
        href={address({ at: "unsent", loss })}
      >
        <Icon name={count === 0 ? "done" : refused ? "error" : AGE_ICON[age]} size={20} />
        <span>
          {strings.notYetSentShort(count)}
          {age !== "calm" && <span class="strip__age">{strings.ageWords[age]}</span>}
        </span>
      </a>
    </div>
  );
}
