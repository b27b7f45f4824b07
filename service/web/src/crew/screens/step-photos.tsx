import { strings } from "../../strings.ts";
import { BackButton, Dock, Heading, Icon, NextButton } from "../parts.tsx";
import { PhotoTaker, Thumb } from "../photos.tsx";
import { go } from "../route.ts";
import { draft, keepDraft, store } from "../state.ts";

/** One photo at the least, unless none is possible. The first goes straight on. */
export function PhotosStep({ loss }: { loss: string }) {
  const { photos, objectType } = draft.value;
  // Of a part such as its glazing, what it is goes without saying.
  const on = () => go({ at: "step", loss, step: objectType === null ? "object" : "materials" });
  const remove = async (sha: string) => {
    await keepDraft({ photos: photos.filter((one) => one !== sha) });
    await store.dropPhoto(sha);
  };
  return (
    <>
      <Heading title={strings.photosHeading} lead={strings.photosLead} />
      {photos.length > 0 && (
        <ul class="photos">
          {photos.map((sha, place) => (
            <li class="shot" key={sha}>
              <Thumb sha={sha} alt={strings.photoAlt(place + 1)} />
              <button
                type="button"
                class="shot__remove"
                aria-label={strings.removePhoto(place + 1)}
                onClick={() => void remove(sha)}
              >
                <Icon name="cross" />
              </button>
            </li>
          ))}
        </ul>
      )}
      <PhotoTaker
        label={photos.length === 0 ? strings.takePhoto : strings.takeAnother}
        onTaken={async (sha) => {
          const { photos: now } = draft.value;
          if (now.includes(sha)) return;
          await keepDraft({ photos: [...now, sha] });
          if (now.length === 0) on();
        }}
      />
      <Dock>
        <BackButton to={{ at: "step", loss, step: "tag" }} />
        {photos.length > 0 ? (
          <NextButton onPress={on} />
        ) : (
          <button type="button" class="button button--field" onClick={on}>
            {strings.noPhoto}
          </button>
        )}
      </Dock>
    </>
  );
}
