import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { composeDigest } from "../../../server/domain/digest/digest.ts";
import type { DigestFeeder } from "../../../server/domain/digest/digestFeeder.ts";
import { linesMax } from "../../../server/domain/digest/limitLines.ts";
import { shortMax } from "../../../server/domain/digest/shortDigest.ts";
import { faultKinds, ruleOf } from "../../../server/domain/faults.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { forecastEmpty, runOutText } from "../../../server/domain/hopper/emptyForecast.ts";
import { days, hours, after as past } from "../../../server/domain/instant.ts";
import { feederSettings } from "../../support/feederSettings.ts";
import {
  airBetween,
  busy,
  date,
  day,
  digestFeederFixture,
  feederWithPortions,
  now,
  quiet,
  reportingState,
  usualDays,
  withAlarm,
  yard,
} from "./digestFeederFixture.ts";

const compose = (...feeders: readonly DigestFeeder[]) => composeDigest(yard, feeders, date, now);
const section = (digest: ReturnType<typeof compose>, heading: string): readonly string[] =>
  digest.sections.find((each) => each.heading === heading)?.lines ?? [];
const toDo = (digest: ReturnType<typeof compose>) => section(digest, "To do today");
const besides = (digest: ReturnType<typeof compose>) => section(digest, "Also");
const linesOf = (digest: ReturnType<typeof compose>) => digest.sections.flatMap(({ lines }) => lines);

