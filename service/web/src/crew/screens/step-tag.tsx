import { useEffect, useState } from "preact/hooks";
import { itemPage, NotReached } from "../../api.ts";
import { cameraPossible, signalScan } from "../../camera.ts";
import { labelsOf, type ObjectType, type PartRole } from "../../contract.ts";
import { strings } from "../../strings.ts";
import { readTag, type TagFault } from "../../tag.ts";
import { BackButton, Dock, Field, Heading, Icon, Notice, TagCode, Tile } from "../parts.tsx";
import { address, go, scannedOutside } from "../route.ts";
import { beginDraft, draft, keepDraft, pieces, sentenceFor } from "../state.ts";
import { Viewfinder } from "../viewfinder.tsx";

const ROLES = labelsOf<PartRole>("PartRole");
const OBJECTS = labelsOf<ObjectType>("ObjectType");

interface Taken {
  tag: string;
  what: string;
}

/** Scan or type the tag, and see that no other piece has it. */
export function TagStep({ loss }: { loss: string }) {
  const [typing, setTyping] = useState(!cameraPossible());
  const [code, setCode] = useState("");
  const [fault, setFault] = useState<string | null>(null);
  const [taken, setTaken] = useState<Taken | null>(null);
  const [busy, setBusy] = useState(false);
  const { parent, role } = draft.value;

  const use = async (text: string, scanned: boolean) => {
    const reading = readTag(text);
    if ("fault" in reading) {
      setFault(wordsFor(reading));
      return;
    }
    // The camera may still be on the tag of the piece that this is a part of.
    if (busy || (scanned && reading.tag === parent)) return;
    setBusy(true);
    setFault(null);
    if (scanned) signalScan();
    try {
      const what = await claimedAs(reading.tag);
      if (what !== null) {
        setTaken({ tag: reading.tag, what });
        return;
      }
      if (draft.value.loss !== loss) await beginDraft(loss);
      await keepDraft({ tag: reading.tag });
      scannedOutside.value = null;
      go({ at: "step", loss, step: "photos" });
    } catch (error) {
      setFault(sentenceFor(error));
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
              onPress={() => void keepDraft({ role: value })}
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
        lead={strings.tagLead}
      />
      {typing ? (
        <form
          class="panel"
          onSubmit={(event) => {
            event.preventDefault();
            void use(code, false);
          }}
        >
          <Field
            id="code"
            label={strings.codeLabel}
            hint={strings.codeHint}
            value={code}
            error={fault}
            onInput={(value) => {
              setCode(value);
              setFault(null);
            }}
            attributes={{
              autocomplete: "off",
              autocapitalize: "characters",
              spellcheck: false,
              class: "code",
              enterkeyhint: "done",
            }}
          />
          <button
            type="submit"
            class="button button--primary button--scan button--wide"
            disabled={busy}
          >
            {strings.useCode}
          </button>
        </form>
      ) : (
        <>
          <Viewfinder onCode={(text) => void use(text, true)} />
          {fault !== null && <Notice kind="error" title={fault} />}
        </>
      )}
      <Dock>
        <BackButton to={{ at: "pieces", loss }} />
        {cameraPossible() && (
          <button
            type="button"
            class="button button--field"
            onClick={() => {
              setFault(null);
              setTyping(!typing);
            }}
          >
            <Icon name={typing ? "scan" : "keys"} />
            {typing ? strings.useCamera : strings.typeCode}
          </button>
        )}
      </Dock>
    </>
  );
}

/** What already carries the tag, in words; null for a blank one or when nobody can be asked. */
async function claimedAs(tag: string): Promise<string | null> {
  const own = pieces.value.get(tag);
  if (own !== undefined) return own.title || (OBJECTS.get(own.objectType) ?? own.objectType);
  try {
    const answer = await itemPage(tag);
    if (answer === null) return null;
    return answer.item.title || (OBJECTS.get(answer.item.object_type) ?? answer.item.object_type);
  } catch (error) {
    if (error instanceof NotReached) return null;
    throw error;
  }
}

export function wordsFor(fault: TagFault): string {
  switch (fault.fault) {
    case "character":
      return strings.fault.character(fault.place, fault.character);
    case "length":
      return strings.fault.length(fault.length, fault.expected);
    default:
      return strings.fault[fault.fault];
  }
}
