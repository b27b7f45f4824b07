import { useEffect, useRef, useState } from "preact/hooks";
import { labelsOf, type PartRole } from "../../contract.ts";
import { carrying } from "../../pieces.ts";
import { signalScan } from "../../scan-signal.ts";
import { strings } from "../../strings.ts";
import { readTag } from "../../tag.ts";
import { claimedAs } from "../claimed.ts";
import { likelyPart } from "../draft.ts";
import { BackButton, Dock, Heading, Notice, TagCode, Tile } from "../parts.tsx";
import { address, go, scannedOutside } from "../route.ts";
import { beginDraft, draft, keepDraft, pieces, sentenceFor } from "../state.ts";
import { TypedTag, wordsFor } from "../typed-tag.tsx";
import { TypingSwitch, useTyping } from "../typing.tsx";
import { Viewfinder } from "../viewfinder.tsx";

const ROLES = labelsOf<PartRole>("PartRole");

interface Taken {
  tag: string;
  what: string;
}

/** Scan or type the tag, and see that no other piece has it. */
export function TagStep({ loss }: { loss: string }) {
  const [typing, setTyping] = useTyping();
  const [fault, setFault] = useState<string | null>(null);
  const [taken, setTaken] = useState<Taken | null>(null);
  const [busy, setBusy] = useState(false);
  const told = useRef("");
  const { parent, role } = draft.value;

  /** Whether the tag was taken for the piece. */
  const use = async (text: string, scanned: boolean): Promise<boolean> => {
    const reading = readTag(text);
    if ("fault" in reading) {
      setFault(wordsFor(reading));
      return false;
    }
    // The camera may still be on the tag of the piece that this is a part of.
    if (busy || (scanned && reading.tag === parent)) return false;
    setBusy(true);
    setFault(null);
    // The camera reads on until the next screen stands; one scan is told once.
    if (scanned && told.current !== reading.tag) signalScan();
    told.current = reading.tag;
    try {
      const what = await claimedAs(reading.tag);
      if (what !== null) {
        setTaken({ tag: reading.tag, what });
        return false;
      }
      if (draft.value.loss !== loss) await beginDraft(loss);
      await keepDraft({ tag: reading.tag });
      scannedOutside.value = null;
      go({ at: "step", loss, step: "photos" });
      return true;
    } catch (error) {
      setFault(sentenceFor(error));
      return false;
    } finally {
      setBusy(false);
    }
  };

  useEffect(() => {
    if (scannedOutside.value !== null) void use(scannedOutside.value, false);
  }, []);

  if (taken !== null) {
    return (
      <>
        <Heading title={strings.tagHeading} />
        <Notice kind="caution" title={strings.tagTaken}>
          <p>
            <TagCode tag={taken.tag} />
          </p>
          <p>{strings.tagTakenText(taken.what)}</p>
        </Notice>
        <Dock>
          <a class="button button--field" href={address({ at: "piece", loss, tag: taken.tag })}>
            {strings.openPiece}
          </a>
          <button
            type="button"
            class="button button--primary button--field"
            onClick={() => {
              scannedOutside.value = null;
              setTaken(null);
            }}
          >
            {strings.otherTag}
          </button>
        </Dock>
      </>
    );
  }

  if (parent !== null && role === null) {
    return (
      <>
        <Heading title={strings.partHeading(parent.slice(0, 4))} lead={strings.partRole} />
        <div class="tiles">
          {[...ROLES].map(([value, label]) => (
            <Tile
              key={value}
              single
              pressed={false}
              onPress={() =>
                void keepDraft({
                  role: value,
                  ...likelyPart(value, carrying(pieces.value, parent)),
                })
              }
            >
              {label}
            </Tile>
          ))}
        </div>
        <Dock>
          <BackButton to={{ at: "piece", loss, tag: parent }} />
        </Dock>
      </>
    );
  }

  return (
    <>
      <Heading
        title={role === null ? strings.tagHeading : strings.scanPart(ROLES.get(role) ?? role)}
        lead={role === "fragments" ? strings.tagging.bagLead : strings.tagLead}
      />
      {typing ? (
        <TypedTag
          fault={fault}
          busy={busy}
          onUse={(code) => use(code, false)}
          onEdit={() => setFault(null)}
          onPick={(tag) => go({ at: "piece", loss, tag })}
        />
      ) : (
        <>
          <Viewfinder onCode={(text) => void use(text, true)} />
          {fault !== null && <Notice kind="error" title={fault} />}
        </>
      )}
      <Dock>
        <BackButton to={{ at: "pieces", loss }} />
        <TypingSwitch
          typing={typing}
          onSwitch={(on) => {
            setFault(null);
            setTyping(on);
          }}
        />
      </Dock>
    </>
  );
}
