import { type AlarmsV3, alarmsFromV3 } from "./alarms/earlierAlarms.ts";
import type { Assumed } from "./assumed.ts";
import { noCold } from "./cold/cold.ts";
import type { FoundFrost } from "./cold/frost.ts";
import type { FaultKind } from "./faults.ts";
import { freshFeed } from "./feed/feedState.ts";
import type { Payments } from "./feed/payments.ts";
import type { FeederState } from "./feeder.ts";
import { type HopperV1, hopperFromV1 } from "./hopper/earlierHopper.ts";
import { after, type Instant, type Span } from "./instant.ts";
import type { FeederSettings } from "./settings.ts";
import { type LinkState, withKnownRhythm } from "./silence/feederSilence.ts";
import type { Pairing } from "./silence/pairing.ts";
import {
  type SensorsState,
  unwatchedSensors,
  type Watched,
  type Witness,
  witnesses,
} from "./silence/sensorActivity.ts";

/**
 * A feeder's state as Pieward wrote it before it weighed all evidence of a portion at once. What was learnt over weeks is kept
 * (the hopper, the line, how the birds use each sensor); what is found again within a few portions begins anew.
 */
export interface StateV1 extends Pick<FeederState, Kept> {
  readonly version: 1;
  readonly hopper: HopperV1;
  readonly feed: { readonly payments: Payments };
  readonly link: LinkV1;
  readonly sensors: SensorsV1;
  readonly cold: ColdV1;
  readonly alarms: AlarmsV3;
}

type Kept = "settings" | "latest" | "clock" | "sequence" | "orders" | "trouble";

/** As it was before a confirmed pause could be undone by what the feeder does afterwards. */
export interface StateV4 extends Omit<FeederState, "version"> {
  readonly version: 4;
}

/** As it was before alarms could be latched or taken out of service, and told what explains them. */
export interface StateV3 extends Omit<StateV4, "version" | "alarms"> {
  readonly version: 3;
  readonly alarms: AlarmsV3;
}

/** As it was before it remembered what it had foreseen. */
export interface StateV2 extends Omit<StateV3, "version" | "foresight"> {
  readonly version: 2;
}

export const stateFromV4 = (old: StateV4): FeederState => ({
  ...old,
  version: 5,
  settings: settingsFromV4(old.settings),
  hopper: { ...old.hopper, appetite: { ...old.hopper.appetite, untold: old.hopper.appetite.untold ?? null } },
  link: withKnownRhythm(old.link),
  orders: { ...old.orders, ...startFrom(old.clock) },
});

/** A pause that was confirmed before holds only while the feeder lives on: its start was known by its clock. */
function startFrom({ boots }: FeederState["clock"]): Pick<FeederState["orders"], "start"> {
  const newest = boots.at(-1);
  if (newest === undefined) return {};
  const { boot, receivedAt, uptime } = newest;
  const before = boots.slice(0, -1).map((earlier) => ({ boot: earlier.boot, uptime: earlier.uptime }));
  const at = after(receivedAt, -uptime as Span);
  return { start: { boot, at, uptime, byNewestReport: at, before } };
}

/**
 * A form that was left at "Choose…" used to be written down as peanuts at 1.5 g. Where just these stand, nobody is taken to have
 * said them: whoever did is asked once more.
 */
function settingsFromV4(settings: FeederSettings): FeederSettings {
  const { food, ...others } = settings;
  const untouched =
    food === "peanuts" && settings.portionMass === 1.5 && settings.foodKind === undefined && !settings.practice;
  if (!untouched) return settings;
  const capacity: readonly Assumed[] = settings.hopperCapacity === 1_000 ? ["hopperCapacity"] : [];
  return { ...others, assumed: [...capacity, "portionMass"] };
}

export const stateFromV3 = (old: StateV3): FeederState =>
  stateFromV4({ ...old, version: 4, alarms: alarmsFromV3(old.alarms) });

export const stateFromV2 = (old: StateV2): FeederState => stateFromV3({ ...old, version: 3, foresight: null });

export function stateFromV1(old: StateV1): FeederState {
  const { settings, latest, clock, sequence, orders, trouble } = old;
  const heardAt = latest?.at ?? (old.link.kind === "heard" ? old.link.at : old.link.since);
  return stateFromV4({
    version: 4,
    settings,
    latest,
    hopper: hopperFromV1(old.hopper, settings),
    foresight: null,
    feed: { ...freshFeed(), payments: old.feed.payments },
    clock,
    sequence,
    link: linkFrom(old.link),
    sensors: sensorsFrom(old.sensors, heardAt),
    cold: coldFrom(old.cold),
    orders,
    trouble,
    alarms: alarmsFromV3(withoutFeedAlarms(old.alarms)),
  });
}

