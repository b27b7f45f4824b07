import { labelsOf, type ObjectType } from "../../contract.ts";
import { strings } from "../../strings.ts";
import { BackButton, Dock, Heading, NextButton, Tile } from "../parts.tsx";
import { go } from "../route.ts";
import { draft, keepDraft, recentObjects } from "../state.ts";

const OBJECTS = labelsOf<ObjectType>("ObjectType");

/** The type of object; one press goes on. */
export function ObjectStep({ loss }: { loss: string }) {
  const on = () => go({ at: "step", loss, step: "materials" });
  const choose = async (objectType: ObjectType) => {
    await keepDraft({ objectType });
    on();
  };
  return (
    <>
      <Heading title={strings.objectHeading} />
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
