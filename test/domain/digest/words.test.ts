import { describe, expect, it } from "vitest";
import { type DigestFeeder, digestOf } from "../../../server/domain/digest/words.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import { ruleOf } from "../../../server/domain/faults.ts";
import { type FeederState, newFeeder } from "../../../server/domain/feeder.ts";
import { dispensed } from "../../../server/domain/hopper/level.ts";
import { refilled } from "../../../server/domain/hopper/refill.ts";
import { forecastEmpty, runOutWords } from "../../../server/domain/hopper/runOut.ts";
import { days, hours, type Instant, instantOf, minutes, after as past } from "../../../server/domain/instant.ts";
import { grams } from "../../../server/domain/units.ts";
import type { DayCounts } from "../../../server/ports.ts";
import { someSettings } from "../../support/feeders.ts";
import { barePortion } from "../barePortion.ts";

const now = instantOf("2026-11-25T06:30:00Z"); // 07:30 in Stockholm, a Wednesday
const date = "2026-11-25";
const yard = { name: "Alder Croft", zone: "Europe/Stockholm", practice: false };

const quiet: DayCounts = { visits: 0, presses: 0, deposits: 0, portions: 0, alarmsRaised: 0 };
const busy: DayCounts = { visits: 41, presses: 12, deposits: 9, portions: 60, alarmsRaised: 0 };

/** A feeder that was filled with so much ten days ago and gave so many portions of 5 g a day since. */
function fed(name: string, filled: number, portionsADay: number): FeederState {
  const settings = someSettings({ name });
  const start = past(now, days(-10));
  let hopper = newFeeder(settings, start).hopper;
  hopper = refilled(hopper, { at: start, what: { kind: "level", grams: grams(filled) } }, settings);
  for (let day = 0; day < 10; day++) {
    for (let n = 0; n < portionsADay; n++) {
      const recordedAt = past(start, (days(day) + hours(1) + n * minutes(5)) as never);
      const portion = {
        ...barePortion,
        recordedAt,
      } as const;
      hopper = dispensed(hopper, portion, settings);
    }
  }
  return heard({ ...newFeeder(settings, start), hopper });
}

const heard = (state: FeederState): FeederState => ({
  ...state,
  link: { kind: "heard", at: now, boot: "b", sentUptime: null, rhythm: { mean: 60_000 } as never, outages: 0 } as never,
});

const alarmed = (state: FeederState, fault: FaultKind, since: Instant, phase = "unacknowledged"): FeederState => ({
  ...state,
  alarms: {
    ...state.alarms,
    [fault]: {
      phase,
      priority: ruleOf(fault).priority,
      since,
      finding: { reason: "", evidence: [], sure: null },
      raisedAt: since,
      awaySince: null,
    },
  },
});

const feeder = (state: FeederState, tally = busy): DigestFeeder => ({ name: state.settings.name, state, tally });

