import { useState } from "preact/hooks";
import { labelsOf, type BodyOf, type ObjectType } from "../../contract.ts";
import { carrying, type Piece } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { MaterialChoice } from "../material-choice.tsx";
import { BackButton, Dock, Field, Heading, NextButton, Notice, Tile } from "../parts.tsx";
import { go } from "../route.ts";
import { pieces, record, sentenceFor } from "../state.ts";
import { Stepper } from "../stepper.tsx";
import { placeWords } from "../words.ts";

const OBJECTS = labelsOf<ObjectType>("ObjectType");
const PARTS_OF_PLACE = ["floor", "room", "wall"] as const;

/** What was said with the tag and was wrong: type, materials, place, count. */
export function Correct({ loss, tag }: { loss: string; tag: string }) {
  const piece = carrying(pieces.value, tag);
  if (piece === undefined) {
    go({ at: "pieces", loss }, true);
    return null;
  }
  return <Correcting key={piece.tag} loss={loss} piece={piece} />;
}

function Correcting({ loss, piece }: { loss: string; piece: Piece }) {
  const [objectType, setObjectType] = useState(piece.objectType);
  const [materials, setMaterials] = useState<Piece["materials"]>(piece.materials);
  const [quantity, setQuantity] = useState(piece.quantity);
  const [found, setFound] = useState(piece.found);
  const [failure, setFailure] = useState<string | null>(null);

  const save = async () => {
    if (materials.length === 0) {
      setFailure(strings.chooseMaterial);
      return;
    }
    const change: Partial<BodyOf<"item_described">> = {
      ...(objectType === piece.objectType ? {} : { object_type: objectType }),
      ...(same(materials, piece.materials) ? {} : { materials }),
      ...(quantity === piece.quantity ? {} : { quantity }),
      ...(placeWords(found) === placeWords(piece.found) ? {} : { found }),
    };
    if (Object.keys(change).length === 0) {
      setFailure(strings.tagging.correctNothing);
      return;
    }
    try {
      await record([{ ...change, type: "item_described", tag: piece.tag }]);
      go({ at: "piece", loss, tag: piece.tag });
    } catch (error) {
      setFailure(sentenceFor(error));
    }
  };

  return (
    <div class="stack">
      <Heading title={strings.tagging.correctHeading} />
      <section>
        <h2 class="group">{strings.stepObject}</h2>
        <div class="tiles">
          {[...OBJECTS].map(([value, label]) => (
            <Tile
              key={value}
              single
              pressed={value === objectType}
              onPress={() => setObjectType(value)}
            >
              {label}
            </Tile>
          ))}
        </div>
      </section>
      <section class="panel">
        <h2>{strings.howMany}</h2>
        <Stepper value={quantity} onChange={setQuantity} />
      </section>
      <section class="panel">
        <h2>{strings.where}</h2>
        {PARTS_OF_PLACE.map((part) => (
          <Field
            key={part}
            id={part}
            label={strings[part]}
            value={found[part]}
            onInput={(text) => setFound({ ...found, [part]: text })}
            attributes={{ maxLength: 300, autocomplete: "off" }}
          />
        ))}
      </section>
      <MaterialChoice
        objectType={objectType}
        materials={materials}
        onChange={(chosen) => setMaterials([...chosen])}
      />
      {failure !== null && <Notice kind="error" title={failure} />}
      <Dock>
        <BackButton to={{ at: "piece", loss, tag: piece.tag }} />
        <NextButton label={strings.save} onPress={() => void save()} />
      </Dock>
    </div>
  );
}

function same(one: readonly string[], other: readonly string[]): boolean {
  return one.length === other.length && one.every((value) => other.includes(value));
}
