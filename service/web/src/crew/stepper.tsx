// How many pieces share one tag.
import { strings } from "../strings.ts";
import { Icon } from "./parts.tsx";

const MOST = 10_000;

export function Stepper({ value, onChange }: { value: number; onChange: (value: number) => void }) {
  return (
    <div class="stepper">
      <button
        type="button"
        class="button button--field"
        aria-label={strings.fewer}
        disabled={value <= 1}
        onClick={() => onChange(value - 1)}
      >
        <Icon name="minus" />
      </button>
      <input
        aria-label={strings.howMany}
        inputMode="numeric"
        value={value}
        onChange={(event) => {
          const wanted = Number.parseInt(event.currentTarget.value, 10);
          const valid = Number.isInteger(wanted) ? Math.min(MOST, Math.max(1, wanted)) : value;
          event.currentTarget.value = String(valid);
          onChange(valid);
        }}
      />
      <button
        type="button"
        class="button button--field"
        aria-label={strings.more}
        disabled={value >= MOST}
        onClick={() => onChange(value + 1)}
      >
        <Icon name="plus" />
      </button>
    </div>
  );
}
