import type { PostedEvent, PostedReport } from "../../server/contract/readReport.ts";
import type { FeederState } from "../../server/domain/feeder.ts";
import type { Rollups } from "../../server/domain/history/rollups.ts";
import { after, days, hours, type Instant, inDays, instantOf, isoOf, type Span } from "../../server/domain/instant.ts";
import { pendingOrders } from "../../server/domain/orders/orderTransitions.ts";
import { celsius, milliamps, volts } from "../../server/domain/units.ts";
import type { LogLine } from "../../server/replay/logLine.ts";
import { Replay } from "../../server/replay/replay.ts";
import { type Disturbance, everySensor, type Plot, randomPlot } from "./plot.ts";
import { feederName, type KeeperPhone, simulatePlot } from "./simulatePlot.ts";

/** What goes wrong on every third day, in turn. */
const mishaps: readonly Disturbance[] = [
  "trayJammed",
  "thermometerStuck",
  "lineDown",
  "buttonDead",
  "scaleStuck",
  "powerCut",
  "detectorDead",
  "feedBridged",
  "chuteBlind",
  "perchDead",
  "scaleDead",
];

export interface BusyMoment {
  readonly at: Instant;
  readonly state: FeederState;
  readonly rollups: Rollups;
}

/**
 * The states of a busy feeder with every sensor: two hundred portions a day, losses on the line, restarts, a part that breaks every
 * third day, and a pause on most nights. The server's own steps lead from each to the next.
 */
export function* busyFeederStates(seed: number, spanDays: number, reportEverySeconds: number): Generator<BusyMoment> {
  const plot = busyPlot(seed, spanDays, reportEverySeconds);
  const phone: KeeperPhone = { asksForFood: false };
  const replay = new Replay({ settings: {}, hourly: false, output: () => undefined });
  const take = (line: LogLine) => {
    const problems = replay.take(line);
    if (problems.length > 0) throw new Error(JSON.stringify(problems));
  };
  const pauses = new NightPauses(plot.from);
  for (const { line } of simulatePlot(plot, phone)) {
    const day = Math.floor(inDays((line.at - plot.from) as Span));
    phone.mishap = day % 3 === 2 ? (mishaps[Math.floor(day / 3) % mishaps.length] ?? null) : null;
    if (line.kind === "settings") take({ ...line, settings: { ...line.settings, battery: "leadAcid" } });
    else if (line.kind === "report") {
      take({
        ...line,
        report: pauses.answered(withBattery(line.report, line.at), replay.stateOf(feederName), line.at),
      });
      const request = pauses.request(line.at);
      if (request !== null) take(request);
    } else take(line);
    const stepped = replay.steppedState(feederName);
    if (stepped !== null) yield { at: line.at, ...stepped };
  }
}

function busyPlot(seed: number, spanDays: number, reportEverySeconds: number): Plot {
  const drawn = randomPlot(seed);
  return {
    ...drawn,
    days: spanDays,
    from: instantOf("2025-10-01T00:00:00Z"),
    reportEverySeconds,
    sensors: everySensor,
    birds: { ...drawn.birds, portionsPerDay: 200, pressShare: 0.5, depositShare: 0.4, trendPerDay: 0 },
    food: { ...drawn.food, capacityGrams: 3_000, startGrams: 2_500, portionGrams: 2, reportedPortionGrams: 2 },
    line: { lost: 0.02, burstsPerDay: 1, burstMinutes: 4, outagesPerMonth: 2, rebootsPerMonth: 3 },
  };
}

/** The plot has no battery: one that follows the box's temperature and is charged at noon. */
function withBattery(report: PostedReport, at: Instant): PostedReport {
  const sun = Math.max(0, Math.sin((2 * Math.PI * ((at % days(1)) - hours(6))) / days(1)));
  const { inside } = report.readings;
  const battery = volts(Math.round(100 * (12.5 + 0.4 * sun)) / 100);
  const charge = milliamps(Math.round(900 * sun));
  const batteryTemperature = inside === null ? null : celsius(inside);
  return { ...report, readings: { ...report.readings, battery, charge, batteryTemperature } };
}

/** The keeper pauses the feeder for an hour soon after midnight, and the feeder's next report says that it did. */
class NightPauses {
  #count = 0;
  #nextAt: Instant;
  #until: Instant | null = null;
  #boot = "";
  #answers = 0; // in this boot: the numbers of the plot's own events move up by as many

  constructor(from: Instant) {
    this.#nextAt = after(from, hours(25));
  }

  request(at: Instant): LogLine | null {
    if (at < this.#nextAt) return null;
    this.#count += 1;
    this.#nextAt = after(this.#nextAt, days(1));
    const pause = {
      id: `2f1c9c1e-6f0b-4d5a-9d0e-${String(this.#count).padStart(12, "0")}`,
      until: isoOf(after(at, hours(1))),
    };
    return { kind: "keeper", feeder: feederName, at, act: { by: "Ada", pause } };
  }

  answered(report: PostedReport, state: FeederState | null, at: Instant): PostedReport {
    if (report.boot !== this.#boot) [this.#boot, this.#answers] = [report.boot, 0];
    const events = report.events.map((event) => shifted(event, this.#answers));
    const [order] = state === null ? [] : pendingOrders(state.orders, at);
    if (order?.status === "sent" && report.sentUptime !== null) {
      this.#answers += 1;
      this.#until = order.until;
      const seq = 1 + (events.at(-1)?.seq ?? lastSeqOf(state, report.boot));
      const content = { kind: "order", order: order.id, outcome: "done", problem: null } as const;
      events.push({ seq, uptime: report.sentUptime, kind: "order", content, body: {}, index: events.length });
    }
    const paused = this.#until !== null && at < this.#until;
    return { ...report, events, readings: { ...report.readings, paused } };
  }
}

const lastSeqOf = (state: FeederState | null, boot: string): number =>
  state?.eventSequence.boots.find((known) => known.boot === boot)?.highestSeq ?? 0;

function shifted(event: PostedEvent, by: number): PostedEvent {
  const { content } = event;
  const paid = content.kind === "portion" && content.paysFor !== null ? { paysFor: content.paysFor + by } : {};
  return { ...event, seq: event.seq + by, content: { ...content, ...paid } as PostedEvent["content"] };
}
