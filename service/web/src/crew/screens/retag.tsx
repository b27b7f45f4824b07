// Another tag for a piece: for one that is torn or lost, and for one that is on two pieces.
import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { enteredAnew } from "../../anew.ts";
import type { Body } from "../../contract.ts";
import { carrying, type Piece } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { claimedAs } from "../claimed.ts";
import { TagReader } from "../moving-parts.tsx";
import { BackButton, Dock, Heading, Notice, Segments, TagCode } from "../parts.tsx";
import { address, go } from "../route.ts";
import { kept, pieces, record, sentenceFor } from "../state.ts";
import { TypingSwitch, useTyping } from "../typing.tsx";

type Reason = keyof typeof strings.tagging.retagReasons;
const REASONS = Object.entries(strings.tagging.retagReasons) as [Reason, string][];

/** The tag is torn or lost: both the old and the new lead to the piece. */
export function Retag({ loss, tag }: { loss: string; tag: string }) {
  const [reason, setReason] = useState<Reason>("torn");
  const piece = carrying(pieces.value, tag);
  const first = piece?.tag ?? tag;
  return (
    <NewTag
      loss={loss}
      piece={piece}
      tag={first}
      heading={strings.tagging.retagHeading}
      lead={strings.tagging.retagLead}
      bodies={(fresh) => [
        {
          type: "tag_replaced",
          tag: first,
          new_tag: fresh,
          reason: strings.tagging.retagReasons[reason],
        },
      ]}
      leadsTo={first}
    >
      <section class="panel">
        <h2>{strings.tagging.retagWhy}</h2>
        <Segments
          legend={strings.tagging.retagWhy}
          options={REASONS}
          value={reason}
          onChoose={setReason}
        />
      </section>
    </NewTag>
  );
}

/** The tag is on two pieces: this phone's goes under another, and gives this one up. */
export function Anew({ loss, tag }: { loss: string; tag: string }) {
  const piece = pieces.value.get(tag);
  if (piece === undefined) {
    go({ at: "pieces", loss }, true);
    return null;
  }
  return (
    <NewTag
      loss={loss}
      piece={piece}
      tag={tag}
      heading={strings.tagging.anew}
      lead={strings.tagging.anewLead}
      bodies={(fresh) => enteredAnew(kept.value, piece, fresh, strings.tagging.anewReason)}
      leadsTo={null}
    />
  );
}

function NewTag(props: {
  loss: string;
  piece: Piece | undefined;
  tag: string;
  heading: string;
  lead: string;
  bodies: (fresh: string) => Body[];
  /** The tag that the piece is known under afterwards; null for the new one. */
  leadsTo: string | null;
  children?: ComponentChildren;
}) {
  const { loss, tag } = props;
  const [typing, setTyping] = useTyping();
  const [failure, setFailure] = useState<string | null>(null);
  const [taken, setTaken] = useState<{ tag: string; what: string } | null>(null);
  const [busy, setBusy] = useState(false);

  const use = async (fresh: string) => {
    if (busy) return;
    setFailure(null);
    setTaken(null);
    if (fresh === tag || props.piece?.tags.includes(fresh)) {
      setFailure(strings.tagging.retagSame);
      return;
    }
    setBusy(true);
    try {
      const what = await claimedAs(fresh);
      if (what !== null) {
        setTaken({ tag: fresh, what });
        return;
      }
      await record(props.bodies(fresh));
      go({ at: "piece", loss, tag: props.leadsTo ?? fresh }, true);
    } catch (error) {
      setFailure(sentenceFor(error));
    } finally {
      setBusy(false);
    }
  };

  return (
    <div class="stack">
      <Heading title={props.heading} lead={props.lead} />
      <p>
        <TagCode tag={tag} />
      </p>
      {props.children}
      {taken !== null && (
        <Notice kind="caution" title={strings.tagTaken}>
          <p>{strings.tagTakenText(taken.what)}</p>
          <a class="button button--field" href={address({ at: "piece", loss, tag: taken.tag })}>
            {strings.openPiece}
          </a>
        </Notice>
      )}
      {failure !== null && <Notice kind="error" title={failure} />}
      <TagReader typing={typing} onTag={(fresh) => void use(fresh)} />
      <Dock>
        <BackButton to={{ at: "piece", loss, tag }} />
        <TypingSwitch typing={typing} onSwitch={setTyping} />
      </Dock>
    </div>
  );
}
