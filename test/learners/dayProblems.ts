import { localDateOf } from "../../server/domain/localTime.ts";
import type { FeederEvent, Portion } from "../../server/domain/report.ts";
import type { LivedDay, Site } from "./livedDay.ts";

/**
 * What is wrong with a lived day as a feeder's record: sentences, none where it is sound. Method: each promise of
 * livedDay.ts, one by one.
 */
export function dayProblems(site: Site, { date, events, truth, faults }: LivedDay): readonly string[] {
  const problems: string[] = [];
  const demand = (isKept: boolean, problem: string) => {
    if (!isKept) problems.push(`${date}: ${problem}`);
  };
  const bySeq = new Map(events.map((event) => [event.seq, event]));
  for (const [index, event] of events.entries()) {
    const before = events[index - 1];
    if (before !== undefined) {
      demand(event.seq === before.seq + 1, `seq ${event.seq} after ${before.seq}`);
      demand(event.recordedAt >= before.recordedAt, `seq ${event.seq} is recorded before seq ${before.seq}`);
    }
    demand(Number.isInteger(event.recordedAt), `seq ${event.seq} is recorded between two milliseconds`);
    demand(localDateOf(event.recordedAt, site.zone) === date, `seq ${event.seq} belongs to another day`);
    if (event.kind === "portion") demand(isPaidSoundly(event, bySeq), `seq ${event.seq} doesn't pay as an agent does`);
    if (event.kind === "deposit")
      demand(event.metal === true || event.earns === false, `seq ${event.seq}: a leaf earns`);
    if (event.kind === "visit") demand(site.hasPerch, `seq ${event.seq}: a visit without a perch switch`);
  }
  demand(everyPromiseIsKept(events), "an act that earns has no portion, or two");
  demand(truth.actShare >= 0 && truth.actShare <= 1, `actShare is ${truth.actShare}`);
  demand(truth.expectedBouts >= 0, `expectedBouts is ${truth.expectedBouts}`);
  for (const { kind, from, to } of faults) demand(from < to, `${kind} ends before it begins`);
  return problems;
}

/** A free portion pays nothing; an earned one pays an act that earned it, 0.3 s before at the least. */
function isPaidSoundly(portion: Portion & FeederEvent, bySeq: ReadonlyMap<number, FeederEvent>): boolean {
  const { cause, paysFor, recordedAt } = portion;
  if (cause !== "press" && cause !== "deposit") return paysFor === null;
  const act = paysFor === null ? undefined : bySeq.get(paysFor);
  return act?.kind === cause && act.earns === true && recordedAt - act.recordedAt >= 299;
}

function everyPromiseIsKept(events: readonly FeederEvent[]): boolean {
  const paid = events.flatMap((event) => (event.kind === "portion" && event.paysFor !== null ? [event.paysFor] : []));
  const promised = events.flatMap((event) =>
    (event.kind === "press" || event.kind === "deposit") && event.earns === true ? [event.seq] : [],
  );
  return JSON.stringify(paid.toSorted((a, b) => a - b)) === JSON.stringify(promised);
}
