import type { PostedReport } from "../../../server/contract/readReport.ts";
import type { Story, WorldMoment, WorldSensors } from "../world.ts";
import { augerWorld } from "./augerWorld.ts";

export const allSensors: WorldSensors = {
  button: true,
  detector: true,
  chute: true,
  perch: true,
  scale: true,
  motorCurrent: true,
  portionEvents: true,
};
export const seeds = [2, 3, 4];

export const storyOf = (change: Partial<Story>): Story => ({
  seed: 1,
  days: 4,
  reportEverySeconds: 300,
  sensors: allSensors,
  fault: null,
  refills: "whenAsked",
  ...change,
});

/** All moments of a story whose phone asks for food below half of what was there at first. */
export function tell(change: Partial<Story>): readonly WorldMoment[] {
  const phone = { asksForFood: false };
  const moments: WorldMoment[] = [];
  for (const moment of augerWorld.tell(storyOf(change), phone)) {
    moments.push(moment);
    phone.asksForFood = moment.truth.gramsOnScale < (moments[0] as WorldMoment).truth.gramsOnScale / 2;
  }
  return moments;
}

export interface SeenEvent {
  readonly at: number; // by the report that brought it
  readonly kind: string;
  readonly body: Readonly<Record<string, unknown>>;
  readonly identity: string;
}

export const reportOf = ({ line }: WorldMoment): PostedReport | null => (line.kind === "report" ? line.report : null);
export const readingsOf = (moments: readonly WorldMoment[]) =>
  moments.flatMap((moment) => {
    const report = reportOf(moment);
    const readings = (report?.postedReadings ?? {}) as Readonly<Record<string, unknown>>;
    return report === null || report.sentUptime === null ? [] : [{ at: moment.line.at as number, readings }];
  });

/** Each event once, by its time; those of earlier boots, whose time a report doesn't say, are left out. */
export function eventsOf(moments: readonly WorldMoment[]): readonly SeenEvent[] {
  const seen = new Map<string, SeenEvent>();
  for (const moment of moments) {
    const report = reportOf(moment);
    if (report === null || report.sentUptime === null) continue;
    for (const { seq, uptime, kind, body } of report.events) {
      const identity = `${report.boot} ${seq}`;
      const at = moment.line.at - (report.sentUptime - uptime);
      if (!seen.has(identity)) seen.set(identity, { at, kind, body: body as SeenEvent["body"], identity });
    }
  }
  return [...seen.values()].sort((a, b) => a.at - b.at);
}

export const numbers = (events: readonly SeenEvent[], name: string): readonly number[] =>
  events.map(({ body }) => body[name]).filter((value) => typeof value === "number");
export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
