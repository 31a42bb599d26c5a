import { after, type Instant, minutes, type Span, seconds } from "../../../server/domain/instant.ts";
import type { EventContent } from "../../../server/domain/report.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import {
  initialSensors,
  type SensorsState,
  sensorFaults,
  updateSensorsByEvent,
} from "../../../server/domain/silence/sensorFaults.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { type BirdHabits, simulateBirds } from "./birds.ts";
import { larchSettings } from "./larch.ts";

const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };

/** An ordinary yard: a flock now and then, a good half of them learners, and one day in ten too stormy for any bird. */
export const ordinaryHabits: BirdHabits = {
  boutEvery: minutes(30),
  visitsInBout: 4,
  visitEvery: seconds(60),
  learners: 0.6,
  presses: 0.7,
  deposits: 0.15,
  hammers: 0.1,
  stormyDays: 0.1,
};

/** A watched stretch: what was found, each time it was found anew, and the end. */
export interface SilenceRun {
  readonly sensors: SensorsState;
  readonly found: { readonly kind: string; readonly at: Instant; readonly landings: number }[];
}

type Kind = EventContent["kind"];

export function runSilence(
  {
    seed,
    habits,
    from,
    length,
    dead = [],
    settings = larchSettings,
  }: {
    seed: number;
    habits: BirdHabits;
    from: Instant;
    length: Span;
    dead?: readonly Kind[];
    settings?: FeederSettings;
  },
  sensors: SensorsState = initialSensors(from),
): SilenceRun {
  const found: { kind: string; at: Instant; landings: number }[] = [];
  let standing: readonly string[] = [];
  let landings = 0;
  for (const event of simulateBirds(seededRandom(seed), place, habits, from, after(from, length))) {
    if (event.kind === "visit") landings++;
    if (!dead.includes(event.kind)) sensors = updateSensorsByEvent(sensors, event, settings);
    const faults = sensorFaults(sensors, settings, event.recordedAt, false).map((fault) => fault.kind);
    for (const kind of faults) if (!standing.includes(kind)) found.push({ kind, at: event.recordedAt, landings });
    standing = faults;
  }
  return { sensors, found };
}
