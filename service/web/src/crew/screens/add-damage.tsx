import { useState } from "preact/hooks";
import { carrying } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { DamageChoice } from "../damage-choice.tsx";
import { damageBodies, NOTHING_SEEN, wetTimeMissing } from "../draft.ts";
import { BackButton, Dock, Heading, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { loss as openLoss, pieces, record, sentenceFor } from "../state.ts";

/** Damage seen on a piece after it was tagged. */
export function AddDamage({ loss, tag }: { loss: string; tag: string }) {
  const [seen, setSeen] = useState(NOTHING_SEEN);
  const [failure, setFailure] = useState<string | null>(null);
  const piece = carrying(pieces.value, tag);
  const known = new Set(piece?.damages.keys());

  const save = async () => {
    if (Object.keys(seen.damages).length === 0) {
      setFailure(strings.chooseDamage);
      return;
    }
    if (wetTimeMissing(seen)) {
      setFailure(strings.wetMissing);
      return;
    }
    try {
      const siteWetSince = openLoss.value?.loss.wet_since ?? null;
      await record(damageBodies(piece?.tag ?? tag, seen, siteWetSince));
      go({ at: "piece", loss, tag });
    } catch (error) {
      setFailure(sentenceFor(error));
    }
  };

  return (
    <div class="stack">
      <Heading title={strings.damageHeading} lead={strings.damageLead} />
      <DamageChoice
        seen={seen}
        onChange={(change) => setSeen({ ...seen, ...change })}
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