describe("the digest's words", () => {
  it("say of a healthy yard that there is nothing to do, what is left and what the birds did", () => {
    const state = fed("Rowan", 1_500, 10);
    const { title, lines } = digestOf(yard, [feeder(state)], date, now);
    const runOut = runOutWords(forecastEmpty(state.hopper, state.settings, now), yard.zone, now);
    expect(title).toBe("Alder Croft, today: nothing to do");
    expect(lines).toEqual([
      `Rowan: about 1 kg left, ${runOut}. Since yesterday 41 visits, 12 presses, 9 deposits, 60 portions.`,
    ]);
    expect(runOut).toMatch(/^enough until /);
  });

  it("say briefly where nothing happened, and count one as one", () => {
    const state = fed("Rowan", 1_500, 10);
    expect(digestOf(yard, [feeder(state, quiet)], date, now).lines[0]).toMatch(/Nothing happened since yesterday\.$/);
    const once = { ...quiet, visits: 1, presses: 1 };
    expect(digestOf(yard, [feeder(state, once)], date, now).lines[0]).toMatch(/Since yesterday 1 visit, 1 press\.$/);
  });

  it("put standing alarms first, the gravest before all, with since when and what to do", () => {
    const rowan = alarmed(fed("Rowan", 1_500, 10), "chuteBlind", past(now, hours(-1)), "acknowledged");
    const larch = alarmed(fed("Larch", 1_500, 10), "trayJammed", past(now, hours(-9)));
    const { title, lines } = digestOf(yard, [feeder(rowan), feeder(larch)], date, now);
    expect(title).toBe("Alder Croft, today: 2 things to do");
    expect(lines).toHaveLength(4);
    expect(lines[0]).toBe(`Larch: tray jammed since yesterday 22:30. ${ruleOf("trayJammed").act}`);
    expect(lines[1]).toBe(`Rowan: chute sensor blind since today 06:30. ${ruleOf("chuteBlind").act}`);
  });

  it.each(["suspected", "shelved", "suppressedByDesign", "returnedUnacknowledged"])(
    "ask nothing for an alarm that is %s",
    (phase) => {
      const state = alarmed(fed("Rowan", 1_500, 10), "chuteBlind", now, phase);
      expect(digestOf(yard, [feeder(state)], date, now).title).toBe("Alder Croft, today: nothing to do");
    },
  );

  it("ask for a refill before the hopper may be empty, and not twice where an alarm does", () => {
    const low = fed("Rowan", 540, 10); // 40 g left at 50 g a day
    const { title, lines } = digestOf(yard, [feeder(low)], date, now);
    expect(title).toBe("Alder Croft, today: 1 thing to do");
    expect(lines[0]).toMatch(/^Rowan: refill today, /);
    const told = digestOf(yard, [feeder(alarmed(low, "foodLow", now))], date, now);
    expect(told.title).toBe("Alder Croft, today: 1 thing to do");
    expect(told.lines.join()).not.toContain("refill today");
  });

  it("claim nothing about the food of a feeder that is silent", () => {
    const silent = alarmed(fed("Rowan", 540, 10), "feederSilent", past(now, hours(-20)));
    const { lines } = digestOf(yard, [feeder(silent, quiet)], date, now);
    expect(lines[0]).toMatch(/^Rowan: feeder silent since yesterday 11:30\. /);
    expect(lines[1]).toBe("Rowan: nothing happened since yesterday.");
  });

  it("say where a feeder was never heard, is paused, or its level isn't known", () => {
    const fresh = newFeeder(someSettings({ name: "Rowan" }), now);
    expect(digestOf(yard, [feeder(fresh, quiet)], date, now).lines).toEqual(["Rowan: not yet connected."]);
    const [unknown] = digestOf(yard, [feeder(heard(fresh), quiet)], date, now).lines;
    expect(unknown).toMatch(/^Rowan: no word yet on how much is in it/);
    const paused = { ...heard(fresh), orders: { ...fresh.orders, feederSays: { paused: true, at: now } } };
    expect(digestOf(yard, [feeder(paused, quiet)], date, now).lines[0]).toMatch(/^Rowan: paused\. No word/);
  });

  it("mark practice wherever it is shown", () => {
    const state = { ...fed("Rowan", 1_500, 10), settings: someSettings({ name: "Rowan", practice: true }) };
    const { title, lines } = digestOf({ ...yard, practice: true }, [feeder(state)], date, now);
    expect(title).toMatch(/^Practice – Alder Croft, /);
    expect(lines[0]).toMatch(/^Rowan \(practice\): /);
  });

  it("say of an empty yard that it has no feeder", () => {
    expect(digestOf(yard, [], date, now)).toEqual({
      title: "Alder Croft, today: no feeder yet",
      lines: ["There is no feeder in this yard yet."],
    });
  });

  it("call a digest made up for after midnight yesterday's", () => {
    const late = past(now, hours(18)); // 01:30 on the 26th
    expect(digestOf(yard, [feeder(fed("Rowan", 1_500, 10))], date, late).title).toMatch(/, yesterday: /);
  });

  it("stay a screenful however many feeders there are, and leave out nobody silently", () => {
    const many = Array.from({ length: 40 }, (_, n) => feeder(alarmed(fed(`F${n}`, 1_500, 2), "trayJammed", now)));
    const { title, lines } = digestOf(yard, many, date, now);
    expect(title).toBe("Alder Croft, today: 40 things to do");
    expect(lines).toHaveLength(14);
    expect(lines[8]).toBe("And 32 things more to do.");
    expect(lines.at(-1)).toBe("And 36 more feeders, each on its own page.");
  });
});
