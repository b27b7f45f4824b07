import { useState } from "preact/hooks";
import { strings } from "../../strings.ts";
import { DamageChoice } from "../damage-choice.tsx";
import { seenOf, wetTimeMissing, type Seen } from "../draft.ts";
import { BackButton, Dock, Heading, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { SameButton } from "../same-button.tsx";
import { draft, keepDraft, lastPiece, loss as openLoss } from "../state.ts";
import { damageWords } from "../words.ts";

/** What happened to the piece. That nothing did is the whole answer, and goes on at once. */
export function DamageStep({ loss }: { loss: string }) {
  const [missing, setMissing] = useState<string | null>(null);
  const { damages } = draft.value;
  const last = lastPiece.value;
  const on = () => go({ at: "step", loss, step: "place" });

  const change = async (seen: Partial<Seen>) => {
    setMissing(null);
    await keepDraft(seen);
    if (seen.damages?.none_seen !== undefined) on();
  };
  return (
    <>
      <Heading title={strings.damageHeading} lead={strings.damageLead} />
      {last !== undefined && last.damages.size > 0 && Object.keys(damages).length === 0 && (
        <SameButton
          title={strings.tagging.sameDamage}
          words={[damageWords(last.damages, last.mouldCondition)]}
          onPress={() =>
            void keepDraft(seenOf(last, openLoss.value?.loss.wet_since ?? null)).then(on)
          }
        />
      )}
      <DamageChoice seen={draft.value} onChange={(seen) => void change(seen)} />
      {missing !== null && <Notice kind="error" title={missing} />}
      <Dock>
        <BackButton to={{ at: "step", loss, step: "materials" }} />
        <NextButton
          onPress={() => {
            if (Object.keys(damages).length === 0) setMissing(strings.chooseDamage);
            else if (wetTimeMissing(draft.value)) setMissing(strings.wetMissing);
            else on();
          }}
        />
      </Dock>
    </>
  );
}
