import type { ReportView } from "../../server/contract/reportView.ts";
import type { KeptView } from "../../server/contract/trainingView.ts";
import { noteFixture } from "./notesFixture.ts";
import { trainingViewFixture } from "./trainingFixture.ts";

/** Alder Croft's three stages of trainingFixture.ts as a season report. */
export function reportViewFixture(now: number, change: Partial<ReportView> = {}): ReportView {
  const view = trainingViewFixture(now);
  return {
    yard: view.yard,
    stages: view.stages,
    from: view.days[0]?.date ?? null,
    to: view.days.at(-1)?.date ?? null,
    boutsByHour: view.actsByHour?.map((acts) => 2 * acts) ?? null,
    pages: view.periods.map((period) => {
      const days = view.days.filter(({ stage }) => stage === period.stage);
      const isWithin = ({ at }: { at: string }) => at >= period.from && (period.to === null || at < period.to);
      return {
        period,
        stage: view.stages.find(({ id }) => id === period.stage) as ReportView["stages"][number],
        changes: view.changes.filter((one) => one.undone === null && isWithin(one)).reverse(),
        days,
        kept: keptOf(days.map(({ kept }) => kept)),
        actsByHour: view.actsByHour,
        notes: [noteFixture("old", 500), noteFixture("a", 30, { text: "Two jays at once.", capsOnDish: 3 })].filter(
          isWithin,
        ),
      };
    }),
    unreadableDays: 0,
    leftOut: false,
    ...change,
  };
}

function keptOf(days: readonly KeptView[]): KeptView {
  const promised = days.reduce((sum, day) => sum + day.promised, 0);
  const paid = days.reduce((sum, day) => sum + day.paid, 0);
  return {
    ...{ promised, paid, share: promised === 0 ? null : paid / promised, limits: { low: 0.9, high: 0.99 } },
    latencyMs: promised === 0 ? null : { p50: 1_180, p95: 2_640, worst: 4_100 },
  };
}
