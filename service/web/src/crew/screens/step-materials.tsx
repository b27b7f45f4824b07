import { useState } from "preact/hooks";
import { strings } from "../../strings.ts";
import { MaterialChoice } from "../material-choice.tsx";
import { BackButton, Dock, Heading, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { draft, keepDraft } from "../state.ts";

/** Every material of the piece. */
export function MaterialsStep({ loss }: { loss: string }) {
  const { materials, objectType } = draft.value;
  const [missing, setMissing] = useState(false);
  return (
    <>
      <Heading title={strings.materialsHeading} lead={strings.materialsLead} />
      <MaterialChoice
        objectType={objectType}
        materials={materials}
        onChange={(chosen) => {
          setMissing(false);
          void keepDraft({ materials: chosen });
        }}
      />
      {missing && <Notice kind="error" title={strings.chooseMaterial} />}
      <Dock>
        <BackButton to={{ at: "step", loss, step: "object" }} />
        <NextButton
          onPress={() => {
            if (materials.length === 0) setMissing(true);
            else go({ at: "step", loss, step: "damage" });
          }}
        />
      </Dock>
    </>
  );
}
