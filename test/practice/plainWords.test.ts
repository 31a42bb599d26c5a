import { describe, expect, it } from "vitest";
import { practiceFaults } from "../../server/contract/api.ts";
import { standingWords } from "../../server/domain/alarms/callWords.ts";
import { digestOf } from "../../server/domain/digest/digest.ts";
import { hours, instantOf, minutes } from "../../server/domain/instant.ts";
import { feederView } from "../../server/flows/views.ts";
import { startPractice } from "../../server/practice/run.ts";
import { feederThatShows, larch, practiceYard, rowan } from "../../server/practice/yard.ts";
import { notPlain } from "../support/plainWords.ts";
import { DomainDoor } from "./domainDoor.ts";
import { TestTime } from "./door.stub.ts";

/**
 * Goal: nothing that a keeper reads holds a machine's time or the symbol of a statistic. Method: each practice fault is played
 * before the real domain, and every view, notice and digest on the way is walked. It must see an alarm of each fault.
 */
describe("what keepers read", () => {
  for (const fault of practiceFaults.filter((each) => each !== "none")) {
    it(`holds no machine's time and no symbol of a statistic, with "${fault}" and after it`, async () => {
      const settings = feederThatShows(fault) === "Rowan" ? rowan : larch;
      const time = new TestTime(instantOf("2026-11-25T20:15:00Z"));
      const door = new DomainDoor(settings, time.now);
      const log = { said: () => {}, trouble: () => {} };
      const shared = { url: "http://127.0.0.1:1", key: "k", settings, seed: 3, now: time.now, fetch: door.fetch };
      const practice = startPractice({ ...shared, timers: time, log });
      const walked = new Set<string>();
      const look = () => {
        const { state } = door;
        const row = { id: "rowan", yard: "y", practice: true, revision: 1, addedAt: time.now(), state };
        const view = feederView(
          { ...row, lastHeardAt: time.now(), steppedAt: time.now(), rebuiltAt: null },
          time.now(),
        );
        const told = {
          id: "rowan",
          name: settings.name,
          state,
          addedAt: time.now(),
          days: [],
          exchanges: [],
          felt: [],
        };
        const yard = { id: "y", name: "Alder Croft", zone: practiceYard.zone, practice: true };
        const digest = digestOf(yard, [told], "2026-11-25", time.now());
        expect(notPlain({ view, digest, calls: standingWords(state), changes: door.changes })).toEqual([]);
        for (const alarm of view.alarms) walked.add(alarm.fault);
      };
      await time.pass(minutes(1));
      look();
      practice.fail(fault);
      if (fault === "deafToOrders") door.ask("pause-1", "pause");
      for (let minute = 0; minute < 5; minute++) {
        await time.pass(minutes(1));
        door.minutePasses();
        look();
      }
      practice.heal();
      await time.pass(minutes(2));
      look();
      await practice.stop();
      await time.pass(hours(2)); // silent by now
      door.minutePasses();
      look();
      expect(walked.size, "the story must reach an alarm").toBeGreaterThan(0);
    });
  }
});
