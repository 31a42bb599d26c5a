import type { PostedEvent, PostedReport } from "../../../server/contract/readReport.ts";
import type { Story, WorldFault, WorldMoment, WorldSensors } from "../world.ts";
import { sealedWorld } from "./sealedWorld.ts";
import { dayMs } from "./sky.ts";

/** Told stories for the tests of this world. */

export const allFitted: WorldSensors = {
  button: true,
  detector: true,
  chute: true,
  perch: true,
  scale: true,
  motorCurrent: true,
  portionEvents: true,
};

export const storyOf = (change: Partial<Story>): Story => ({
  seed: 1,
  days: 4,
  reportEverySeconds: 300,
  sensors: allFitted,
  fault: null,
  refills: "whenAsked",
  ...change,
});

/** Begins after `day` days. */
export const faultOn = (kind: WorldFault, day: number): Story["fault"] => ({ kind, at: day * dayMs });

/** All moments. The phone asks while the food is below a quarter of what was there once. */
export function momentsOf(story: Story): readonly WorldMoment[] {
  const phone = { asksForFood: false };
  const moments: WorldMoment[] = [];
  let most = 0;
  for (const moment of sealedWorld.tell(story, phone)) {
    moments.push(moment);
    most = Math.max(most, moment.truth.grams);
    phone.asksForFood = moment.truth.grams < 0.25 * most;
  }
  return moments;
}

export interface ToldReport {
  readonly at: number;
  readonly report: PostedReport;
  readonly truth: WorldMoment["truth"];
}

export const reportsOf = (moments: readonly WorldMoment[]): readonly ToldReport[] =>
  moments.flatMap(({ line, truth }) =>
    line.kind === "report" ? [{ at: line.at as number, report: line.report, truth }] : [],
  );

export interface ToldEvent extends PostedEvent {
  readonly boot: string;
  readonly happenedAt: number; // milliseconds since 1970; by the arrival where its boot is over
}

/** Each event once, in the order of arrival. */
export function eventsOf(moments: readonly WorldMoment[]): readonly ToldEvent[] {
  const seen = new Map<string, ToldEvent>();
  for (const { at, report } of reportsOf(moments)) {
    for (const event of report.events) {
      const key = `${report.boot}/${event.seq}`;
      const happenedAt = report.sentUptime === null ? at : at - (report.sentUptime - event.uptime);
      if (!seen.has(key)) seen.set(key, { ...event, boot: report.boot, happenedAt });
    }
  }
  return [...seen.values()];
}

/** Problems that the contract has with any of them. */
export const problemsOf = (reports: readonly ToldReport[]): readonly unknown[] =>
  reports.flatMap(({ report }) => [...report.refused, ...report.unknownNames, ...report.rejectedReadings]);

export const portionsOf = (events: readonly ToldEvent[]) =>
  events.flatMap(({ content, happenedAt }) => (content.kind === "portion" ? [{ ...content, happenedAt }] : []));

export const readingsOf = (reports: readonly ToldReport[]): readonly Readonly<Record<string, unknown>>[] =>
  reports.map(({ report }) => (report.postedReadings ?? {}) as Record<string, unknown>);

export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
