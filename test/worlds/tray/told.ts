import { isoOf } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, WorldMoment, WorldSensors } from "../world.ts";
import { trayWorld } from "./trayWorld.ts";

/** What this world's tests have in common: stories told whole, and what is read out of their lines. */

export const allSensors: WorldSensors = {
  button: true,
  detector: true,
  chute: true,
  perch: true,
  scale: true,
  motorCurrent: true,
  portionEvents: true,
};

export const storyOf = (changes: Partial<Story>): Story => ({
  seed: 1,
  days: 4,
  reportEverySeconds: 300,
  sensors: allSensors,
  fault: null,
  refills: "whenAsked",
  ...changes,
});

/** The phone asks once less than a third of all that there ever was is left, as one that knows the truth would. */
export function tell(changes: Partial<Story>): WorldMoment[] {
  const phone: KeeperPhone = { asksForFood: false };
  const moments: WorldMoment[] = [];
  let most = 0;
  for (const moment of trayWorld.tell(storyOf(changes), phone)) {
    moments.push(moment);
    most = Math.max(most, moment.truth.grams);
    phone.asksForFood = moment.truth.grams < most / 3;
  }
  return moments;
}

export const lastOf = <Item>(items: readonly Item[]): Item => {
  const item = items.at(-1);
  if (item === undefined) throw new Error("expected at least one, got none");
  return item;
};

type ReportLine = Extract<LogLine, { kind: "report" }>;
const isReport = (line: LogLine): line is ReportLine => line.kind === "report";
export const reportsOf = (moments: readonly WorldMoment[]): ReportLine[] =>
  moments.map(({ line }) => line).filter(isReport);

export interface ToldEvent {
  readonly at: number; // when it happened, as the feeder's uptime tells
  readonly receivedAt: number;
  readonly boot: string;
  readonly seq: number;
  readonly kind: string;
  readonly body: Readonly<Record<string, unknown>>;
}

/** Each event once, from reports that say when it was. */
export function eventsOf(moments: readonly WorldMoment[], kind?: string): ToldEvent[] {
  const seen = new Set<string>();
  return reportsOf(moments).flatMap(({ at, report }) =>
    report.events.flatMap(({ seq, uptime, kind: each, body }) => {
      const name = `${report.boot} ${seq}`;
      if (report.sentUptime === null || seen.has(name) || (kind !== undefined && each !== kind)) return [];
      seen.add(name);
      const happened = at - (report.sentUptime - uptime);
      return [{ at: happened, receivedAt: at, boot: report.boot, seq, kind: each, body: { ...body } }];
    }),
  );
}

export const readingsOf = (moments: readonly WorldMoment[]) =>
  reportsOf(moments)
    .filter(({ report }) => report.sentUptime !== null)
    .map(({ at, report }) => ({ at, posted: report.postedReadings as Readonly<Record<string, unknown>> }));

export const numbersOf = (items: readonly Readonly<Record<string, unknown>>[], name: string): number[] =>
  items.map((item) => item[name]).filter((value) => typeof value === "number");

export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / Math.max(1, values.length);

/** As it stands in a log. */
export function textOf(line: LogLine): string {
  const { feeder } = line;
  const at = isoOf(line.at);
  switch (line.kind) {
    case "report": {
      const { boot, sentUptime, postedReadings, events } = line.report;
      const bodies = events.map(({ body }) => body);
      const report = { boot, sentUptimeMs: sentUptime, readings: postedReadings, events: bodies };
      return JSON.stringify({ receivedAt: at, feeder, report });
    }
    case "settings":
      return JSON.stringify({ at, feeder, settings: line.settings });
    case "keeper":
      return JSON.stringify({ at, feeder, keeper: line.act });
    default:
      throw new Error(`expected a line that this world tells, got ${line.kind}`);
  }
}
