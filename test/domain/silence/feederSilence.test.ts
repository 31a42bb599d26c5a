import { describe, expect, it } from "vitest";
import * as time from "../../../server/domain/instant.ts";
import {
  between,
  days,
  hours,
  type Instant,
  instantOf,
  milliseconds,
  minutes,
  type Span,
  seconds,
} from "../../../server/domain/instant.ts";
import {
  feederSilentFault,
  initialReporting,
  type ReportingState,
  silenceBeginsAt,
  updateReporting,
} from "../../../server/domain/silence/feederSilence.ts";
import { type RandomSource, seededRandom } from "../../../server/practice/random.ts";
import { larchSettings } from "./larch.ts";
import { simulateNetwork } from "./networkModels.ts";

const start = instantOf("2026-01-15T00:00:00Z");
const bootedAt = time.before(start, hours(1));

function hear(
  link: ReportingState,
  now: Instant,
  reportEvery: Span = larchSettings.reportEvery,
  boot = "b-1",
): ReportingState {
  return updateReporting(link, { boot, sentUptime: between(bootedAt, now), reportEvery }, now);
}

/** A line as it has been: reports every `every`, so many in a hundred lost, with some jitter on the way. */
function steady(random: RandomSource, reports: number, lost: number, every: Span = minutes(1)) {
  let link = initialReporting(start);
  let now = start;
  let alarms = 0;
  const settings = { ...larchSettings, reportEvery: every };
  for (let i = 0; i < reports; i++) {
    now = time.after(now, every);
    if (random.isTrueWith(lost)) continue;
    const received = time.after(now, milliseconds(Math.max(0, random.normal(0.02, 0.02)) * every));
    if (feederSilentFault(link, settings, received)) alarms++;
    link = hear(link, received, every);
  }
  return { link, now, alarms, patience: waitOf(link, settings) };
}

function waitOf(link: ReportingState, settings = larchSettings): number {
  const from = silenceBeginsAt(link, settings);
  if (link.kind === "neverReported" || from === null) throw new Error("expected a link that has reported");
  return from - link.lastReportAt;
}

