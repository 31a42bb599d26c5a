import type { Story, WorldMoment, WorldSensors } from "../world.ts";
import { yardWorld } from "./yardWorld.ts";

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

export const dayLong = 86_400_000;

/** The phone asks below half of what was there at first. */
export function tell(change: Partial<Story>): readonly WorldMoment[] {
  const story: Story = {
    seed: 1,
    days: 4,
    reportEverySeconds: 300,
    sensors: allSensors,
    fault: null,
    refills: "whenAsked",
    ...change,
  };
  const phone = { asksForFood: false };
  const moments: WorldMoment[] = [];
  for (const moment of yardWorld.tell(story, phone)) {
    moments.push(moment);
    phone.asksForFood = moment.truth.grams < (moments[0]?.truth.grams ?? 0) / 2;
  }
  return moments;
}

export const reportsOf = (moments: readonly WorldMoment[]) =>
  moments.flatMap(({ line }) => (line.kind === "report" ? [{ at: line.at, report: line.report }] : []));

type Values = Readonly<Record<string, unknown>>;

export const readingsOf = (moments: readonly WorldMoment[]): readonly Values[] =>
  reportsOf(moments).map(({ report }) => report.postedReadings as Values);

export interface ToldEvent {
  readonly at: number;
  readonly body: Values;
}

export const eventsOf = (moments: readonly WorldMoment[], kind: string): readonly ToldEvent[] =>
  reportsOf(moments).flatMap(({ at, report: { events, sentUptime } }) =>
    events
      .filter((event) => event.kind === kind)
      .map(({ uptime, body }) => ({ at: at - ((sentUptime ?? 0) - uptime), body: body as Values })),
  );

export const sumOf = (events: readonly ToldEvent[], name: string): number =>
  events.reduce((sum, { body }) => sum + Number(body[name] ?? 0), 0);
