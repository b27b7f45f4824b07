// Which screen is shown, and the loss that every screen but the first stands on.
import { useEffect, useState } from "preact/hooks";
import { strings } from "../strings.ts";
import { NewVersion, Stopped } from "./notices.tsx";
import { Drawings, Notice, Strip } from "./parts.tsx";
import { go, route, type Route } from "./route.ts";
import { AddDamage } from "./screens/add-damage.tsx";
import { Correct } from "./screens/correct.tsx";
import { DelayScreen } from "./screens/delay.tsx";
import { Details } from "./screens/details.tsx";
import { Enrol } from "./screens/enrol.tsx";
import { Entry } from "./screens/entry.tsx";
import { HandoverScreen } from "./screens/handover.tsx";
import { Losses } from "./screens/losses.tsx";
import { Move } from "./screens/move.tsx";
import { Pack } from "./screens/pack.tsx";
import { PieceScreen } from "./screens/piece.tsx";
import { Pieces } from "./screens/pieces.tsx";
import { Anew, Retag } from "./screens/retag.tsx";
import { Receive } from "./screens/receive.tsx";
import { StepScreen } from "./screens/steps.tsx";
import { Truck } from "./screens/truck.tsx";
import { Unsent } from "./screens/unsent.tsx";
import { draft, loss, openLoss, person, phone, sentenceFor } from "./state.ts";

export function App() {
  const now = phone.value === null ? ({ at: "enrol" } as const) : route.value;
  return (
    <div class="crew">
      <Drawings />
      {(now.at === "losses" || now.at === "pieces") && <NewVersion />}
      {now.at !== "enrol" && <Stopped />}
      <Place now={now} />
    </div>
  );
}

function Place({ now }: { now: Route }) {
  switch (now.at) {
    case "enrol":
      return <Enrol />;
    case "losses":
      return <Losses />;
    default:
      return <AtLoss now={now} />;
  }
}

type RouteAtLoss = Exclude<Route, { at: "losses" | "enrol" }>;

function AtLoss({ now }: { now: RouteAtLoss }) {
  const [failure, setFailure] = useState<string | null>(null);
  useEffect(() => {
    setFailure(null);
    openLoss(now.loss).catch((error: unknown) => setFailure(sentenceFor(error)));
  }, [now.loss]);

  const open = loss.value;
  if (open?.loss.loss !== now.loss) {
    if (failure === null) return <p class="quiet">{strings.loadingLosses}</p>;
    return (
      <Notice kind="error" title={strings.loadFailed}>
        <p>{failure}</p>
      </Notice>
    );
  }
  if (now.at !== "entry" && person.value === "") {
    go({ at: "entry", loss: now.loss }, true);
    return null;
  }
  return (
    <>
      {now.at !== "entry" && <Strip loss={now.loss} title={open.loss.title} />}
      <Screen now={now} />
    </>
  );
}

function Screen({ now }: { now: RouteAtLoss }) {
  switch (now.at) {
    case "entry":
      return <Entry loss={now.loss} />;
    case "pieces":
      return <Pieces loss={now.loss} />;
    case "step": {
      const needsTag =
        now.step !== "tag" && (draft.value.tag === null || draft.value.loss !== now.loss);
      if (!needsTag) return <StepScreen key={now.step} loss={now.loss} step={now.step} />;
      go({ at: "pieces", loss: now.loss }, true);
      return null;
    }
    case "piece":
      return <PieceScreen key={now.tag} loss={now.loss} tag={now.tag} />;
    case "details":
      return <Details loss={now.loss} tag={now.tag} />;
    case "damage":
      return <AddDamage loss={now.loss} tag={now.tag} />;
    case "correct":
      return <Correct loss={now.loss} tag={now.tag} />;
    case "retag":
      return <Retag loss={now.loss} tag={now.tag} />;
    case "anew":
      return <Anew loss={now.loss} tag={now.tag} />;
    case "move":
      return <Move loss={now.loss} />;
    case "pack":
      return <Pack key={now.container} loss={now.loss} container={now.container} />;
    case "truck":
      return <Truck loss={now.loss} />;
    case "handover":
      return <HandoverScreen key={now.manifest} loss={now.loss} manifest={now.manifest} />;
    case "delay":
      return <DelayScreen key={now.manifest} loss={now.loss} manifest={now.manifest} />;
    case "receive":
      return <Receive key={now.list} loss={now.loss} list={now.list} />;
    case "unsent":
      return <Unsent loss={now.loss} />;
  }
}
