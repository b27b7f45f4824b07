import { useEffect, useState } from "preact/hooks";
import { cameraPossible } from "../../camera.ts";
import { signalScan } from "../../scan-signal.ts";
import { strings } from "../../strings.ts";
import { BeforeOffline } from "../notices.tsx";
import { Dock, Heading, Icon, Notice } from "../parts.tsx";
import { address, go, invitation } from "../route.ts";
import { enrolWith, outbox, phone, revoked, sending, sendRefusedAgain, sentenceFor } from "../state.ts";
import { CodeForm, TypingSwitch, useTyping } from "../typing.tsx";
import { Viewfinder } from "../viewfinder.tsx";
import { ToFile } from "./unsent.tsx";

const CODE = /^[0-9A-HJKMNP-TV-Z]{16}$/;

/** The office's code in a scanned address or a typed text; null when it is neither. */
function codeIn(text: string): string | null {
  const code = (text.split("#enrol=").at(-1) ?? "")
    .toUpperCase()
    .replace(/[\s-]/g, "")
    .replaceAll("O", "0")
    .replace(/[IL]/g, "1");
  return CODE.test(code) ? code : null;
}

/** Scan or type the office's code, and get a name and a key. */
export function Enrol() {
  if (phone.value !== null && revoked.value === null) return <Already name={phone.value.name} />;
  if (outbox.value.length > 0) return <FirstSeeItSafe />;
  return <AskForCode />;
}

function Already({ name }: { name: string }) {
  return (
    <div class="stack">
      <Heading title={strings.enrol.already(name)} />
      <Dock>
        <a class="button button--primary button--field" href={address({ at: "losses" })}>
          {strings.enrol.goOn}
        </a>
      </Dock>
    </div>
  );
}

function FirstSeeItSafe() {
  return (
    <div class="stack">
      <Heading title={strings.enrol.heading} />
      <Notice kind="caution" title={strings.enrol.stillWaitingTitle}>
        <p>{strings.enrol.stillWaiting}</p>
      </Notice>
      <ToFile />
      <Dock>
        {phone.value !== null && (
          <button
            type="button"
            class="button button--primary button--field"
            disabled={sending.value}
            onClick={() => void sendRefusedAgain()}
          >
            <Icon name="send" />
            {sending.value ? strings.sending : strings.sendNow}
          </button>
        )}
      </Dock>
    </div>
  );
}

function AskForCode() {
  const [typing, setTyping] = useTyping();
  const [typed, setTyped] = useState("");
  const [busy, setBusy] = useState(false);
  const [fault, setFault] = useState<string | null>(null);
  const [failed, setFailed] = useState<{ code: string; why: string } | null>(null);

  const use = async (text: string, scanned: boolean) => {
    const code = codeIn(text);
    if (code === null) {
      setFault(strings.enrol.codeWrong);
      return;
    }
    if (busy) return;
    setBusy(true);
    setFault(null);
    setFailed(null);
    if (scanned) signalScan();
    try {
      await enrolWith(code);
      invitation.value = null;
      go({ at: "losses" }, true);
    } catch (error) {
      setFailed({ code, why: sentenceFor(error) });
    } finally {
      setBusy(false);
    }
  };

  useEffect(() => {
    if (invitation.value !== null) void use(invitation.value, false);
  }, [invitation.value]);

  if (busy || failed !== null) {
    return (
      <div class="stack">
        <Heading title={strings.enrol.heading} />
        {failed === null ? (
          <p class="quiet">{strings.enrol.busy}</p>
        ) : (
          <Notice kind="error" title={strings.enrol.failed}>
            <p>{failed.why}</p>
          </Notice>
        )}
        {failed !== null && (
          <Dock>
            <button
              type="button"
              class="button button--field"
              onClick={() => {
                invitation.value = null;
                setFailed(null);
              }}
            >
              {strings.enrol.otherCode}
            </button>
            <button
              type="button"
              class="button button--primary button--field"
              onClick={() => void use(failed.code, false)}
            >
              {strings.enrol.again}
            </button>
          </Dock>
        )}
      </div>
    );
  }

  return (
    <div class="stack">
      <Heading title={strings.enrol.heading} lead={strings.enrol.lead} />
      <BeforeOffline />
      {typing ? (
        <CodeForm
          id="enrol-code"
          label={strings.enrol.codeLabel}
          hint={strings.enrol.codeHint}
          use={strings.enrol.use}
          value={typed}
          fault={fault}
          onInput={(value) => {
            setTyped(value);
            setFault(null);
          }}
          onUse={() => void use(typed, false)}
        />
      ) : (
        <>
          <Viewfinder
            words={strings.enrol.pointAtCode}
            onCode={(text) => void use(text, true)}
          />
          {fault !== null && <Notice kind="error" title={fault} />}
        </>
      )}
      {cameraPossible() && (
        <Dock>
          <TypingSwitch
            typing={typing}
            onSwitch={(on) => {
              setFault(null);
              setTyping(on);
            }}
          />
        </Dock>
      )}
    </div>
  );
}
