import { useRef, useState } from "preact/hooks";
import { strings } from "../../strings.ts";
import { ListCode } from "../list-code.tsx";
import { expectedWords } from "../moving-parts.tsx";
import { BackButton, Dock, Field, Heading, Icon, NextButton, Notice, Segments } from "../parts.tsx";
import { PhotoTaker, Thumb } from "../photos.tsx";
import { address, go } from "../route.ts";
import { SignaturePad, type TakeSignature } from "../signature.tsx";
import { loads, person, record, sentenceFor, store } from "../state.ts";

type Way = keyof typeof strings.moving.ways;

/** A load passes from one person to another, who signs for it. */
export function HandoverScreen({ loss, manifest }: { loss: string; manifest: string }) {
  const load = loads.value.get(manifest);
  const before = load?.handovers.at(-1);
  const [again, setAgain] = useState(false);
  return (
    <div class="stack">
      <Heading title={strings.moving.handoverHeading} lead={strings.moving.handoverLead} />
      <section class="list-card">
        <ListCode loss={loss} manifest={manifest} />
        <div class="list-card__words">
          <p class="list-name list-name--large">{manifest}</p>
          {load !== undefined && (
            <p>
              {load.vehicle}: {strings.moving.pieces(load.tags.length)}
            </p>
          )}
          {load?.expectedAt != null && <p>{expectedWords(load)}</p>}
        </div>
      </section>
      <a class="button button--field" href={address({ at: "delay", loss, manifest })}>
        <Icon name="clock" />
        {strings.moving.sayDelayed}
      </a>
      {before !== undefined && !again ? (
        <>
          <Notice kind="done" title={strings.moving.handedOverAlready}>
            <p>{strings.moving.handedOverBy(before.givenBy, before.takenBy)}</p>
            {before.signature !== null && (
              <Thumb sha={before.signature} alt={strings.moving.signatureHeading} />
            )}
          </Notice>
          <Dock>
            <BackButton to={{ at: "move", loss }} />
            <button type="button" class="button button--field" onClick={() => setAgain(true)}>
              {strings.moving.handOverAgain}
            </button>
          </Dock>
        </>
      ) : (
        <HandoverForm
          loss={loss}
          manifest={manifest}
          givenBy={before?.takenBy ?? person.value}
          onDone={() => setAgain(false)}
        />
      )}
    </div>
  );
}

function HandoverForm(props: {
  loss: string;
  manifest: string;
  givenBy: string;
  onDone: () => void;
}) {
  const [givenBy, setGivenBy] = useState(props.givenBy);
  const [takenBy, setTakenBy] = useState("");
  const [way, setWay] = useState<Way>("glass");
  const [paper, setPaper] = useState<string | null>(null);
  const [faults, setFaults] = useState<{ given?: string; taken?: string; signature?: string }>({});
  const [failure, setFailure] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);
  const take = useRef<TakeSignature>(async () => null);

  /** The digest of the signature, null when only names are given, or why there is none. */
  const signed = async (): Promise<{ digest: string | null } | { fault: string }> => {
    if (way === "name") return { digest: null };
    if (way === "paper") {
      return paper === null ? { fault: strings.moving.paperMissing } : { digest: paper };
    }
    const drawn = await take.current();
    if (drawn === null) return { fault: strings.moving.padEmpty };
    await store.keepPhoto(drawn);
    return { digest: drawn.sha };
  };

  const handOver = async () => {
    setBusy(true);
    setFailure(null);
    try {
      const signature = await signed();
      const wrong = {
        ...(givenBy.trim() === "" ? { given: strings.moving.nameMissing } : {}),
        ...(takenBy.trim() === "" ? { taken: strings.moving.nameMissing } : {}),
        ...("fault" in signature ? { signature: signature.fault } : {}),
      };
      setFaults(wrong);
      if (Object.keys(wrong).length > 0 || "fault" in signature) return;
      await record([
        {
          type: "handed_over",
          manifest: props.manifest,
          given_by: givenBy.trim(),
          taken_by: takenBy.trim(),
          ...(signature.digest === null ? {} : { signature: signature.digest }),
        },
      ]);
      props.onDone();
      go({ at: "move", loss: props.loss });
    } catch (error) {
      setFailure(sentenceFor(error));
    } finally {
      setBusy(false);
    }
  };

  return (
    <>
      <section class="panel">
        <Field
          id="given-by"
          label={strings.moving.givenBy}
          value={givenBy}
          error={faults.given ?? null}
          onInput={setGivenBy}
          attributes={{ maxLength: 300 }}
        />
        <Field
          id="taken-by"
          label={strings.moving.takenBy}
          hint={strings.moving.takenByHint}
          value={takenBy}
          error={faults.taken ?? null}
          onInput={setTakenBy}
          attributes={{ maxLength: 300, autocomplete: "off" }}
        />
      </section>
      <section class="panel">
        <h2>{strings.moving.signatureHeading}</h2>
        <Segments
          legend={strings.moving.signatureHeading}
          options={Object.entries(strings.moving.ways) as [Way, string][]}
          value={way}
          onChoose={(chosen) => {
            setWay(chosen);
            setFaults({});
          }}
        />
        {way === "glass" && <SignaturePad take={take} />}
        {way === "paper" && paper !== null && (
          <Thumb sha={paper} alt={strings.moving.signatureHeading} />
        )}
        {way === "paper" && (
          <PhotoTaker
            label={paper === null ? strings.moving.paperPhoto : strings.takeAnother}
            onTaken={async (sha) => {
              setPaper(sha);
              setFaults({});
            }}
          />
        )}
        {way === "name" && <Notice kind="note" title={strings.moving.nameOnly} />}
        {faults.signature !== undefined && <Notice kind="error" title={faults.signature} />}
      </section>
      {failure !== null && (
        <Notice kind="error" title={strings.saveFailed}>
          <p>{failure}</p>
        </Notice>
      )}
      <Dock>
        <BackButton to={{ at: "move", loss: props.loss }} />
        <NextButton
          label={busy ? strings.saving : strings.moving.handOver}
          busy={busy}
          onPress={() => void handOver()}
        />
      </Dock>
    </>
  );
}
