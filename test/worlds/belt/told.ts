import { isoOf } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, WorldFault, WorldMoment, WorldSensors } from "../world.ts";
import { day } from "./agenda.ts";
import { beltWorld } from "./beltWorld.ts";
import { buildFeeder, type Feeder } from "./feeder.ts";

/** What this world's tests share: stories told whole, and what is read out of their lines. */

export const allSensors: WorldSensors = {
  ...{ button: true, detector: true, chute: true, perch: true },
  ...{ scale: true, motorCurrent: true, portionEvents: true },
};

const quiet: Story = {
  ...{ seed: 1, days: 5, reportEverySeconds: 300, fault: null, refills: "whenAsked" },
  sensors: allSensors,
};

/** The phone asks once less than a third of all that ever lay there is left. */
export function tell(changes: Partial<Story>): WorldMoment[] {
  const phone: KeeperPhone = { asksForFood: false };
  const moments: WorldMoment[] = [];
  let most = 0;
  for (const moment of beltWorld.tell({ ...quiet, ...changes }, phone)) {
    moments.push(moment);
    most = Math.max(most, moment.truth.grams);
    phone.asksForFood = moment.truth.grams < most / 3;
  }
  return moments;
}

/** Plays a story without its lines. */
export function play(changes: Partial<Story>, each: (feeder: Feeder) => void = () => undefined): Feeder {
  const story = { ...quiet, ...changes };
  const phone: KeeperPhone = { asksForFood: false };
  const unheard = () => undefined;
  const feeder = buildFeeder(story, phone, { arrived: unheard, entered: unheard });
  const { agenda, begin, silo } = feeder.parts;
  while (agenda.nextAt < begin + story.days * day) {
    agenda.next();
    phone.asksForFood = silo.content < silo.capacity / 3;
    each(feeder);
  }
  return feeder;
}

export const faultAt = 3 * day;

/** A fault after three days: what came before it, and what an hour after it and later. */
export function plant(kind: WorldFault, seed: number, days = 6) {
  const moments = tell({ seed, days, fault: { kind, at: faultAt } });
  const since = (moments[0]?.line.at ?? 0) + faultAt;
  const events = eventsOf(moments);
  const bodies = (isAfter: boolean, name: string) =>
    events
      .filter(({ at, body }) => body.kind === name && (isAfter ? at > since + day / 24 : at < since))
      .map(({ body }) => body);
  return {
    ...{ moments, since },
    before: moments.filter(({ line }) => line.at < since),
    after: moments.filter(({ line }) => line.at > since + day / 24),
    bodiesBefore: (name: string) => bodies(false, name),
    bodiesAfter: (name: string) => bodies(true, name),
  };
}

export type Body = Readonly<Record<string, unknown>>;
export const reportOf = ({ line }: WorldMoment) => (line.kind === "report" ? line.report : null);
export const readingsOf = (moments: readonly WorldMoment[]): readonly Body[] =>
  moments.flatMap((moment) => {
    const report = reportOf(moment);
    return report === null || report.sentUptime === null ? [] : [report.postedReadings as Body];
  });

/** Each event once, at its time as the uptimes tell it; what an earlier start left has no time and is left out. */
export function eventsOf(moments: readonly WorldMoment[]): readonly { readonly at: number; readonly body: Body }[] {
  const seen = new Map<string, { readonly at: number; readonly body: Body }>();
  for (const moment of moments) {
    const report = reportOf(moment);
    if (report === null || report.sentUptime === null) continue;
    for (const { seq, uptime, body } of report.events) {
      const name = `${report.boot} ${seq}`;
      if (!seen.has(name)) seen.set(name, { at: moment.line.at - (report.sentUptime - uptime), body: body as Body });
    }
  }
  return [...seen.values()];
}

/** A line as it stands in a log's file. */
export function textOf(line: LogLine): string {
  const { feeder } = line;
  const at = isoOf(line.at);
  if (line.kind === "settings") return JSON.stringify({ at, feeder, settings: line.settings });
  if (line.kind === "keeper") return JSON.stringify({ at, feeder, keeper: line.act });
  if (line.kind !== "report") throw new Error(`expected no line of the kind ${line.kind}`);
  const { boot, sentUptime, postedReadings, events } = line.report;
  const report = { boot, sentUptimeMs: sentUptime, readings: postedReadings, events: events.map(({ body }) => body) };
  return JSON.stringify({ receivedAt: at, feeder, report });
}

export const numbers = (bodies: readonly Body[], name: string): readonly number[] =>
  bodies.map((body) => body[name]).filter((value) => typeof value === "number");
export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
export const seedsTo = (count: number): readonly number[] => Array.from({ length: count }, (_, index) => index + 1);
