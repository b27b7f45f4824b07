// Photos on the screens: the thumbnail kept on this phone, and the two ways to take one.
import { useEffect, useState } from "preact/hooks";
import { NotAPhoto, preparePhoto } from "../photo.ts";
import { strings } from "../strings.ts";
import { cameraPossible } from "../camera.ts";
import { Icon, Notice } from "./parts.tsx";
import { sentenceFor, store } from "./state.ts";
import { Viewfinder } from "./viewfinder.tsx";

export function Thumb({ sha, alt }: { sha: string | null; alt: string }) {
  const [address, setAddress] = useState<string | null>(null);
  useEffect(() => {
    let made: string | null = null;
    let gone = false;
    if (sha !== null) {
      void store.photo(sha).then((photo) => {
        if (photo === undefined || gone) return;
        made = URL.createObjectURL(photo.thumb);
        setAddress(made);
      });
    }
    return () => {
      gone = true;
      if (made !== null) URL.revokeObjectURL(made);
    };
  }, [sha]);
  if (address === null) {
    return (
      <span class="thumb thumb--none">
        <Icon name="camera" size={28} />
      </span>
    );
  }
  return <img class="thumb" src={address} alt={alt} />;
}

/** Take photos with the phone's camera or the viewfinder; each is kept before it is reported. */
export function PhotoTaker(props: { label: string; onTaken: (sha: string) => Promise<void> }) {
  const [busy, setBusy] = useState(false);
  const [failure, setFailure] = useState<string | null>(null);
  const [viewing, setViewing] = useState(false);

  const take = async (source: Blob | HTMLVideoElement) => {
    setBusy(true);
    setFailure(null);
    try {
      const photo = await preparePhoto(source);
      await store.keepPhoto(photo);
      await props.onTaken(photo.sha);
    } catch (error) {
      setFailure(error instanceof NotAPhoto ? strings.notAPhoto : sentenceFor(error));
    } finally {
      setBusy(false);
    }
  };

  if (viewing) {
    return (
      <Viewfinder
        onShot={(video) => void take(video).then(() => setViewing(false))}
        onClose={() => setViewing(false)}
      />
    );
  }
  return (
    <div class="taker stack">
      {failure !== null && <Notice kind="error" title={failure} />}
      {cameraPossible() && (
        <button
          type="button"
          class="button button--field button--wide"
          onClick={() => setViewing(true)}
        >
          {strings.useViewfinder}
        </button>
      )}
      <label class="button button--primary button--scan button--wide">
        <input
          class="sr-only"
          type="file"
          accept="image/*"
          capture="environment"
          disabled={busy}
          onChange={(event) => {
            const input = event.currentTarget;
            const file = input.files?.[0];
            if (file !== undefined) void take(file).finally(() => (input.value = ""));
          }}
        />
        <Icon name="camera" size={36} />
        {busy ? strings.photoBusy : props.label}
      </label>
    </div>
  );
}
