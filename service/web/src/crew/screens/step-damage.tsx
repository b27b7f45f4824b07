import { useState } from "preact/hooks";
import { strings } from "../../strings.ts";
import { DamageChoice } from "../damage-choice.tsx";
import { wetTimeMissing } from "../draft.ts";
import { BackButton, Dock, Heading, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { draft, keepDraft } from "../state.ts";

/** What happened to the piece. */
export function DamageStep({ loss }: { loss: string }) {
  const { damages, wetSince } = draft.value;
  const [missing, setMissing] = useState<string | null>(null);
  return (
    <>
      <Heading title={strings.damageHeading} lead={strings.damageLead} />
      <DamageChoice
        damages={damages}
        onChange={(chosen) => {
          setMissing(null);
          void keepDraft({ damages: chosen });
        }}
        wetSince={wetSince}
        onWetSince={(since) => void keepDraft({ wetSince: since })}
      />
      {missing !== null && <Notice kind="error" title={missing} />}
      <Dock>
        <BackButton to={{ at: "step", loss, step: "materials" }} />
        <NextButton
          onPress={() => {
            if (Object.keys(damages).length === 0) setMissing(strings.chooseDamage);
            else if (wetTimeMissing(damages, wetSince)) setMissing(strings.wetMissing);
            else go({ at: "step", loss, step: "place" });
          }}
        />
      </Dock>
    </>
  );
}