describe("the digest's text", () => {
  it("states for a healthy yard that there is nothing to do, the food left and the birds, in that order", () => {
    const state = feederWithPortions("Rowan");
    const digest = compose(digestFeederFixture(state, { recentReadings: airBetween(4, 9) }));
    const runOut = runOutText(forecastEmpty(state.hopper, state.settings, now), yard.zone, now);
    expect(runOut).toMatch(/^very likely enough until /);
    expect(digest.title).toBe("Alder Croft, today: nothing to do");
    expect(digest.sections).toEqual([
      { heading: "To do today", lines: ["Nothing to do."] },
      { heading: "Food", lines: [`Rowan: about 1.1 kg, ${runOut}.`] },
      { heading: "Birds", lines: ["Rowan: as usual: 41 visits, 12 presses, 9 deposits, 60 portions."] },
      { heading: "Deposits and portions", lines: ["Rowan: no deposit yesterday."] },
      { heading: "Tonight", lines: ["No frost likely, about 4 °C."] },
    ]);
  });

  it("keeps two healthy feeders within nine lines", () => {
    const digest = compose(
      digestFeederFixture(feederWithPortions("Rowan"), { recentReadings: airBetween(4, 9) }),
      digestFeederFixture(feederWithPortions("Larch"), { recentReadings: airBetween(4, 9) }),
    );
    expect(linesOf(digest).length).toBeLessThanOrEqual(9);
    expect(section(digest, "Deposits and portions")).toEqual(["Rowan and Larch: no deposit yesterday."]);
  });

  it("lists active alarms first, the most urgent before all, with their start and the advice", () => {
    const rowan = withAlarm(feederWithPortions("Rowan"), "chuteBlind", past(now, hours(-1)), "acknowledged");
    const larch = withAlarm(feederWithPortions("Larch"), "trayJammed", past(now, hours(-9)));
    const digest = compose(digestFeederFixture(rowan), digestFeederFixture(larch));
    expect(digest.title).toBe("Alder Croft, today: 2 tasks");
    expect(toDo(digest)).toEqual([
      `Larch: tray jammed since yesterday 22:30. ${ruleOf("trayJammed").advice}`,
      `Rowan: chute sensor not working since today 06:30. ${ruleOf("chuteBlind").advice}`,
    ]);
  });

  it.each(["suspected", "suppressedByDesign", "returnedUnacknowledged"])(
    "has no task for an alarm that is %s",
    (phase) => {
      const state = withAlarm(feederWithPortions("Rowan"), "chuteBlind", now, phase);
      expect(compose(digestFeederFixture(state)).title).toBe("Alder Croft, today: nothing to do");
      expect(toDo(compose(digestFeederFixture(state)))).toEqual(["Nothing to do."]);
    },
  );

  it("names what is shelved only on the day on which the shelving ends, without a task", () => {
    const shelved = (until: number) =>
      compose(
        digestFeederFixture(
          withAlarm(feederWithPortions("Rowan"), "scaleSilent", now, "shelved", {
            shelvedUntil: past(now, hours(until)),
          }),
        ),
      );
    expect(toDo(shelved(7))).toEqual(["Nothing to do."]);
    expect(besides(shelved(7))).toEqual(["Rowan: scale not working is shelved until 14:30 today."]);
    expect(toDo(shelved(31))).toEqual(["Nothing to do."]);
    expect(shelved(7).title).toBe("Alder Croft, today: nothing to do");
  });

  it("asks for cleaning each fortnight, in one line for all, counted from the last cleaning or from the start", () => {
    const at = (name: string, addedDaysAgo: number, cleanedDaysAgo: number | null) => {
      const state = feederWithPortions(name);
      const cleaned = cleanedDaysAgo === null ? {} : { cleanedAt: past(now, days(-cleanedDaysAgo)) };
      return digestFeederFixture({ ...state, ...cleaned }, { addedAt: past(now, days(-addedDaysAgo)) });
    };
    const words = "last cleaning more than two weeks ago or not entered.";
    expect(toDo(compose(at("Rowan", 13.9, null)))).toEqual(["Nothing to do."]);
    expect(toDo(compose(at("Rowan", 14, null)))).toEqual([`Clean Rowan: ${words}`]);
    expect(toDo(compose(at("Rowan", 200, 13)))).toEqual(["Nothing to do."]);
    const both = compose(at("Rowan", 200, 15), at("Larch", 20, null));
    expect(both.title).toBe("Alder Croft, today: 1 task");
    expect(toDo(both)).toEqual([`Clean Rowan and Larch: ${words}`]);
    const away = { ...feederWithPortions("Rowan", 1_500, 10, { placement: "putAway" }) };
    expect(compose(digestFeederFixture(away, { addedAt: past(now, days(-99)) })).title).toMatch(/nothing to do$/);
  });

  it("names what is out of service in one line, without a task", () => {
    const rowan = withAlarm(
      withAlarm(feederWithPortions("Rowan"), "chuteBlind", now, "outOfService"),
      "scaleSilent",
      now,
      "outOfService",
    );
    expect(toDo(compose(digestFeederFixture(rowan)))).toEqual(["Nothing to do."]);
    expect(besides(compose(digestFeederFixture(rowan)))).toEqual([
      "Out of service: chute sensor not working (Rowan) and scale not working (Rowan).",
    ]);
    const larch = digestFeederFixture(feederWithPortions("Larch"));
    expect(besides(compose(larch, digestFeederFixture(rowan)))).toEqual([
      "Out of service: chute sensor not working (Rowan) and scale not working (Rowan).",
    ]);
  });

  it.each(["latchedUnacknowledged", "latchedAcknowledged"])("asks for a check where an alarm is %s", (phase) => {
    const digest = compose(digestFeederFixture(withAlarm(feederWithPortions("Rowan"), "batteryFreezing", now, phase)));
    expect(digest.title).toBe("Alder Croft, today: 1 task");
    expect(toDo(digest)).toEqual(["Rowan: check after “battery near freezing” and confirm on its page."]);
  });

  it("has only the placement of a feeder in storage or in the workshop", () => {
    const away = feederWithPortions("Rowan", 540, 10, { placement: "putAway" });
    const bench = feederWithPortions("Larch", 540, 10, { placement: "onBench" });
    expect(compose(digestFeederFixture(away), digestFeederFixture(bench)).sections).toEqual([
      { heading: "To do today", lines: ["Nothing to do."] },
      { heading: "Also", lines: ["Larch: in the workshop.", "Rowan: in storage."] },
    ]);
  });

  it("asks for a refill before the hopper may be empty, and not twice where an alarm does", () => {
    const low = feederWithPortions("Rowan", 540); // 40 g left at 50 g a day
    const digest = compose(digestFeederFixture(low));
    expect(digest.title).toBe("Alder Croft, today: 1 task");
    expect(toDo(digest)).toHaveLength(1);
    expect(toDo(digest)[0]).toMatch(/^Rowan: refill today: /);
    expect(section(digest, "Food")).toEqual(["Rowan: about 160 g, see above."]);
    const alarm = compose(digestFeederFixture(withAlarm(low, "foodLow", now)));
    expect(alarm.title).toBe("Alder Croft, today: 1 task");
    expect(linesOf(alarm).join()).not.toContain("refill today");
  });

  it("claims nothing about the food of a feeder without reports, nor about its night", () => {
    const silent = withAlarm(feederWithPortions("Rowan", 540), "feederSilent", past(now, hours(-20)));
    const digest = compose(digestFeederFixture(silent, { recentReadings: airBetween(4, 9) }));
    expect(toDo(digest)[0]).toMatch(/^Rowan: no reports since yesterday 11:30\. /);
    expect(section(digest, "Food")).toEqual(["Rowan: not known (no reports)."]);
    expect(section(digest, "Tonight")).toEqual(["Not enough temperature data."]);
  });

  it("states where a feeder has never reported, is paused, or its level isn't known", () => {
    const fresh = newFeeder(feederSettings({ name: "Rowan" }), now);
    const digest = compose(digestFeederFixture(fresh));
    expect(digest.sections).toEqual([
      { heading: "To do today", lines: ["Nothing to do."] },
      { heading: "Also", lines: ["Rowan: no report yet."] },
    ]);
    expect(section(compose(digestFeederFixture(reportingState(fresh))), "Food")[0]).toMatch(
      /^Rowan: food level not known: enter a refill/,
    );
    const paused = { ...reportingState(fresh), orders: { ...fresh.orders, lastStatement: { paused: true, at: now } } };
    expect(section(compose(digestFeederFixture(paused)), "Food")[0]).toMatch(/^Rowan: paused; food level not known/);
  });

  it("lists the first to be empty first", () => {
    const digest = compose(
      digestFeederFixture(feederWithPortions("Rowan", 1_800)),
      digestFeederFixture(feederWithPortions("Larch", 700)),
    );
    expect(section(digest, "Food").map((line) => line.split(":")[0])).toEqual(["Larch", "Rowan"]);
  });

  it("marks practice wherever it is shown", () => {
    const state = feederWithPortions("Rowan", 1_500, 10, { practice: true });
    const digest = composeDigest({ ...yard, practice: true }, [digestFeederFixture(state)], date, now);
    expect(digest.title).toMatch(/^Practice – Alder Croft, /);
    expect(section(digest, "Birds")[0]).toMatch(/^Rowan \(practice\): /);
  });

  it("states for an empty yard that it has no feeder", () => {
    expect(compose()).toEqual({
      title: "Alder Croft, today: no feeder yet",
      short: "There is no feeder in this yard yet.",
      sections: [{ heading: "To do today", lines: ["There is no feeder in this yard yet."] }],
    });
  });

  it("are yesterday's in a digest made after midnight", () => {
    const late = past(now, hours(18)); // 01:30 on the 26th
    expect(composeDigest(yard, [digestFeederFixture(feederWithPortions("Rowan"))], date, late).title).toMatch(
      /, yesterday: /,
    );
  });
});