describe("the silence of a feeder", () => {
  it("is none while it never reported: it is not yet connected", () => {
    const link = initialReporting(start);
    expect(feederSilentFault(link, larchSettings, time.after(start, days(30)))).toBeNull();
    expect(silenceBeginsAt(link, larchSettings)).toBeNull();
  });

  it("is found within minutes on a line that loses nothing", () => {
    const { link, patience } = steady(seededRandom(1), 2_000, 0);
    expect(patience).toBeLessThan(minutes(12)); // it has known the line for a day and a half
    if (link.kind === "neverReported") throw new Error("expected a report");
    const fault = feederSilentFault(link, larchSettings, time.after(link.lastReportAt, minutes(12)));
    expect(fault?.kind).toBe("feederSilent");
    expect(fault?.reason).toBe("No report for 12 minutes. It usually reports every minute.");
    expect(fault?.confidence).toBeGreaterThan(0.999);
    expect(fault?.evidence.slice(0, 2)).toEqual([
      { label: "last report", value: "a report", at: link.lastReportAt },
      { label: "usual time between reports", value: "1 minute", at: null },
    ]);
    expect(fault?.evidence[2]?.label).toBe("longest gap that is still credible");
  });

  it("is found within 90 seconds on a fast one", () => {
    const { patience } = steady(seededRandom(2), 200, 0, seconds(5));
    expect(patience).toBe(seconds(90));
  });

  it("is found at the very instant that was foretold, and not before", () => {
    for (const lost of [0, 0.05, 0.3]) {
      const { link } = steady(seededRandom(3), 500, lost);
      const from = silenceBeginsAt(link, larchSettings) as Instant;
      expect(feederSilentFault(link, larchSettings, time.before(from, milliseconds(1)))).toBeNull();
      expect(feederSilentFault(link, larchSettings, from)?.kind).toBe("feederSilent");
    }
  });

  it("is not one lost report, nor two, however steady the line was", () => {
    const { link } = steady(seededRandom(4), 5_000, 0);
    if (link.kind === "neverReported") throw new Error("expected a report");
    expect(feederSilentFault(link, larchSettings, time.after(link.lastReportAt, minutes(2.9)))).toBeNull();
  });

  it("is waited for longer on a line that loses reports", () => {
    const good = steady(seededRandom(5), 3_000, 0).patience;
    const poor = steady(seededRandom(5), 3_000, 0.3).patience;
    expect(poor).toBeGreaterThan(1.5 * good);
    expect(poor).toBeLessThan(minutes(30)); // and yet found while it matters
  });

  it("is cried falsely no more than about once in a feeder's year, on lines from good to poor", () => {
    let alarms = 0;
    for (const lost of [0, 0.01, 0.05, 0.15]) alarms += steady(seededRandom(20), 525_600 / 8, lost).alarms;
    expect(alarms, "half a year of minutes on four lines").toBeLessThanOrEqual(2); // P(more | 0.5 wanted) = 1.4 %
  }, 30_000);

  // Six years of reports: too long to be run for each mutant of a sample.
  it.skipIf(process.env.MUTATION_ALL === "false")(
    "is cried falsely no more than about once in a feeder's year where losses come in runs, and found soon all the same",
    () => {
      // The wait that each line's own law exceeds once a year, from 50 seeded years (npx tsx test/benchmarks/silenceOnLines.ts).
      const optima = { dinner: 17, bursty: 20, nightly: 7 };
      let cried = 0;
      for (const [name, optimum] of Object.entries(optima) as [keyof typeof optima, number][]) {
        for (const seed of [1, 2]) {
          const { falseAt, waits } = simulateNetwork(name, seed, days(365));
          cried += falseAt.length;
          const learnt = waits.slice(30);
          const mean = learnt.reduce((sum, wait) => sum + wait, 0) / learnt.length;
          expect(mean, `${name}, seed ${seed}`).toBeLessThan(1.6 * optimum);
        }
      }
      expect(cried, "six feeder-years").toBeLessThanOrEqual(10); // P(more | 6 wanted) = 4 %
    },
    60_000,
  );

  it("is found soon on a line that never did more than lose a report now and then", () => {
    expect(simulateNetwork("faultless", 1, days(60)).waits.at(-1)).toBeLessThan(5); // reports; three are waited for in any case
    expect(simulateNetwork("good", 1, days(60)).waits.at(-1)).toBeLessThan(9);
  }, 30_000);

  it("is waited for longer after the line was cut for a while, and not after the feeder itself was off", () => {
    const { link, now, patience } = steady(seededRandom(14), 30_000, 0.005);
    const afterwards = time.after(now, minutes(15));
    expect(waitOf(hear(link, afterwards))).toBeGreaterThan(1.2 * patience); // the same boot: it was well all the while
    expect(waitOf(hear(link, afterwards, larchSettings.reportEvery, "b-2"))).toBe(patience);
  });

  it("takes up a new rhythm also where it is only a little slower than promised", () => {
    let { link, now } = steady(seededRandom(15), 500, 0);
    for (let i = 0; i < 200; i++) {
      now = time.after(now, minutes(2.5));
      link = hear(link, now);
    }
    expect(link.kind === "reporting" && link.intervals.mean).toBeCloseTo(minutes(2.5), -3);
    expect(waitOf(link)).toBeLessThan(minutes(45));
  });

  it("is found just when a gap is as unlikely as one in a feeder's year", () => {
    const { link } = steady(seededRandom(13), 3_000, 0.2);
    const fault = feederSilentFault(link, larchSettings, silenceBeginsAt(link, larchSettings) as Instant);
    const phi = -Math.log10(1 - (fault?.confidence ?? 0)); // of the chance of such a gap
    expect(phi).toBeGreaterThan(Math.log10(525_600) - 0.1); // minutes in a year: 5.7
    expect(phi).toBeLessThan(Math.log10(4 * 525_600) + 0.1); // a quarter as often, where the longest gaps decide
  });

  it("leaves one long outage out of what is learnt", () => {
    const { link, patience } = steady(seededRandom(6), 1_000, 0.02);
    if (link.kind === "neverReported") throw new Error("expected a report");
    const back = hear(link, time.after(link.lastReportAt, days(2)));
    expect(waitOf(back)).toBe(patience);
  });

  it("takes up a new rhythm after three long gaps in a row, though nobody entered it", () => {
    let { link } = steady(seededRandom(7), 1_000, 0);
    let now = (link.kind === "reporting" ? link.lastReportAt : start) as Instant;
    const found: boolean[] = [];
    for (let i = 0; i < 6; i++) {
      now = time.after(now, hours(1));
      found.push(feederSilentFault(link, larchSettings, now) !== null);
      link = hear(link, now);
    }
    expect(found).toEqual([true, true, true, false, false, false]);
  });

  it("is judged by the new interval once the keeper chose another", () => {
    const { link, now } = steady(seededRandom(8), 500, 0);
    const slower = { ...larchSettings, reportEvery: minutes(15) };
    const next = hear(link, time.after(now, minutes(1)), slower.reportEvery);
    expect(feederSilentFault(next, slower, time.after(now, minutes(40)))).toBeNull();
    expect(feederSilentFault(next, slower, time.after(now, hours(3)))?.kind).toBe("feederSilent");
  });

  it("is not shortened by reports that an event called forth, nor by the pieces of a backlog", () => {
    const { link, now, patience } = steady(seededRandom(9), 500, 0);
    let burst = link;
    for (let i = 1; i <= 100; i++) burst = hear(burst, time.after(now, seconds(5 + 0.2 * i)));
    expect(waitOf(burst)).toBe(patience);
  });

  it("is not broken by an old copy that was long under way", () => {
    const { link, now } = steady(seededRandom(10), 500, 0);
    const copy = { boot: "b-1", sentUptime: between(bootedAt, time.before(now, minutes(5))), reportEvery: minutes(1) };
    expect(updateReporting(link, copy, time.after(now, hours(1)))).toBe(link);
  });

  it("ends with a new boot, and with what an earlier boot left behind", () => {
    const { link, now } = steady(seededRandom(11), 500, 0);
    const later = time.after(now, hours(2));
    for (const sentUptime of [seconds(20), null]) {
      const back = updateReporting(link, { boot: "b-2", sentUptime, reportEvery: minutes(1) }, later);
      expect(feederSilentFault(link, larchSettings, later)).not.toBeNull();
      expect(feederSilentFault(back, larchSettings, later)).toBeNull();
    }
  });

  it("is remembered in plain JSON of a fixed size", () => {
    const { link } = steady(seededRandom(12), 1_000, 0.1);
    expect(JSON.parse(JSON.stringify(link))).toEqual(link);
    expect(JSON.stringify(link).length).toBeLessThan(550);
  });
});
