import { advanceFeeder, type FeederStep, nextCheckAt } from "../../server/domain/advanceFeeder.ts";
import type { Effect } from "../../server/domain/effects.ts";
import type { Fact } from "../../server/domain/facts.ts";
import type { FaultKind } from "../../server/domain/faults.ts";
import { type FeederState, newFeeder } from "../../server/domain/feeder.ts";
import { sendingTime } from "../../server/domain/feederClock.ts";
import { type PlanState, plannedDay } from "../../server/domain/feedingPlan/planState.ts";
import { after, type Instant, minutes, type Span, seconds } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import type { Order } from "../../server/domain/orders/order.ts";
import { pendingOrders } from "../../server/domain/orders/orderTransitions.ts";
import type { EventContent, FeederEvent, Portion, Readings } from "../../server/domain/report.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { celsius, grams, humidityPercent, milliamps, volts } from "../../server/domain/units.ts";
import type { PartFault } from "../../server/practice/model/faults.ts";
import { turnTray } from "../../server/practice/model/tray.ts";
import { practiceDispenser } from "../../server/practice/parts.ts";
import { seededRandom } from "../../server/practice/random.ts";

/**
 * A small feeder with birds, minute by minute, to play stories through the whole step. Birds come by daylight (07 to 15 UTC)
 * and land, press, deposit; a working feeder pays each press and deposit, and reports every `reportEvery` (whole minutes). What is broken is planted in `truth`.
 */
export interface YardTruth {
  hopper: number; // grams really in it
  perHour: number; // landings in daylight
  motor: "turns" | "stalled" | "wireOff";
  tray: "free" | "jammed" | "bridged"; // bridged: what lies on it still falls, in shrinking portions
  frozen: number | null; // grams that the scale shows whatever is in it
  dead: Set<
    "button" | "detector" | "perch" | "chute" | "scale" | "link" | "payer" | "receiver" | "planTaker" | "timer"
  >;
  chuteMisses: number; // share of portions that slip past a healthy chute sensor
  air: number;
  inside: number | null; // null: as the air, and a little more
  lid: number | null;
  humidity: number;
  batteryCelsius: number | null;
  batteryVolts: number;
  charge: number;
  sag: number; // V that the supply falls while the motor runs
  weakens: number; // of the detector's signal (0..1), per °C below 10
  takesFrom: number; // the signal below which it misses a cap
  bounces: boolean; // the perch's contact, two times in three seconds
  airStuckAt: number | null; // °C that the air's thermometer reports whatever the air
  setAside: string[]; // readings that come as numbers that can't be
  trouble: string | null; // text for the next report
  forgetsPause: boolean;
  paused: boolean;
  saysPaused: boolean | null; // what it states of itself; null: the truth
}

export interface YardNotification {
  readonly at: Instant;
  readonly content: Pick<NotificationContent, "title" | "body" | "silent"> & { readonly fault: FaultKind };
}

