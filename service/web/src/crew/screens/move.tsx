import { useEffect } from "preact/hooks";
import { notYetLoaded } from "../../moving.ts";
import { strings } from "../../strings.ts";
import { Card, Heading, Icon } from "../parts.tsx";
import { address } from "../route.ts";
import { loadRoad, loads, moves, pieces } from "../state.ts";

/** Where packing, loading, handing over and receiving begin. */
export function Move({ loss }: { loss: string }) {
  // Kept for when the network is gone at the other end. Without it, this phone's own are shown.
  useEffect(() => void loadRoad(loss).catch(() => undefined), [loss]);
  const { containers } = notYetLoaded(moves.value, pieces.value.keys());
  const lists = [...moves.value.loads.keys()].flatMap((name) => loads.value.get(name) ?? []);
  return (
    <div class="stack">
      <Heading title={strings.moving.heading} lead={strings.moving.lead} />
      <section class="moving-list">
        <h2 class="group">{strings.moving.containers}</h2>
        {containers.size === 0 && <p class="quiet">{strings.moving.noContainers}</p>}
        <ul class="cards">
          {[...containers].map(([name, tags]) => (
            <li key={name}>
              <Card
                to={{ at: "pack", loss, container: name }}
                title={name}
                before={<Icon name="set" size={28} />}
              >
                <span class="card__line">{strings.moving.pieces(tags.length)}</span>
              </Card>
            </li>
          ))}
        </ul>
      </section>
      <section class="moving-list">
        <h2 class="group">{strings.moving.lists}</h2>
        {lists.length === 0 && <p class="quiet">{strings.moving.noLists}</p>}
        <ul class="cards">
          {lists.reverse().map((load) => {
            const taken = load.handovers.at(-1);
            return (
              <li key={load.manifest}>
                <Card to={{ at: "handover", loss, manifest: load.manifest }} title={load.vehicle}>
                  <span class="list-name">{load.manifest}</span>
                  <span class="card__line">{strings.moving.pieces(load.tags.length)}</span>
                  <span class="card__flags">
                    <span class={`flag flag--${taken ? "done" : "caution"}`}>
                      {taken
                        ? strings.moving.handedOver(taken.takenBy)
                        : strings.moving.notHandedOver}
                    </span>
                  </span>
                </Card>
              </li>
            );
          })}
        </ul>
      </section>
      <div class="dock dock--wrap">
        <a
          class="button button--primary button--scan button--wide"
          href={address({ at: "pack", loss, container: null })}
        >
          <Icon name="scan" size={32} />
          {strings.moving.pack}
        </a>
        <a class="button button--field" href={address({ at: "truck", loss })}>
          {strings.moving.load}
        </a>
        <a class="button button--field" href={address({ at: "receive", loss, list: null })}>
          {strings.moving.receive}
        </a>
      </div>
    </div>
  );
}
