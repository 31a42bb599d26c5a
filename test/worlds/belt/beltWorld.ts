/**
 * A feeder with a belt under its hopper's gate. Written without knowledge of the detectors; it was the sealed world until 2026-12-01
 * (test/worlds/sealedRuns.md) and is a world to develop on since. Formulas name their source beside them; works and data sheets are cited from memory. Ranges of how
 * feeders are built and how birds and keepers live are common practice, no source, unless said otherwise.
 */
import { instant } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, World, WorldMoment } from "../world.ts";
import { day } from "./agenda.ts";
import { buildFeeder } from "./feeder.ts";

export const beltWorld: World = { name: "belt", tell };

type Unsent<Line> = Line extends LogLine ? Omit<Line, "feeder" | "at"> : never;

function* tell(story: Story, phone: KeeperPhone): Generator<WorldMoment> {
  const waiting: WorldMoment[] = [];
  const write = (line: Unsent<LogLine>) => {
    const { agenda, account } = feeder.parts;
    account.bouts = feeder.flock.bouts;
    const at = instant(agenda.now);
    waiting.push({ line: { feeder: `rowan-${story.seed}`, at, ...line }, truth: account.truth(at) });
  };
  const feeder = buildFeeder(story, phone, {
    arrived: (report) => write({ kind: "report", report }),
    entered: (act) => write({ kind: "keeper", act }),
  });
  const { agenda, begin } = feeder.parts;
  write({ kind: "settings", settings: feeder.settings });
  const end = begin + story.days * day;
  while (waiting.length > 0 || agenda.nextAt < end) {
    yield* waiting.splice(0);
    if (agenda.nextAt < end) agenda.next();
  }
}
