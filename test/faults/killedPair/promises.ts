import type { PlanView } from "../../../server/contract/planView.ts";

/** What truly happened, by who did it. */
export interface FeederTruth {
  readonly boots: readonly string[];
  /** When the motor was switched on in this start, in seconds since 1970. */
  runsOf(boot: string): readonly number[];
  readonly orders: ReadonlyMap<string, "pause" | "resume">;
}

interface LoggedEvent {
  readonly seq: number;
  readonly uptimeMs: number;
  readonly kind: string;
  readonly paysFor?: number | null;
  readonly cutShort?: boolean;
  readonly order?: string;
  readonly outcome?: string;
  /** In seconds since 1970, where its report told the feeder's time; else null. */
  readonly at: number | null;
}

interface LoggedReport {
  readonly receivedAt: string;
  readonly report: {
    readonly boot: string;
    readonly sentUptimeMs: number | null;
    readonly events?: readonly Omit<LoggedEvent, "at">[];
  };
}

/** Every event once, in order, dated right; never food while paused; each deposit paid once or told; the plan in force. */
export function problemsOf(log: string, truth: FeederTruth, plan: PlanView) {
  const events = eventsByBoot(log);
  const problems: string[] = [];
  let [runs, cutShort, deposits] = [0, 0, 0];
  let isPaused = false;
  for (const boot of truth.boots) {
    const own = events.get(boot) ?? [];
    const at = truth.runsOf(boot);
    const portions = own.filter(({ kind }) => kind === "portion");
    runs += at.length;
    cutShort += portions.filter((portion) => portion.cutShort).length;
    deposits += own.filter(({ kind }) => kind === "deposit").length;
    const found = [
      ...orderProblems(own),
      ...portionProblems(portions, at),
      ...paymentProblems(own),
      ...timeProblems(portions, at),
    ];
    const paused = pauseProblems(own, isPaused, truth.orders);
    isPaused = paused.isPaused;
    problems.push(...[...found, ...paused.problems].map((problem) => `${boot}: ${problem}`));
  }
  if (plan.confirmedVersion !== plan.version) problems.push("the plan in force is not the server's");
  return { problems, runs, cutShort, deposits };
}

function eventsByBoot(log: string): Map<string, LoggedEvent[]> {
  const events = new Map<string, LoggedEvent[]>();
  for (const line of log.split("\n")) {
    if (!line.includes('"report"')) continue;
    const { receivedAt, report } = JSON.parse(line) as LoggedReport;
    const { boot, sentUptimeMs } = report;
    const own = events.get(boot) ?? [];
    for (const event of report.events ?? []) {
      const age = sentUptimeMs === null ? null : sentUptimeMs - event.uptimeMs;
      own.push({ ...event, at: age === null ? null : (Date.parse(receivedAt) - age) / 1_000 });
    }
    events.set(boot, own);
  }
  return events;
}

const orderProblems = (own: readonly LoggedEvent[]): string[] =>
  own.flatMap(({ seq, kind }, index) =>
    seq === index + 1 ? [] : [`event ${index + 1} is missing, repeated or out of order: there is ${seq} (${kind})`],
  );

function portionProblems(portions: readonly LoggedEvent[], at: readonly number[]): string[] {
  if (portions.length < at.length) return [`${at.length} runs of the motor, but ${portions.length} portions`];
  const more = portions.length - at.length;
  if (more > 1) return [`${portions.length} portions, but ${at.length} runs of the motor`];
  return more === 1 && !portions.at(-1)?.cutShort ? ["a portion that never began is called complete"] : [];
}

function paymentProblems(own: readonly LoggedEvent[]): string[] {
  const paid = own.flatMap(({ kind, paysFor }) => (kind === "portion" && paysFor != null ? [paysFor] : []));
  const acts = new Set(own.flatMap(({ kind, seq }) => (kind === "deposit" || kind === "press" ? [seq] : [])));
  return [
    ...(new Set(paid).size < paid.length ? [`paid twice: ${paid.join(", ")}`] : []),
    ...paid.filter((seq) => !acts.has(seq)).map((seq) => `a portion pays for ${seq}, which is no deposit or press`),
  ];
}

/** To a second, where the feeder's time was told. */
const timeProblems = (portions: readonly LoggedEvent[], runs: readonly number[]): string[] =>
  portions.flatMap(({ at, seq }, index) => {
    const run = runs[index];
    if (at === null || run === undefined || Math.abs(at - run) <= 1) return [];
    return [`portion ${seq} is dated ${(at - run).toFixed(2)} s off`];
  });

function pauseProblems(own: readonly LoggedEvent[], wasPaused: boolean, orders: FeederTruth["orders"]) {
  let isPaused = wasPaused;
  const problems: string[] = [];
  for (const { kind, order, outcome, seq } of own) {
    if (kind === "order" && outcome === "done") isPaused = orders.get(order ?? "") === "pause";
    if (kind === "portion" && isPaused) problems.push(`portion ${seq} while paused`);
  }
  return { problems, isPaused };
}
