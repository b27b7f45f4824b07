// What the app says of itself: whether it starts without a network, and that a newer one is here.
import { useEffect, useState } from "preact/hooks";
import { strings } from "../strings.ts";
import {
  install,
  installOffer,
  keeping,
  newVersion,
  onHomeScreen,
  takeNewVersion,
} from "./offline.ts";
import { Icon, Notice } from "./parts.tsx";
import { address } from "./route.ts";
import { outbox, revoked, store } from "./state.ts";

const INSTALL_PUT_OFF = "install_put_off";

/** Shown between pieces only, so that nobody reloads by a slip of the glove in the middle of one. */
export function NewVersion() {
  if (!newVersion.value) return null;
  return (
    <div class="app-notice">
      <Notice kind="note" title={strings.newVersion}>
        <p>{strings.newVersionText}</p>
        <button type="button" class="button button--field" onClick={() => void takeNewVersion()}>
          {strings.reload}
        </button>
      </Notice>
    </div>
  );
}

/** That the office stopped this phone: what happened, that nothing is lost, and what to do. */
export function Stopped() {
  const stopped = revoked.value;
  if (stopped === null) return null;
  const when = new Date(stopped.at).toLocaleString();
  return (
    <div class="app-notice">
      <Notice kind="error" title={strings.stopped.title}>
        <p>{strings.stopped.why(when, stopped.because)}</p>
        <p>{strings.stopped.todo(outbox.value.length)}</p>
        <a class="button button--field" href={address({ at: "enrol" })}>
          {strings.stopped.enrolAgain}
        </a>
      </Notice>
    </div>
  );
}

/** For the first screen: what to do before there is no network. */
export function BeforeOffline() {
  return (
    <div class="app-notice">
      <StartsWithoutNetwork />
      <HomeScreen />
    </div>
  );
}

function StartsWithoutNetwork() {
  switch (keeping.value) {
    case "trying":
      return <p class="quiet">{strings.keepingApp}</p>;
    case "kept":
      return (
        <p class="quiet app-notice__kept">
          <Icon name="done" size={20} />
          {strings.appKept}
        </p>
      );
    case "not_yet":
    case "impossible":
      return (
        <Notice kind="caution" title={strings.appNotKept}>
          <p>{keeping.value === "not_yet" ? strings.appNotYet : strings.appNever}</p>
        </Notice>
      );
  }
}

function HomeScreen() {
  const [putOff, setPutOff] = useState(true);
  useEffect(() => {
    void store.note<boolean>(INSTALL_PUT_OFF).then((found) => setPutOff(found === true));
  }, []);
  const byHand = matchMedia("(pointer: coarse)").matches;
  if (putOff || onHomeScreen() || (installOffer.value === null && !byHand)) return null;
  return (
    <Notice kind="note" title={strings.homeScreen}>
      <p>{strings.homeScreenWhy}</p>
      {installOffer.value === null && <p>{strings.homeScreenByHand}</p>}
      <p class="row">
        {installOffer.value !== null && (
          <button type="button" class="button button--field" onClick={() => void install()}>
            {strings.homeScreenInstall}
          </button>
        )}
        <button
          type="button"
          class="button button--field"
          onClick={() => {
            setPutOff(true);
            void store.keepNote(INSTALL_PUT_OFF, true);
          }}
        >
          {strings.homeScreenPutOff}
        </button>
      </p>
    </Notice>
  );
}
