// Choosing kinds of damage, how far each reaches, and when the piece got wet.
import { useState } from "preact/hooks";
import { labelsOf, MOULDY, WETTING, type Damage, type Extent } from "../contract.ts";
import { strings } from "../strings.ts";
import type { MouldCondition } from "../triage.ts";
import type { Seen, WetSince } from "./draft.ts";
import { Field, Segments, Tile } from "./parts.tsx";
import { loss } from "./state.ts";
import { DAMAGE_GROUP, type DamageGroup } from "./suggestions.ts";

const DAMAGES = labelsOf<Damage>("Damage");
const EXTENTS = labelsOf<Extent>("Extent");
const FIRE_PERILS: readonly string[] = ["fire", "smoke"];

type Damages = Seen["damages"];
type MouldAnswer = "0" | "1" | "2" | "3";

export function DamageChoice(props: {
  seen: Seen;
  onChange: (change: Partial<Seen>) => void;
  /** Kinds already on record, which need not be offered again. */
  without?: ReadonlySet<Damage>;
}) {
  const { damages, wetSince, mouldCondition } = props.seen;
  const onChange = (to: Damages) => props.onChange({ damages: to });
  const offered = [...DAMAGES.keys()].filter((one) => !props.without?.has(one));
  const toggle = (damage: Damage) => {
    if (damages[damage] !== undefined) onChange(without(damages, damage));
    else if (damage === "none_seen") onChange({ none_seen: "slight" });
    else onChange({ ...without(damages, "none_seen"), [damage]: "partial" });
  };
  return (
    <>
      {groupsInOrder().map((group) => {
        const members = offered.filter((one) => DAMAGE_GROUP[one] === group);
        if (members.length === 0) return null;
        return (
          <section key={group}>
            <h2 class="group">{strings.damageGroups[group]}</h2>
            <div class="tiles">
              {members.map((damage) => (
                <DamageTile
                  key={damage}
                  damage={damage}
                  extent={damages[damage]}
                  onToggle={() => toggle(damage)}
                  onExtent={(extent) => onChange({ ...damages, [damage]: extent })}
                />
              ))}
            </div>
          </section>
        );
      })}
      {Object.keys(damages).some((damage) => WETTING.has(damage)) && (
        <WetQuestion value={wetSince} onChange={(to) => props.onChange({ wetSince: to })} />
      )}
      {Object.keys(damages).some((damage) => MOULDY.has(damage)) && (
        <MouldQuestion
          value={mouldCondition}
          onChange={(to) => props.onChange({ mouldCondition: to })}
        />
      )}
    </>
  );
}

function without(damages: Damages, damage: Damage): Damages {
  return Object.fromEntries(Object.entries(damages).filter(([one]) => one !== damage));
}

/** What the site suffered from comes first. */
function groupsInOrder(): DamageGroup[] {
  const burnt = FIRE_PERILS.includes(loss.value?.loss.peril ?? "");
  return burnt
    ? ["fire", "water", "surface", "mould", "none"]
    : ["water", "mould", "surface", "fire", "none"];
}

function DamageTile(props: {
  damage: Damage;
  extent: Extent | undefined;
  onToggle: () => void;
  onExtent: (extent: Extent) => void;
}) {
  const label = DAMAGES.get(props.damage) ?? props.damage;
  const chosen = props.extent !== undefined;
  return (
    <div class={chosen && props.damage !== "none_seen" ? "tile-group" : "tile-alone"}>
      <Tile pressed={chosen} onPress={props.onToggle}>
        {label}
      </Tile>
      {props.extent !== undefined && props.damage !== "none_seen" && (
        <Segments
          legend={strings.howFar(label)}
          options={[...EXTENTS]}
          value={props.extent}
          onChoose={props.onExtent}
        />
      )}
    </div>
  );
}

function WetQuestion({ value, onChange }: { value: WetSince; onChange: (to: WetSince) => void }) {
  const site = loss.value?.loss.wet_since ?? null;
  const options: [WetSince["kind"], string][] = [
    ["at", strings.wetOther],
    ["unknown", strings.wetUnknown],
  ];
  if (site !== null) options.unshift(["site", strings.wetAsSite(shortTime(site))]);
  const kind = value.kind === "site" && site === null ? "unknown" : value.kind;
  const [typed, setTyped] = useState(value.kind === "at" && value.at ? localInput(value.at) : "");
  const [fault, setFault] = useState<string | null>(null);
  return (
    <section class="panel">
      <h2>{strings.wetHeading}</h2>
      <Segments
        legend={strings.wetHeading}
        options={options}
        value={kind}
        onChoose={(chosen) => {
          if (chosen === "at") onChange({ kind: "at", at: site ?? new Date().toISOString() });
          else onChange({ kind: chosen });
          setTyped(localInput(site ?? new Date().toISOString()));
        }}
      />
      {kind === "at" && (
        <Field
          id="wet-since"
          label={strings.wetTime}
          value={typed}
          error={fault}
          onInput={(text) => {
            setTyped(text);
            const at = new Date(text);
            const wrong = Number.isNaN(at.getTime())
              ? strings.wetMissing
              : at.getTime() > Date.now()
                ? strings.wetFuture
                : null;
            setFault(wrong);
            onChange({ kind: "at", at: wrong === null ? at.toISOString() : null });
          }}
          attributes={{ type: "datetime-local" }}
        />
      )}
    </section>
  );
}

/** The conditions of ANSI/IICRC S520, which only somebody qualified assigns. */
function MouldQuestion(props: {
  value: Seen["mouldCondition"];
  onChange: (to: Seen["mouldCondition"]) => void;
}) {
  return (
    <section class="panel mould-conditions">
      <h2>{strings.tagging.mouldHeading}</h2>
      <Segments
        legend={strings.tagging.mouldHeading}
        options={Object.entries(strings.tagging.mould) as [MouldAnswer, string][]}
        value={String(props.value ?? 0) as MouldAnswer}
        onChoose={(chosen) =>
          props.onChange(chosen === "0" ? null : (Number(chosen) as MouldCondition))
        }
      />
    </section>
  );
}

export function shortTime(moment: string): string {
  return new Date(moment).toLocaleString(undefined, {
    weekday: "short",
    day: "numeric",
    month: "short",
    hour: "2-digit",
    minute: "2-digit",
  });
}

/** `moment` as an input of type datetime-local wants it: local time, no zone. */
function localInput(moment: string): string {
  const at = new Date(moment);
  const local = new Date(at.getTime() - at.getTimezoneOffset() * 60_000);
  return local.toISOString().slice(0, 16);
}