export function simulateYard(settings: FeederSettings, start: Instant, seed: number, patrol: "each" | "due" = "due") {
  const random = seededRandom(seed);
  const chance = random.uniform;
  const truth: YardTruth = {
    hopper: 1_200,
    perHour: 8,
    motor: "turns",
    tray: "free",
    frozen: null,
    dead: new Set(),
    chuteMisses: 0.02,
    air: 5,
    inside: null,
    lid: null,
    humidity: 70,
    batteryCelsius: null,
    batteryVolts: 12.7,
    charge: 0,
    sag: 0.1,
    weakens: 0,
    takesFrom: 0,
    bounces: false,
    airStuckAt: null,
    setAside: [],
    trouble: null,
    forgetsPause: false,
    paused: false,
    saysPaused: null,
  };
  let now = start;
  let bootAt = start;
  let boot = 1;
  let life = 1; // of starts under one boot id
  let seq = 0;
  let caps = 0;
  let state = newFeeder(settings, start);
  let followed: PlanState | null = null;
  let counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  let spool: {
    readonly boot: number;
    readonly uptime: Span;
    readonly seq: number;
    readonly happening: EventContent;
  }[] = [];
  const effects: { readonly at: Instant; readonly effect: Effect }[] = [];
  const watchers: ((step: FeederStep, fact: Fact) => void)[] = [];
  let looks = 0;

  const give = (fact: Fact): void => {
    const step = advanceFeeder(state, fact, now);
    state = step.state;
    for (const effect of step.effects) effects.push({ at: now, effect });
    for (const watch of watchers) watch(step, fact);
  };
  const record = (happening: EventContent, second: number): number => {
    seq += 1;
    spool.push({ boot, uptime: (after(now, seconds(second)) - bootAt) as Span, seq, happening });
    return seq;
  };

  let onTray = practiceDispenser.tray.trayPortions * settings.portionMass; // of the grams that are in it
  const portion = (cause: Portion["cause"], paysFor: number | null): Portion => {
    const trayGrams = Math.min(truth.hopper, onTray);
    const fault = faultOfParts(truth);
    // A motor that doesn't turn has hardly any inrush, as the practice feeders' (server/practice/model/motor.ts).
    const inrush = fault === "motorStalled" || fault === "wireOff" ? 1.05 : 2.2;
    const { store, portion: given } = turnTray(
      { hopperGrams: truth.hopper - trayGrams, trayGrams },
      { ...practiceDispenser, chute: { pieceSeen: 0.9, portionMissed: truth.chuteMisses } },
      {
        fault,
        portionGrams: settings.portionMass,
        insideCelsius: truth.inside ?? truth.air + 1,
      },
      random,
    );
    truth.hopper = store.hopperGrams + store.trayGrams;
    onTray = store.trayGrams;
    const seen = truth.dead.has("chute") ? 0 : given.seen;
    counts.chute += seen;
    return {
      kind: "portion",
      cause,
      paysFor,
      motorRan: 900 as Span,
      meanCurrent: milliamps(given.milliamps),
      peakCurrent: milliamps(given.milliamps * inrush),
      chuteCount: settings.sensors.chute ? seen : null,
      lowestSupply: volts(5.05 - truth.sag * (0.9 + 0.05 * (seq % 5))),
    };
  };
  const pay = (cause: "press" | "deposit", paysFor: number | null, second: number) => {
    if (!truth.paused && !truth.dead.has("payer")) record(portion(cause, paysFor), second);
  };
  /** Uneven without the random, so that no story's luck hangs on it. */
  const signalOfCap = (): number => {
    caps += 1;
    const uneven = Math.sin(caps) + Math.sin(1.7 * caps) + Math.sin(2.3 * caps);
    const celsiusThere = truth.inside ?? truth.air + 1;
    return Math.min(1, Math.max(0, 0.8 + 0.05 * uneven + truth.weakens * (celsiusThere - 10)));
  };
  const bird = (second: number) => {
    if (!truth.dead.has("perch")) {
      counts.perch += 1;
      record({ kind: "visit" }, second);
    }
    if (chance() < 0.4 && !truth.dead.has("button")) {
      counts.button += 1;
      pay("press", record({ kind: "press" }, second + 2), second + 3);
    }
    const drops = chance() < 0.3;
    const signal = signalOfCap();
    if (drops && !truth.dead.has("detector") && signal >= truth.takesFrom) {
      counts.detector += 1;
      pay("deposit", record({ kind: "deposit", metal: true, signal, chute: true }, second + 5), second + 6);
    }
  };
  const readings = (): Readings => {
    const inside = truth.inside ?? truth.air + 1;
    return {
      hopper:
        !settings.sensors.scale || truth.dead.has("scale")
          ? null
          : grams(Math.round(10 * (truth.frozen ?? truth.hopper + chance() + chance() - 1)) / 10),
      air: celsius(truth.airStuckAt ?? truth.air + 0.1 * chance()),
      inside: celsius(inside),
      lid: celsius(truth.lid ?? truth.air),
      humidity: humidityPercent(truth.humidity),
      supply: volts(5.05),
      battery: volts(truth.batteryVolts),
      batteryTemperature: celsius(truth.batteryCelsius ?? inside),
      charge: milliamps(truth.charge),
      signalDbm: -60 - Math.round(5 * chance()),
      spooled: 0,
      counts: { ...counts },
      paused: truth.saysPaused ?? truth.paused,
      planVersion: followed?.version ?? null,
    };
  };

  const report = (): void => {
    const sent = spool;
    spool = [];
    // What an earlier boot left behind goes first.
    for (const left of new Set(sent.map((one) => one.boot).filter((from) => from !== boot))) send(left, sent);
    send(boot, sent);
  };
  const send = (from: number, all: typeof spool): void => {
    const current = from === boot;
    const sentUptime = current ? ((now - bootAt) as Span) : null;
    const name = current && life > 1 ? `boot-${from}#${life}` : `boot-${from}`;
    const time = sendingTime(state.clock, name, sentUptime, now);
    state = { ...state, clock: time.clock };
    const events = all
      .filter((one) => one.boot === from)
      .map((one): FeederEvent => ({ ...one.happening, seq: one.seq, recordedAt: time.instantOf(one.uptime) }));
    give({
      kind: "reported",
      report: { boot: name, sentUptime, readings: readings(), rejectedReadings: truth.setAside, events },
    });
  };
  const hearOrders = (): void => {
    const pending = pendingOrders(state.orders, now);
    if (pending.length === 0) return;
    give({ kind: "ordersSent" });
    if (truth.dead.has("receiver")) return;
    for (const order of pending) {
      truth.paused = order.kind === "pause";
      record({ kind: "order", order: order.id, outcome: "done", problem: null }, 1);
    }
  };

  let lookAt = start;
  const minute = (): void => {
    const hour = new Date(now).getUTCHours();
    const daylight = hour >= 7 && hour < 15;
    if (daylight && chance() < truth.perHour / 60) bird(Math.floor(40 * chance()));
    for (let second = 0; truth.bounces && second < 60; second += 1.5) {
      counts.perch += 1;
      record({ kind: "visit" }, second);
    }
    if (followed !== null && !truth.paused && !truth.dead.has("timer")) {
      const { free, portionsEach } = plannedDay(followed, state.settings, now) ?? { free: [], portionsEach: 0 };
      const times = free.filter((time) => time >= now && time < after(now, minutes(1)));
      for (let count = times.length * portionsEach; count > 0; count -= 1) record(portion("timer", null), 50);
    }
    if (truth.trouble !== null) {
      record({ kind: "trouble", text: truth.trouble }, 0);
      truth.trouble = null;
    }
    now = after(now, minutes(1));
    if (!truth.dead.has("link") && (now - start) % settings.reportEvery === 0) {
      report();
      if (!truth.dead.has("planTaker")) followed = state.plan ?? null;
      hearOrders();
      lookAt = nextCheckAt(state, now);
    }
    if (patrol === "each" || now >= lookAt) {
      looks += 1;
      give({ kind: "minutePassed" });
      lookAt = nextCheckAt(state, now);
    }
  };

  return {
    truth,
    give: (fact: Fact) => {
      give(fact);
      lookAt = nextCheckAt(state, now);
    },
    /** Lets so many minutes pass; `each` may change the truth as they do. */
    pass: (count: number, each?: (now: Instant) => void) => {
      for (let n = 0; n < count; n++) {
        each?.(now);
        minute();
      }
    },
    /** Lets minutes pass until something has come about, `most` at most. */
    passUntil: (about: () => boolean, most: number) => {
      for (let n = 0; n < most && !about(); n++) minute();
    },
    restartUnderSameBoot: () => {
      life += 1;
      bootAt = now;
    },
    restart: () => {
      boot += 1;
      life = 1;
      bootAt = now;
      seq = 0;
      counts = { button: 0, detector: 0, chute: 0, perch: 0 };
      if (truth.forgetsPause) truth.paused = false;
    },
    /** The feeder's program forgets its running totals, without starting anew. */
    loseCounts: () => {
      counts = { button: 0, detector: 0, chute: 0, perch: 0 };
    },
    refill: (mass: number) => {
      truth.hopper = Math.min(settings.hopperCapacity, truth.hopper + mass);
    },
    order: (id: string, kind: Order["kind"], until: Instant | null = null): void => {
      const order: Order = {
        id,
        kind,
        until,
        requestedAt: now,
        requestedBy: "Ada",
        status: "requested",
        sentAt: null,
        answeredAt: null,
        problem: null,
      };
      give({ kind: "orderRequested", order });
      lookAt = nextCheckAt(state, now);
    },
    watch: (watcher: (step: FeederStep, fact: Fact) => void) => watchers.push(watcher),
    now: () => now,
    looks: () => looks,
    state: (): FeederState => state,
    effects: () => effects,
    notifications: (): YardNotification[] =>
      effects.flatMap(({ at, effect }) => {
        const content = contentIn(effect);
        return content === null ? [] : [{ at, content }];
      }),
    /** Faults that the keeper was notified of with a sound, in order. */
    notifiedFaults: (): FaultKind[] =>
      effects.flatMap(({ effect }) => {
        const content = contentIn(effect);
        return content === null || content.silent ? [] : [content.fault];
      }),
  };
}

function faultOfParts({ motor, tray }: YardTruth): PartFault | null {
  if (motor === "stalled") return "motorStalled";
  if (motor === "wireOff") return "wireOff";
  if (tray === "free") return null;
  return tray === "jammed" ? "trayJammed" : "feedBridged";
}

/** As one keeper with one phone is notified at once: raised and worsened with a sound, the rest silently. */
function contentIn(effect: Effect): YardNotification["content"] | null {
  if (effect.kind !== "alarmEvent" || !("title" in effect.event)) return null;
  const { event } = effect;
  const { fault, title, body } = event;
  return { fault, title, body, silent: event.kind === "returned" || (event.kind === "raised" && event.sameEpisode) };
}
