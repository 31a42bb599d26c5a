import type { FaultKind } from "../../server/domain/faults.ts";
import { ruleOf } from "../../server/domain/faults.ts";
import { needsRefillToday } from "../../server/domain/hopper/hopperFaults.ts";
import { instantOfLocal, localDateOf } from "../../server/domain/localTime.ts";
import { Replay } from "../../server/replay/replay.ts";
import { randomPlot } from "../simulator/plot.ts";
import { feederName, simulatePlot } from "../simulator/simulatePlot.ts";
import { type EvaluationResult, formatNumber, formatTable } from "./report.ts";

/**
 * Healthy years, all causes together: frost comes, food runs low and is refilled, the line loses reports, snow falls, birds sit on
 * the scale. Wanted: at most one pushed alarm a week for each feeder. Once with a keeper who reads the digest at breakfast and
 * refills that evening where it asks, and once with one who never reads it and waits for the alarm.
 */
export function evaluateQuietYear(seeds: readonly number[]): EvaluationResult {
  const reads = quietYears(seeds, true);
  const waits = quietYears(seeds, false);
  return {
    tables: `${reads.tables}\n${waits.tables}`,
    figures: { pushedAWeek: reads.pushedAWeek, pushedAWeekWithoutDigest: waits.pushedAWeek },
  };
}

function quietYears(seeds: readonly number[], readsDigest: boolean) {
  const raised = new Map<FaultKind, number>();
  let weeks = 0;
  const worst: number[] = [];
  for (const seed of seeds) {
    const drawn = randomPlot(seed);
    const line = { ...drawn.line, outagesPerMonth: 0 };
    const keeper = { ...drawn.keeper, refillsBelow: "whenNotified" as const };
    const birds = { ...drawn.birds, trendPerDay: 0 };
    const plot = { ...drawn, days: 365, reportEverySeconds: 300, line, birds, keeper };
    const replay = new Replay({ settings: {}, hourly: false, output: () => undefined });
    const phone = { asksForFood: false };
    const breakfast = { date: "", asks: false };
    for (const { line } of simulatePlot(plot, phone)) {
      replay.take(line);
      const state = replay.stateOf(feederName);
      if (state === null) continue;
      const date = localDateOf(line.at, state.settings.zone);
      if (date !== breakfast.date && line.at >= instantOfLocal(date, "07:30", state.settings.zone)) {
        breakfast.date = date;
        breakfast.asks = readsDigest && needsRefillToday(state.hopper, state.settings, line.at);
      }
      const { foodLow, foodOut } = state.alarms;
      phone.asksForFood = breakfast.asks || [foodLow, foodOut].some((alarm) => alarm?.state === "unacknowledged");
    }
    const { alarms, feederWeeks } = replay.counts.summary() as Summary;
    let here = 0;
    for (const [fault, { raised: count }] of Object.entries(alarms) as [FaultKind, { raised: number }][]) {
      raised.set(fault, (raised.get(fault) ?? 0) + count);
      if (ruleOf(fault).priority !== "note") here += count;
    }
    worst.push(here / feederWeeks);
    weeks += feederWeeks;
  }
  const rows = [...raised]
    .sort((a, b) => b[1] - a[1])
    .map(([fault, count]) => [fault, ruleOf(fault).priority, count, count / weeks] as (string | number)[]);
  const pushed = rows.filter(([, priority]) => priority !== "note").reduce((sum, row) => sum + Number(row[2]), 0);
  const food = rows.filter(([fault]) => fault === "foodLow").reduce((sum, row) => sum + Number(row[2]), 0);
  rows.push(
    ["pushed, but for food low", "", pushed - food, (pushed - food) / weeks],
    ["all that are pushed", "", pushed, pushed / weeks],
    ["the worst feeder", "", "", formatNumber(Math.max(...worst))],
  );
  const tables = formatTable(
    `Quiet: alarms in ${formatNumber(weeks / 52.18)} healthy feeder-years, a keeper who ${readsDigest ? "reads the digest" : "only waits for alarms"}`,
    ["alarm", "priority", "raised", "a feeder-week"],
    rows,
  );
  return { tables, pushedAWeek: pushed / weeks };
}

interface Summary {
  readonly alarms: Readonly<Record<string, { readonly raised: number }>>;
  readonly feederWeeks: number;
}