describe("a screenful", () => {
  const birch = (n: number) => `Birch ${n}`;

  it("holds ten feeders without alarms, as usual in one line", () => {
    const ten = Array.from({ length: 10 }, (_, n) =>
      digestFeederFixture(feederWithPortions(birch(n)), { recentReadings: airBetween(4, 9) }),
    );
    const digest = compose(...ten);
    expect(linesOf(digest).length).toBeLessThanOrEqual(linesMax);
    expect(section(digest, "Birds")).toEqual(["Birch 0, Birch 1 and 8 more: as usual."]);
  });

  it("holds ten feeders that all have alarms, all differ and all freeze, and counts those left out", () => {
    const ten = Array.from({ length: 10 }, (_, n) =>
      digestFeederFixture(withAlarm(feederWithPortions(birch(n), 1_500 + 40 * n), "trayJammed", now), {
        days: [day({ ...busy, visits: n }), ...usualDays().slice(1)],
        recentReadings: airBetween(-8, -1, 97),
      }),
    );
    const digest = compose(...ten);
    expect(digest.title).toBe("Alder Croft, today: 10 tasks");
    expect(toDo(digest)).toHaveLength(10); // whatever is counted is listed, whether it fits or not
    expect(section(digest, "Food").at(-1)).toMatch(/\d more lines? on the feeder pages\.$/);
    expect(digest.sections.map(({ heading }) => heading)).toContain("Tonight");
  });

  it("has a short form for a push that ends with a whole word and states that there is more", () => {
    const ten = Array.from({ length: 10 }, (_, n) =>
      digestFeederFixture(withAlarm(feederWithPortions(birch(n)), "feedBridged", now)),
    );
    const { short } = compose(...ten);
    expect(short.length).toBeLessThanOrEqual(shortMax);
    expect(short).toMatch(/\nMore on its page\.$/);
    expect(short.startsWith("Birch 0: food stuck above the tray since today 07:30. ")).toBe(true);
    expect(
      short
        .split("\n")
        .slice(0, -1)
        .every((line) => /[.…]$/.test(line)),
    ).toBe(true);
  });

  it("has a short form of a quiet day that needs no page", () => {
    const { short } = compose(
      digestFeederFixture(feederWithPortions("Rowan"), {
        days: [day(quiet), ...usualDays(quiet)],
        recentReadings: airBetween(4, 9),
      }),
    );
    expect(short).toMatch(
      /^Nothing to do\.\nRowan: about 1.1 kg, .*\nRowan: no birds yesterday, as in the past week\./,
    );
    expect(short).not.toContain("More on its page");
  });
});

