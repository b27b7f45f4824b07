// Codes that are typed where the camera can't read them, and the change from one to the other.
import { useState } from "preact/hooks";
import { cameraPossible } from "../camera.ts";
import { strings } from "../strings.ts";
import { Field, Icon } from "./parts.tsx";

/** Typed codes at first only where no camera can be had. */
export function useTyping(): [boolean, (typing: boolean) => void] {
  return useState(!cameraPossible());
}

export function TypingSwitch(props: { typing: boolean; onSwitch: (typing: boolean) => void }) {
  if (!cameraPossible()) return null;
  return (
    <button
      type="button"
      class="button button--field"
      onClick={() => props.onSwitch(!props.typing)}
    >
      <Icon name={props.typing ? "scan" : "keys"} />
      {props.typing ? strings.useCamera : strings.typeCode}
    </button>
  );
}

/** One code to type. */
export function CodeForm(props: {
  id: string;
  label: string;
  hint: string;
  use: string;
  value: string;
  fault: string | null;
  busy?: boolean;
  onInput: (value: string) => void;
  onUse: () => void;
}) {
  return (
    <form
      class="panel"
      onSubmit={(event) => {
        event.preventDefault();
        props.onUse();
      }}
    >
      <Field
        id={props.id}
        label={props.label}
        hint={props.hint}
        value={props.value}
        error={props.fault}
        onInput={props.onInput}
        attributes={{
          autocomplete: "off",
          autocapitalize: "characters",
          spellcheck: false,
          class: "code",
          enterkeyhint: "done",
        }}
      />
      <button
        type="submit"
        class="button button--primary button--scan button--wide"
        disabled={props.busy}
      >
        {props.use}
      </button>
    </form>
  );
}
