import { useState } from "preact/hooks";
import { strings } from "../../strings.ts";
import { shortTime } from "../damage-choice.tsx";
import { localInput } from "../moving-parts.tsx";
import { BackButton, Dock, Field, Heading, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { loads, record, sentenceFor } from "../state.ts";

/** The truck will come later than its list says: when, and why. */
export function DelayScreen({ loss, manifest }: { loss: string; manifest: string }) {
  const load = loads.value.get(manifest);
  const [expected, setExpected] = useState(
    localInput(load?.expectedAt ? new Date(load.expectedAt) : new Date()),
  );
  const [why, setWhy] = useState("");
  const [faults, setFaults] = useState<{ expected?: string; why?: string }>({});
  const [failure, setFailure] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);

  const save = async () => {
    const at = new Date(expected);
    const wrong = {
      ...(Number.isNaN(at.getTime())
        ? { expected: strings.moving.timeMissing }
        : at.getTime() < Date.now()
          ? { expected: strings.moving.delayPast }
          : {}),
      ...(why.trim() === "" ? { why: strings.moving.delayWhyMissing } : {}),
    };
    setFaults(wrong);
    setFailure(null);
    if (Object.keys(wrong).length > 0) return;
    setBusy(true);
    try {
      await record([
        { type: "manifest_delayed", manifest, expected_at: at.toISOString(), reason: why.trim() },
      ]);
      go({ at: "handover", loss, manifest });
    } catch (error) {
      setFailure(sentenceFor(error));
      setBusy(false);
    }
  };

  return (
    <div class="stack">
      <Heading title={strings.moving.delayHeading} lead={strings.moving.delayLead} />
      <p class="list-name">{manifest}</p>
      {load?.expectedAt != null && <p>{strings.moving.delayWas(shortTime(load.expectedAt))}</p>}
      <section class="panel">
        <Field
          id="expected"
          label={strings.moving.delayAt}
          value={expected}
          error={faults.expected ?? null}
          onInput={setExpected}
          attributes={{ type: "datetime-local" }}
        />
        <Field
          id="why"
          label={strings.moving.delayWhy}
          hint={strings.moving.delayWhyHint}
          value={why}
          error={faults.why ?? null}
          onInput={setWhy}
          attributes={{ autocomplete: "off", maxLength: 300 }}
        />
      </section>
      {failure !== null && (
        <Notice kind="error" title={strings.saveFailed}>
          <p>{failure}</p>
        </Notice>
      )}
      <Dock>
        <BackButton to={{ at: "handover", loss, manifest }} />
        <NextButton
          label={busy ? strings.saving : strings.moving.delaySave}
          busy={busy}
          onPress={() => void save()}
        />
      </Dock>
    </div>
  );
}
