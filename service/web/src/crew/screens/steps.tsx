// The loop of tagging one piece: tag, photos, object, materials, damage, place.
import type { JSX } from "preact";
import type { Step } from "../route.ts";
import { Line } from "../parts.tsx";
import { DamageStep } from "./step-damage.tsx";
import { MaterialsStep } from "./step-materials.tsx";
import { ObjectStep } from "./step-object.tsx";
import { PhotosStep } from "./step-photos.tsx";
import { PlaceStep } from "./step-place.tsx";
import { TagStep } from "./step-tag.tsx";

const SCREENS: Readonly<Record<Step, (props: { loss: string }) => JSX.Element>> = {
  tag: TagStep,
  photos: PhotosStep,
  object: ObjectStep,
  materials: MaterialsStep,
  damage: DamageStep,
  place: PlaceStep,
};

export function StepScreen({ loss, step }: { loss: string; step: Step }) {
  const Screen = SCREENS[step];
  return (
    <div class="stack">
      <Line step={step} />
      <Screen loss={loss} />
    </div>
  );
}
