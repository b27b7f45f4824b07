// The crew's app: starts the store, then draws the screen that the address names.
import { render } from "preact";
import { strings } from "../strings.ts";
import { App } from "./app.tsx";
import { keepForOffline } from "./offline.ts";
import { Notice } from "./parts.tsx";
import { sentenceFor, start } from "./state.ts";

const root = document.getElementById("crew");
if (root === null) throw new Error("the page has no place for the crew's app");
root.replaceChildren();

if (!window.isSecureContext) {
  render(<Notice kind="error" title={strings.needsSecure} />, root);
} else {
  try {
    await start();
    render(<App />, root);
    keepForOffline(); // After the first screen, which needs the network more.
  } catch (error) {
    render(
      <Notice kind="error" title={strings.storageFault}>
        <p>{sentenceFor(error)}</p>
      </Notice>,
      root,
    );
  }
}
