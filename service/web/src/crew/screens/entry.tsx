import { useState } from "preact/hooks";
import type { Caution } from "../../api.ts";
import { labelsOf, type Hazard } from "../../contract.ts";
import { strings } from "../../strings.ts";
import { cautionsRead } from "../../triage-input.ts";
import { BackButton, Dock, Field, Heading, Icon, NextButton, Notice } from "../parts.tsx";
import { go, scannedOutside } from "../route.ts";
import {
  kept,
  loss as openLoss,
  lossFresh,
  person,
  record,
  rememberPerson,
  sentenceFor,
} from "../state.ts";

const HAZARDS = labelsOf<Hazard>("Hazard");

/** What each person reads and puts a name to before entry. */
export function Entry({ loss }: { loss: string }) {
  const open = openLoss.value;
  const [name, setName] = useState(person.value);
  const [fault, setFault] = useState<string | null>(null);
  const [failure, setFailure] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);
  if (open === null) return null;

  const given = open.loss.authorisations.map((one) => one.given_by);
  const shown = open.cautions.map((one) => one.id);
  const had = cautionsRead(open.loss, kept.value, name.trim());
  const read = name.trim() !== "" && shown.every((id) => had.has(id));

  const enter = async () => {
    if (name.trim() === "") {
      setFault(strings.nameMissing);
      document.getElementById("person")?.focus();
      return;
    }
    setBusy(true);
    try {
      await rememberPerson(name.trim());
      if (!read) {
        await record([{ type: "cautions_acknowledged", person: name.trim(), cautions: shown }]);
      }
      go(
        scannedOutside.value === null ? { at: "pieces", loss } : { at: "step", loss, step: "tag" },
      );
    } catch (error) {
      setFailure(sentenceFor(error));
    } finally {
      setBusy(false);
    }
  };

  return (
    <div class="stack">
      <Heading title={strings.beforeEntry} lead={`${open.loss.title}, ${open.loss.site}`} />
      <Notice kind="caution" title={strings.entryDecided} />
      {!lossFresh.value && (
        <Notice kind="note" title={strings.tagging.lastSeen}>
          <p>{strings.tagging.lastSeenText}</p>
        </Notice>
      )}
      {given.length > 0 ? (
        <Notice kind="done" title={strings.authorisedBy(given.join(", "))} />
      ) : (
        <Notice kind="caution" title={strings.notAuthorisedLong} />
      )}
      <section class="panel">
        <h2>{strings.hazardsHere}</h2>
        {open.loss.hazards.length === 0 ? (
          <p>{strings.noHazards}</p>
        ) : (
          <ul class="hazards">
            {open.loss.hazards.map((hazard) => (
              <li key={hazard}>
                <Icon name="caution" />
                {HAZARDS.get(hazard)}
              </li>
            ))}
          </ul>
        )}
      </section>
      <section class="panel">
        <h2>{strings.readThese}</h2>
        {byTrigger(open.cautions).map(([trigger, cautions]) => (
          <div class="cautions" key={trigger}>
            <h3>{trigger}</h3>
            <ul>
              {cautions.map((one) => (
                <li key={one.id}>{one.text}</li>
              ))}
            </ul>
          </div>
        ))}
        <ul class="cautions cautions--standing">
          {open.standing.map((text) => (
            <li key={text}>{text}</li>
          ))}
        </ul>
      </section>
      <section class="panel">
        <Field
          id="person"
          label={strings.yourName}
          hint={strings.nameHint}
          value={name}
          error={fault}
          onInput={(value) => {
            setName(value);
            setFault(null);
          }}
          attributes={{ autocomplete: "name", maxLength: 120 }}
        />
        {read && <p class="quiet">{strings.alreadyRead(name.trim())}</p>}
      </section>
      {failure !== null && (
        <Notice kind="error" title={strings.acknowledgeFailed}>
          <p>{failure}</p>
        </Notice>
      )}
      <Dock>
        <BackButton to={{ at: "losses" }} />
        <NextButton
          label={read ? strings.goOn : strings.iHaveRead}
          onPress={() => void enter()}
          busy={busy}
        />
      </Dock>
    </div>
  );
}

/** Cautions under what calls for them, in the order they came. */
function byTrigger(cautions: readonly Caution[]): [string, Caution[]][] {
  const groups = new Map<string, Caution[]>();
  for (const one of cautions) {
    groups.set(one.trigger, [...(groups.get(one.trigger) ?? []), one]);
  }
  return [...groups];
}
