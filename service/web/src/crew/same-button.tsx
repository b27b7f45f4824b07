import { Icon } from "./parts.tsx";

/** One press instead of many: what was said of the last piece, in words, said of this one too. */
export function SameButton(props: {
  title: string;
  words: readonly string[];
  onPress: () => void;
}) {
  return (
    <button type="button" class="button same" onClick={props.onPress}>
      <Icon name="done" size={28} />
      <span>
        <strong>{props.title}</strong>
        {props.words.filter(Boolean).map((line) => (
          <span class="same__line" key={line}>
            {line}
          </span>
        ))}
      </span>
    </button>
  );
}