describe("what the digest counts", () => {
  const pages = /^\/(feeders\/[a-z0-9-]+(\/refill|\/settings)?|yards\/alder-croft\/digest#cleaning-title)$/;

  it("is what it lists, each with the page where it is done (property)", () => {
    let most = 0;
    const kinds = fc.subarray([...faultKinds], { maxLength: 3 });
    const phase = fc.constantFrom("unacknowledged", "acknowledged", "latchedUnacknowledged", "shelved", "outOfService");
    const one = fc.record({
      kinds,
      phase,
      left: fc.constantFrom(540, 1_500),
      cleaned: fc.boolean(),
      assumed: fc.boolean(),
    });
    fc.assert(
      fc.property(fc.array(one, { minLength: 1, maxLength: 6 }), (yardful) => {
        const feeders = yardful.map(({ kinds, phase, left, cleaned, assumed }, n) => {
          const settings = assumed ? { assumed: ["portionMass"] as const } : {};
          let state = feederWithPortions(`Birch ${n}`, left, 10, settings);
          for (const fault of kinds) state = withAlarm(state, fault, now, phase, { shelvedUntil: past(now, hours(2)) });
          return digestFeederFixture(state, { id: `birch-${n}`, addedAt: past(now, days(cleaned ? -2 : -20)) });
        });
        const digest = compose(...feeders);
        const counted = Number(/(\d+) tasks?$/.exec(digest.title)?.[1] ?? 0);
        const listed = digest.sections[0];
        expect(listed?.links?.length ?? 0, digest.title).toBe(counted);
        expect(listed?.lines.length).toBe(Math.max(1, counted)); // "Nothing to do."
        for (const path of listed?.links ?? []) expect(path).toMatch(pages);
        most = Math.max(most, counted);
      }),
      { numRuns: 60, seed: 8 },
    );
    expect(most, "the property must reach a list that is longer than a screen").toBeGreaterThan(linesMax - 5);
  });

  it("asks for what only a keeper can enter, each with its page", () => {
    const fresh = reportingState(newFeeder(feederSettings({ name: "Rowan", assumed: ["portionMass"] }), now));
    const digest = compose(digestFeederFixture(fresh));
    expect(digest.title).toBe("Alder Croft, today: 2 tasks");
    expect(digest.sections[0]).toEqual({
      heading: "To do today",
      lines: [
        "Rowan: enter how much food is in the hopper, or enter a refill.",
        "Rowan: enter the weight of a portion. Until then the forecast uses a typical value.",
      ],
      links: ["/feeders/rowan/refill", "/feeders/rowan/settings"],
    });
  });
});
