import { useState } from "preact/hooks";
import { strings } from "../../strings.ts";
import { DamageChoice } from "../damage-choice.tsx";
import { damageBodies, EMPTY_DRAFT, wetTimeMissing } from "../draft.ts";
import { BackButton, Dock, Heading, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { loss as openLoss, pieces, record, sentenceFor } from "../state.ts";

/** Damage seen on a piece after it was tagged. */
export function AddDamage({ loss, tag }: { loss: string; tag: string }) {
  const [damages, setDamages] = useState(EMPTY_DRAFT.damages);
  const [wetSince, setWetSince] = useState(EMPTY_DRAFT.wetSince);
  const [failure, setFailure] = useState<string | null>(null);
  const known = new Set(pieces.value.get(tag)?.damages.keys());

  const save = async () => {
    if (Object.keys(damages).length === 0) {
      setFailure(strings.chooseDamage);
      return;
    }
    if (wetTimeMissing(damages, wetSince)) {
      setFailure(strings.wetMissing);
      return;
    }
    try {
      const siteWetSince = openLoss.value?.loss.wet_since ?? null;
      await record(damageBodies(tag, damages, wetSince, siteWetSince));
      go({ at: "piece", loss, tag });
    } catch (error) {
      setFailure(sentenceFor(error));
    }
  };

  return (
    <div class="stack">
      <Heading title={strings.damageHeading} lead={strings.damageLead} />
      <DamageChoice
        damages={damages}
        onChange={setDamages}
        wetSince={wetSince}
        onWetSince={setWetSince}
        without={known.add("none_seen")}
      />
      {failure !== null && <Notice kind="error" title={failure} />}
      <Dock>
        <BackButton to={{ at: "piece", loss, tag }} />
        <NextButton label={strings.save} onPress={() => void save()} />
      </Dock>
    </div>
  );
}
