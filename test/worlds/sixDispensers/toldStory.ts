import { isoOf } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, WorldFault, WorldMoment, WorldSensors } from "../world.ts";
import { day } from "./agenda.ts";
import { buildFeeder } from "./feeder.ts";
import type { Parts } from "./parts.ts";
import { sixDispensersWorld } from "./sixDispensersWorld.ts";

/** For the tests of this world. */
export const allSensors: WorldSensors = {
  button: true,
  detector: true,
  chute: true,
  perch: true,
  scale: true,
  motorCurrent: true,
  portionEvents: true,
};

const quiet: Story = {
  seed: 1,
  days: 6,
  reportEverySeconds: 300,
  sensors: allSensors,
  fault: null,
  refills: "whenAsked",
};

/** The phone asks as soon as less than thirty portions are left. */
export function* tell(changes: Partial<Story>): Generator<WorldMoment> {
  const phone: KeeperPhone = { asksForFood: false };
  for (const moment of sixDispensersWorld.tell({ ...quiet, ...changes }, phone)) {
    yield moment;
    phone.asksForFood = moment.truth.grams < 30 * moment.truth.portionGrams;
  }
}

export const seedsTo = (count: number): readonly number[] => Array.from({ length: count }, (_, index) => index + 1);

/** A fault on the fourth day, with two days before it that the test doesn't look at. */
export const faulty = (kind: WorldFault, seed: number, changes: Partial<Story> = {}) => [
  ...tell({ seed, fault: { kind, at: 4 * day }, days: 12, ...changes }),
];

/** Plays a story without its lines, and hands out the parts. */
export function playParts(changes: Partial<Story>, phone: KeeperPhone = { asksForFood: false }): Parts {
  const story = { ...quiet, ...changes };
  const unheard = () => undefined;
  const { parts, begin } = buildFeeder(story, phone, { arrived: unheard, tell: unheard, set: unheard });
  begin();
  while (parts.agenda.nextAt < parts.begin + story.days * day) {
    parts.agenda.runNext();
    phone.asksForFood = parts.hopper.givable < 30 * parts.mechanism.portion;
  }
  return parts;
}

/** A line as it stands in a log's file. */
export function textOf(line: LogLine): string {
  const { feeder } = line;
  const at = isoOf(line.at);
  if (line.kind === "settings") return JSON.stringify({ at, feeder, settings: line.settings });
  if (line.kind === "keeper") return JSON.stringify({ at, feeder, keeper: line.act });
  if (line.kind !== "report") throw new Error(`expected no line of the kind ${line.kind}`);
  const { boot, sentUptime, postedReadings, events } = line.report;
  const bodies = events.map(({ body }) => body);
  return JSON.stringify({
    receivedAt: at,
    feeder,
    report: { boot, sentUptimeMs: sentUptime, readings: postedReadings, events: bodies },
  });
}

export const reportOf = ({ line }: WorldMoment) => (line.kind === "report" ? line.report : null);

export const readingsOf = (moments: Iterable<WorldMoment>) =>
  [...moments].flatMap((moment) => reportOf(moment)?.readings ?? []);

/** Each event once, also where it was sent again. */
export function eventsOf(moments: Iterable<WorldMoment>) {
  const seen = new Map<string, { readonly body: Record<string, unknown>; readonly arrived: WorldMoment }>();
  for (const moment of moments) {
    const report = reportOf(moment);
    for (const { seq, body } of report?.events ?? []) {
      const name = `${report?.boot}/${seq}`;
      if (!seen.has(name)) seen.set(name, { body: body as Record<string, unknown>, arrived: moment });
    }
  }
  return [...seen.values()];
}

export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
