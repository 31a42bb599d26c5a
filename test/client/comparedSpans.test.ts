import { describe, expect, it } from "vitest";
import {
  comparedQueries,
  daysIn,
  hourMeans,
  knownDays,
  meansOf,
  stageSpans,
  weekSpans,
} from "../../client/charts/comparedSpans.ts";
import { historyRequest, historySpanOf } from "../../server/contract/historyRequest.ts";
import { planHistory } from "../../server/domain/history/historyPlan.ts";
import { daysHistoryFixture } from "./evidenceFixture.ts";
import { trainingViewFixture } from "./trainingFixture.ts";

const zone = "Europe/Stockholm";

describe("spans that are compared", () => {
  it("are weeks from Monday on, this one up to today", () => {
    const [running, last] = weekSpans("2026-11-25");
    expect(running).toMatchObject({ id: "2026-11-23", first: "2026-11-23", last: "2026-11-25" });
    expect(last).toMatchObject({ first: "2026-11-16", last: "2026-11-22" });
    expect(weekSpans("2026-11-29")[0]?.last).toBe("2026-11-29");
  });

  it("are stages without a day in two of them, the newest first", () => {
    const view = trainingViewFixture(Date.parse("2026-11-25T12:00:00Z"));
    const spans = stageSpans(view, "2026-11-25", zone);
    expect(spans.map(({ stage }) => stage)).toEqual(["Nudge a cap in", "Press for food", "Come for free food"]);
    expect(spans[0]?.last).toBe("2026-11-25");
    for (const [index, span] of spans.slice(1).entries())
      expect(span.last < (spans[index]?.first ?? ""), `${span.stage} ends before the next`).toBe(true);
    expect(stageSpans(null, "2026-11-25", zone)).toEqual([]);
  });

  it("are asked for by whole days and hours, also one day alone and over a change of the clock", () => {
    for (const [first, last] of [
      ["2026-11-23", "2026-11-23"],
      ["2026-10-19", "2026-10-25"],
      ["2026-03-01", "2026-11-25"],
    ] as const) {
      const span = { id: first, first, last, stage: null };
      const plans = comparedQueries("rowan", span, zone).map(({ from, to, points, columns }) =>
        planHistory({ ...historySpanOf(historyRequest.parse({ from, to, points, columns })), zone }),
      );
      expect([first, plans.map(({ level }) => level)]).toEqual([first, ["day", "hour"]]);
      expect(plans[0]?.starts.length).toBe(Math.max(2, daysIn(span)));
      const length = ((plans[1]?.to ?? 0) - (plans[1]?.from ?? 0)) / 3_600_000;
      expect(plans[1]?.starts.length, `${first}: an hour each`).toBe(length);
    }
  });

  it("have means over the days that are known, and none where nothing is: planted", () => {
    const history = {
      ...daysHistoryFixture(0, 3),
      columns: { visits: [10, null, 20], timerPortions: [null, null, 4], pressPortions: [2, null, 3] },
    };
    expect(meansOf(history)).toMatchObject({ visits: 15, portions: 4.5, depositsPaid: null, airCelsiusMean: null });
    expect(knownDays(history)).toBe(2);
  });

  it("have means by hour over the days of which that hour is known", () => {
    const counts = Array.from({ length: 48 }, (_, hour) => (hour === 33 ? null : hour % 24 === 9 ? 6 : 0));
    const from = "2026-11-23T00:00:00Z";
    const means = hourMeans({ from, lengthMinutes: counts.map(() => 60) }, counts, (at) => new Date(at).getUTCHours());
    expect([means[8], means[9]]).toEqual([0, 6]); // and not 3
    const unknown = hourMeans({ from, lengthMinutes: [60] }, [null], () => 5);
    expect(unknown[5]).toBeNull();
  });
});
