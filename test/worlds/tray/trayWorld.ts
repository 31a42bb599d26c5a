import { instant } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, World, WorldMoment } from "../world.ts";
import { buildFeeder, type Feeder } from "./feeder.ts";
import { mixtureName } from "./food.ts";
import { Random } from "./random.ts";
import { feederName } from "./reporter.ts";
import { day, place, zone } from "./time.ts";

/**
 * A shaking tray under a hopper, in a hot dry yard of the southern half. What is told of it: birds.ts, weather.ts and the parts that
 * feeder.ts puts together.
 */
export const trayWorld: World = { name: "tray", tell };

function* tell(story: Story, phone: KeeperPhone): Generator<WorldMoment> {
  const begin = beginOf(story);
  const end = begin + story.days * day;
  const heard: LogLine[] = [];
  const feeder = buildFeeder(story, phone, begin, (line) => heard.push(line));
  let last = begin;
  yield { line: settingsLine(story, feeder, begin), truth: feeder.ledger.truth(begin, 0) };
  for (let at = feeder.agenda.runNext(end); at !== null; at = feeder.agenda.runNext(end)) {
    for (const line of heard.splice(0)) {
      last = Math.max(Math.floor(at), last + 1); // no two lines have one time
      yield { line: { ...line, at: instant(last) }, truth: feeder.ledger.truth(last, feeder.birds.bouts) };
    }
  }
}

/** Some moment of some year: each season comes with some seed. */
export const beginOf = ({ seed }: Story): number =>
  Math.floor(Date.UTC(2031, 0, 1) + new Random(seed, "begin").unit() * 365 * day);

function settingsLine(story: Story, { hopper, mixture, power }: Feeder, begin: number): LogLine {
  const random = new Random(story.seed, "settings");
  const { button, detector, chute, perch, scale } = story.sensors;
  const [only] = mixture.components;
  const kind = mixture.components.length === 1 ? (only?.kind ?? "other") : "other";
  const isWrong = random.chance(0.3);
  const stated = hopper.size.portionGrams * (isWrong ? random.logBetween(0.5, 2) : random.between(0.9, 1.1));
  const pieces = Math.max(1, Math.round(hopper.size.portionGrams / mixture.meanPiece));
  const capacity = hopper.size.capacity * random.between(0.85, 1.15);
  return {
    feeder: feederName,
    at: instant(begin),
    kind: "settings",
    settings: {
      name: "Bottlebrush",
      zone,
      place,
      sensors: { button, detector, chute, perch, scale },
      food: mixtureName(mixture),
      foodKind: kind,
      portionGrams: Math.round(10 * Math.min(100, Math.max(0.1, stated))) / 10,
      ...(random.chance(0.3) && { grainsPerPortion: pieces }),
      ...(random.chance(0.85) && { hopperCapacityGrams: Math.round(capacity / 50) * 50 }),
      ...(random.chance(0.8) && { battery: power.chemistry }),
      reportEverySeconds: story.reportEverySeconds,
      warnAheadDays: random.pick([1, 2, 3]),
      placement: "inGarden",
    },
  };
}