/**
 * The feed is judged afresh, so what was found about it isn't known any more. To end such an alarm would tell the keeper that all
 * is well: it is dropped without a word, and raised again within a few portions where the fault still stands.
 */
function withoutFeedAlarms(alarms: AlarmsV3): AlarmsV3 {
  const kept = { ...alarms };
  for (const kind of judgedAfresh) delete kept[kind];
  return kept;
}

const judgedAfresh: readonly FaultKind[] = [
  "motorNotTurning",
  "motorStalled",
  "trayJammed",
  "feedStopped",
  "chuteBlind",
];

// --- silence -----------------------------------------------------------------------------------------------------------

type Heard = Extract<LinkState, { kind: "heard" }>;
type LinkV1 = Exclude<LinkState, Heard> | Omit<Heard, "longest">;

const linkFrom = (old: LinkV1): LinkState =>
  old.kind === "heard" ? { ...old, longest: { since: old.at, newer: [], before: null } } : old;

type PairingV1 = Omit<Pairing, "bouts" | "boutAt">;
interface WatchedV1 extends Omit<Watched, "beside" | "alone" | "chatter"> {
  readonly beside: { readonly [companion in Witness]: PairingV1 | null };
  readonly alone: Omit<Watched["alone"], "profile">;
}
interface SensorsV1 extends Record<Witness, WatchedV1> {
  readonly chute: SensorsState["chute"];
  readonly scale: Omit<SensorsState["scale"], "given" | "givenAtReading">;
  readonly boot: string | null;
  readonly paused: boolean;
}

function sensorsFrom(old: SensorsV1, now: Instant): SensorsState {
  const fresh = unwatchedSensors(now);
  const { chute, boot, paused } = old;
  const scale = { ...fresh.scale, ...old.scale };
  let sensors: SensorsState = { ...fresh, chute, scale, boot, paused };
  for (const witness of witnesses) sensors = { ...sensors, [witness]: watchedFrom(old[witness], fresh[witness]) };
  return sensors;
}

const watchedFrom = ({ beside, alone, ...tally }: WatchedV1, fresh: Watched): Watched => ({
  ...fresh,
  ...tally,
  beside: {
    button: pairingFrom(beside.button),
    detector: pairingFrom(beside.detector),
    perch: pairingFrom(beside.perch),
  },
  alone: { ...fresh.alone, ...alone },
});

/** How many times birds came wasn't counted: two answers each time is what most flocks give at the least. */
const pairingFrom = (old: PairingV1 | null): Pairing | null =>
  old && { ...old, bouts: Math.round(old.hits / 2), boutAt: old.since };

// --- cold --------------------------------------------------------------------------------------------------------------

type Grown = Extract<FoundFrost, { kind: "grows" }>;
type Frozen = Extract<FoundFrost, { kind: "wetFroze" }>;
interface ColdV1 {
  readonly frost: {
    readonly wetAt: Instant | null;
    readonly drySince: Instant | null;
    readonly found: Omit<Grown, "estimated"> | Omit<Frozen, "estimated" | "wetBy"> | null;
    readonly freezeThaw: FeederState["cold"]["frost"]["freezeThaw"];
  };
  readonly battery: FeederState["cold"]["battery"];
  readonly charging: FeederState["cold"]["charging"];
}

function coldFrom({ frost, battery, charging }: ColdV1): FeederState["cold"] {
  const fresh = noCold();
  const { wetAt, drySince, found, freezeThaw } = frost;
  // For how long the dew had settled wasn't kept. It is taken for enough, so that this night's ice isn't missed.
  const wet = wetAt === null ? null : { at: wetAt, by: "dew" as const, estimated: false, drySince };
  return {
    ...fresh,
    battery,
    charging,
    frost: { ...fresh.frost, wetness: { ...fresh.frost.wetness, wet }, found: found && foundFrom(found), freezeThaw },
  };
}

const foundFrom = (found: NonNullable<ColdV1["frost"]["found"]>): FoundFrost =>
  found.kind === "grows" ? { ...found, estimated: false } : { ...found, estimated: false, wetBy: "dew" };
