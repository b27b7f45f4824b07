import { useState } from "preact/hooks";
import type { Damage, Extent } from "../../contract.ts";
import type { Place } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { BackButton, Dock, Field, Heading, Icon, NextButton, Notice } from "../parts.tsx";
import { address, go, type Step } from "../route.ts";
import { draft, dropDraft, keepDraft, recentPlaces, saveDraft, sentenceFor } from "../state.ts";
import { Stepper } from "../stepper.tsx";
import { damageWords, materialWords, objectWords, placeWords } from "../words.ts";

const LONGEST_NOTE = 4000;

/** Where it was found; then the piece is saved. */
export function PlaceStep({ loss }: { loss: string }) {
  const { found, quantity, role, note } = draft.value;
  const [busy, setBusy] = useState(false);
  const [failure, setFailure] = useState<string | null>(null);
  const change = (part: Partial<Place>) => void keepDraft({ found: { ...found, ...part } });

  const save = async () => {
    setBusy(true);
    setFailure(null);
    try {
      const tag = await saveDraft();
      go({ at: "piece", loss, tag }, true);
    } catch (error) {
      setFailure(sentenceFor(error));
      setBusy(false);
    }
  };
  const giveUp = async () => {
    if (!window.confirm(strings.giveUpSure)) return;
    await dropDraft();
    go({ at: "pieces", loss });
  };

  const others = recentPlaces.value.filter((one) => placeWords(one) !== placeWords(found));
  return (
    <>
      <Heading title={strings.placeHeading} lead={strings.placeLead} />
      {others.length > 0 && (
        <section>
          <h2 class="group">{strings.recentHere}</h2>
          <div class="row">
            {others.map((one) => (
              <button
                type="button"
                class="button button--field"
                key={placeWords(one)}
                onClick={() => change(one)}
              >
                <Icon name="place" />
                {placeWords(one)}
              </button>
            ))}
          </div>
        </section>
      )}
      <section class="panel">
        <Field
          id="floor"
          label={strings.floor}
          value={found.floor}
          onInput={(floor) => change({ floor })}
          attributes={{ maxLength: 300, autocomplete: "off" }}
        />
        <Field
          id="room"
          label={strings.room}
          value={found.room}
          onInput={(room) => change({ room })}
          attributes={{ maxLength: 300, autocomplete: "off" }}
        />
        <Field
          id="wall"
          label={strings.wall}
          value={found.wall}
          onInput={(wall) => change({ wall })}
          attributes={{ maxLength: 300, autocomplete: "off" }}
        />
      </section>
      {role === "fragments" && (
        <section class="panel">
          <Field
            id="bag"
            label={strings.tagging.bagHolds}
            hint={strings.tagging.bagHint}
            value={note}
            lines={3}
            onInput={(text) => void keepDraft({ note: text.slice(0, LONGEST_NOTE) })}
          />
        </section>
      )}
      <section class="panel">
        <h2>{strings.howMany}</h2>
        <p class="quiet">{strings.howManyHint}</p>
        <Stepper value={quantity} onChange={(value) => void keepDraft({ quantity: value })} />
      </section>
      <Summary loss={loss} />
      <button
        type="button"
        class="button button--quiet button--field"
        onClick={() => void giveUp()}
      >
        {strings.giveUp}
      </button>
      {failure !== null && (
        <Notice kind="error" title={strings.saveFailed}>
          <p>{failure}</p>
        </Notice>
      )}
      <Dock>
        <BackButton to={{ at: "step", loss, step: "damage" }} />
        <NextButton
          label={busy ? strings.saving : strings.savePiece}
          busy={busy}
          onPress={() => void save()}
        />
      </Dock>
    </>
  );
}

/** What was said so far, each with the way back to it. */
function Summary({ loss }: { loss: string }) {
  const { objectType, materials, damages, mouldCondition, photos } = draft.value;
  const seen = Object.entries(damages) as [Damage, Extent][];
  const lines: [Step, string, string][] = [
    ["photos", strings.tagging.photos, String(photos.length || strings.tagging.noPhotos)],
    ["object", strings.stepObject, objectWords(objectType)],
    ["materials", strings.stepMaterials, materialWords(materials)],
    ["damage", strings.stepDamage, damageWords(seen, mouldCondition)],
  ];
  return (
    <section class="panel">
      <h2>{strings.tagging.summary}</h2>
      <ul class="said">
        {lines.map(([step, name, words]) => (
          <li key={step}>
            <a href={address({ at: "step", loss, step })}>
              <span>
                <span class="said__name">
                  <span class="sr-only">{strings.tagging.change}</span> {name}
                </span>{" "}
                {words}
              </span>
              <Icon name="pen" />
            </a>
          </li>
        ))}
      </ul>
    </section>
  );
}
