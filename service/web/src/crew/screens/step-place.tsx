import { useState } from "preact/hooks";
import type { Place } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { BackButton, Dock, Field, Heading, Icon, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { draft, dropDraft, keepDraft, recentPlaces, saveDraft, sentenceFor } from "../state.ts";

/** Where it was found; then the piece is saved. */
export function PlaceStep({ loss }: { loss: string }) {
  const { found } = draft.value;
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

  const others = recentPlaces.value.filter((one) => wordsFor(one) !== wordsFor(found));
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
                key={wordsFor(one)}
                onClick={() => change(one)}
              >
                <Icon name="place" />
                {wordsFor(one)}
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

export function wordsFor(place: Place): string {
  return [place.floor, place.room, place.wall].filter(Boolean).join(", ");
}
