import { instant } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, World, WorldMoment } from "../world.ts";
import { buildFeeder } from "./feeder.ts";
import { day } from "./time.ts";

/**
 * A world in the far north: a pocket wheel in the hopper's bottom, polar night and midnight sun, frost to -35 °C, few birds, a poor
 * mobile line. It runs from event to event (a bird, a portion, a report), so that quiet time costs nothing but its reports.
 */
export const wheelWorld: World = {
  name: "wheel",
  *tell(story: Story, phone: KeeperPhone): Generator<WorldMoment> {
    const waiting: WorldMoment[] = [];
    const feeder = "larch";
    const { agenda, ledger, settings } = buildFeeder(story, phone, {
      report: (report) => add({ kind: "report", feeder, at: instant(agenda.now), report }),
      act: (act) => add({ kind: "keeper", feeder, at: instant(agenda.now), act }),
    });
    const add = (line: LogLine) => {
      waiting.push({ line, truth: ledger.truth(agenda.now) });
    };
    const end = agenda.now + story.days * day;
    add({ kind: "settings", feeder, at: instant(agenda.now), settings });
    while (agenda.nextAt <= end || waiting.length > 0) {
      yield* waiting.splice(0);
      if (agenda.nextAt <= end) agenda.runNext();
    }
  },
};
