import { instant } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, World, WorldMoment } from "../world.ts";
import { day } from "./agenda.ts";
import { buildFeeder } from "./feeder.ts";

/**
 * A feeder with any of six dispensers: trap door, push slide, vibrating tray, bucket chain, scoop arm or brush roll. It was the sealed world
 * until 2026-11-30 (test/worlds/sealedRuns.md) and is a world to develop on since.
 *
 * Formulas name their source beside them; the works are cited from memory, and so are the numbers of data sheets. Ranges of how feeders are
 * built and how birds and keepers live are common practice, no source, unless said otherwise.
 */
export const sixDispensersWorld: World = { name: "sixDispensers", tell };

type Unsent<Line> = Line extends LogLine ? Omit<Line, "feeder" | "at"> : never;

function* tell(story: Story, phone: KeeperPhone): Generator<WorldMoment> {
  let moments: WorldMoment[] = [];
  const write = (line: Unsent<LogLine>, now: number) => {
    const at = Math.round(now);
    moments.push({ line: { feeder: `larch-${story.seed}`, at: instant(at), ...line }, truth: parts.tally.truth(at) });
  };
  const feeder = buildFeeder(story, phone, {
    arrived: (report, now) => write({ kind: "report", report }, now),
    tell: (act, now) => write({ kind: "keeper", act }, now),
    set: (settings, now) => write({ kind: "settings", settings }, now),
  });
  const { parts } = feeder;
  feeder.begin();
  const end = parts.begin + story.days * day;
  for (;;) {
    if (moments.length > 0) {
      const told = moments;
      moments = [];
      yield* told;
    }
    if (parts.agenda.nextAt >= end) return;
    parts.agenda.runNext();
  }
}
