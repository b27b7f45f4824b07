import { labelsOf, type ObjectType } from "../../contract.ts";
import type { Piece } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { likeOf } from "../draft.ts";
import { BackButton, Dock, Heading, Icon, NextButton, Tile } from "../parts.tsx";
import { address, go } from "../route.ts";
import { SameButton } from "../same-button.tsx";
import { draft, keepDraft, lastPiece, loss as openLoss, recentObjects } from "../state.ts";
import { damageWords, materialWords, objectWords } from "../words.ts";

const OBJECTS = labelsOf<ObjectType>("ObjectType");

/** The type of object; one press goes on. */
export function ObjectStep({ loss }: { loss: string }) {
  const on = () => go({ at: "step", loss, step: "materials" });
  const { photos, parent } = draft.value;
  const last = lastPiece.value;
  const same = async (piece: Piece) => {
    await keepDraft(likeOf(piece, openLoss.value?.loss.wet_since ?? null));
    go({ at: "step", loss, step: "place" });
  };
  const choose = async (objectType: ObjectType) => {
    await keepDraft({ objectType });
    on();
  };
  return (
    <>
      <Heading title={strings.objectHeading} />
      {photos.length > 0 && (
        <a class="button button--field" href={address({ at: "step", loss, step: "photos" })}>
          <Icon name="camera" />
          {strings.tagging.morePhotos(photos.length)}
        </a>
      )}
      {last !== undefined && parent === null && (
        <SameButton
          title={strings.tagging.sameAsLast}
          words={[
            objectWords(last.objectType),
            materialWords(last.materials),
            damageWords(last.damages, last.mouldCondition),
          ]}
          onPress={() => void same(last)}
        />
      )}
      <div class="tiles">
        {recentFirst([...OBJECTS.keys()], recentObjects.value).map((value) => (
          <Tile
            key={value}
            single
            pressed={draft.value.objectType === value}
            onPress={() => void choose(value)}
          >
            {OBJECTS.get(value)}
          </Tile>
        ))}
      </div>
      <Dock>
        <BackButton to={{ at: "step", loss, step: "photos" }} />
        {draft.value.objectType !== null && <NextButton onPress={on} />}
      </Dock>
    </>
  );
}

function recentFirst<Value extends string>(
  values: readonly Value[],
  recent: readonly string[],
): Value[] {
  const place = (value: Value) => {
    const found = recent.indexOf(value);
    return found < 0 ? recent.length : found;
  };
  return values.toSorted((one, other) => place(one) - place(other));
}
