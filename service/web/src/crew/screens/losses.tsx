import { useEffect, useState } from "preact/hooks";
import { labelsOf, type Peril } from "../../contract.ts";
import { strings } from "../../strings.ts";
import { readTag } from "../../tag.ts";
import { BeforeOffline } from "../notices.tsx";
import { Card, Heading, Icon, Notice } from "../parts.tsx";
import { go, scannedOutside } from "../route.ts";
import { loadLosses, lossList, lossOf, person, sentenceFor } from "../state.ts";

const PERILS = labelsOf<Peril>("Peril");

/** Which loss the crew is at. */
export function Losses() {
  const [failure, setFailure] = useState<string | null>(null);
  const load = () => {
    setFailure(null);
    loadLosses().catch((error: unknown) => setFailure(sentenceFor(error)));
  };
  useEffect(load, []);
  useEffect(() => void openScanned(), []);

  const list = lossList.value;
  const scanned = scannedTag();
  return (
    <div class="stack">
      <Heading title={strings.chooseLoss} />
      {scanned !== null && <Notice kind="note" title={strings.tagging.scanned(scanned)} />}
      {failure !== null && (
        <Notice kind="error" title={strings.loadFailed}>
          <p>{failure}</p>
          <button type="button" class="button button--field" onClick={load}>
            {strings.tryAgain}
          </button>
        </Notice>
      )}
      {list === null && failure === null && <p class="quiet">{strings.loadingLosses}</p>}
      <BeforeOffline />
      {list?.length === 0 && <p class="empty">{strings.noLosses}</p>}
      <ul class="cards cards--choice">
        {list?.map((one) => (
          <li key={one.loss}>
            <Card to={{ at: "entry", loss: one.loss }} title={one.title}>
              <span class="card__line">
                <Icon name="place" size={20} />
                {one.site}
              </span>
              <span class="card__flags">
                <span class="flag">{PERILS.get(one.peril)}</span>
                <span class={`flag flag--${one.authorised ? "done" : "caution"}`}>
                  {one.authorised ? strings.authorised : strings.notAuthorised}
                </span>
              </span>
            </Card>
          </li>
        ))}
      </ul>
    </div>
  );
}

/** The tag that the phone's own camera app read, where it is one. */
function scannedTag(): string | null {
  const reading = scannedOutside.value === null ? null : readTag(scannedOutside.value);
  return reading !== null && "tag" in reading ? reading.tag : null;
}

/** A tag whose piece this phone knows leads to the piece at once. */
async function openScanned(): Promise<void> {
  const tag = scannedTag();
  const loss = tag === null || person.value === "" ? null : await lossOf(tag);
  if (tag === null || loss === null) return;
  scannedOutside.value = null;
  go({ at: "piece", loss, tag }, true);
}
