import { describe, expect, it } from "vitest";
import { practiceFaults } from "../../server/contract/api.ts";
import { standingAlarmEvents } from "../../server/domain/alarms/alarmEvents.ts";
import { composeDigest } from "../../server/domain/digest/digest.ts";
import { initialRollups } from "../../server/domain/history/rollups.ts";
import { hours, instantOf, minutes } from "../../server/domain/instant.ts";
import { feederView } from "../../server/flows/views.ts";
import { startPractice } from "../../server/practice/run.ts";
import { feederWithFault, larch, practiceYard, rowan } from "../../server/practice/yard.ts";
import { unplainText } from "../support/plainText.ts";
import { InMemoryReportApi } from "./inMemoryReportApi.ts";
import { ManualTimers } from "./reportApi.stub.ts";

/**
 * Goal: nothing that a keeper reads has a machine's time or the symbol of a statistic. Method: each practice fault is simulated
 * with the real domain, and every view, notification and digest is checked. It must see an alarm of each fault.
 */
describe("what keepers read", () => {
  for (const fault of practiceFaults.filter((each) => each !== "none")) {
    it(`has no machine's time and no symbol of a statistic, with "${fault}" and after it`, async () => {
      const settings = feederWithFault(fault) === "Rowan" ? rowan : larch;
      const time = new ManualTimers(instantOf("2026-11-25T20:15:00Z"));
      const api = new InMemoryReportApi(settings, time.now);
      const log = { info: () => {}, warning: () => {} };
      const shared = { url: "http://127.0.0.1:1", key: "k", settings, seed: 3, now: time.now, fetch: api.fetch };
      const practice = startPractice({ ...shared, timers: time, log });
      const seenAlarms = new Set<string>();
      const check = () => {
        const { state } = api;
        const row = { id: "rowan", yard: "y", practice: true, revision: 1, addedAt: time.now(), state };
        const view = feederView(
          { ...row, lastReportAt: time.now(), lastStepAt: time.now(), rebuiltAt: null, rollups: initialRollups() },
          time.now(),
        );
        const digestFeeder = {
          id: "rowan",
          name: settings.name,
          state,
          addedAt: time.now(),
          days: [],
          paymentEvents: [],
          recentReadings: [],
        };
        const yard = { id: "y", name: "Alder Croft", zone: practiceYard.zone, practice: true };
        const digest = composeDigest(yard, [digestFeeder], "2026-11-25", time.now());
        expect(unplainText({ view, digest, calls: standingAlarmEvents(state), changes: api.changes })).toEqual([]);
        for (const alarm of view.alarms) seenAlarms.add(alarm.fault);
      };
      await time.pass(minutes(1));
      check();
      practice.setFault(fault);
      if (fault === "ignoresOrders") api.order("pause-1", "pause");
      for (let minute = 0; minute < 5; minute++) {
        await time.pass(minutes(1));
        api.minutePasses();
        check();
      }
      practice.clearFault();
      await time.pass(minutes(2));
      check();
      await practice.stop();
      await time.pass(hours(2)); // silent by now
      api.minutePasses();
      check();
      expect(seenAlarms.size, "the run must reach an alarm").toBeGreaterThan(0);
    });
  }
});
