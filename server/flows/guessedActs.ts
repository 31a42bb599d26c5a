import type { LoggedAct } from "../contract/feederLog.ts";
import type { AlarmChange } from "../domain/alarmStates.ts";
import { returnedKept, shelvedMax } from "../domain/alarms/lifeCycle.ts";
import type { FaultKind } from "../domain/faults.ts";
import { after, before, days, earlier, type Instant, isoOf, later } from "../domain/instant.ts";
import type { Order } from "../domain/orders/order.ts";
import type { FeederRow, RecordStore, StoredRefill } from "../ports.ts";
import type { RecordLine } from "./recordLine.ts";

/**
 * What a keeper did before acts were recorded, as far as other tables tell: a refill that was told later than it happened
 * stands where it happened; alarms shelved anew keep the first shelving; of settings only those at the end are known.
 */

const window = days(7);
/** A refill may be told so long after it happened that the feeder was not yet here. */
const toldBack = days(30);

/** @param end those from before it, in time order. */
export async function* guessedActs(records: RecordStore, row: FeederRow, end: Instant): AsyncGenerator<RecordLine> {
  const { id, addedAt } = row;
  const alarms = alarmActs(records, row);
  for (let from = before(addedAt, toldBack); from < end; from = after(from, window)) {
    const to = earlier(after(from, window), end);
    const [refills, orders, changes] = await Promise.all([
      records.refills(id, from, to),
      records.orders(id, from, to),
      records.alarmChanges(id, from, to),
    ]);
    const found = [...refills.flatMap(refillAct), ...orders.map(orderAct), ...(await alarms(changes))];
    found.sort((a, b) => a.at - b.at);
    for (const { at, act } of found) yield { at: later(at, addedAt), said: { keeper: act } };
  }
}

interface Act {
  readonly at: Instant;
  readonly act: LoggedAct;
}

/** What scale and feeder told comes out of the reports by itself. */
function refillAct({ at, grams, source, by, toldAt }: StoredRefill): Act[] {
  if (toldAt !== null) return []; // told since acts are recorded, and told there
  if (source !== "told" && source !== "level") return [];
  const said = by === null ? {} : { by };
  if (grams === null) return [{ at, act: { ...said, refill: { filled: true } } }];
  return [{ at, act: { ...said, refill: source === "level" ? { levelGrams: grams } : { grams } } }];
}

function orderAct({ id, kind, until, askedAt: at, askedBy: by }: Order): Act {
  if (kind === "resume") return { at, act: { by, resume: { id } } };
  return { at, act: { by, pause: { id, until: until === null ? null : isoOf(until) } } };
}

/** Acknowledging and shelving are not kept as such; the arrows that alarms took by them are. Nobody knows any more by whom. */
function alarmActs(records: RecordStore, row: FeederRow): (changes: readonly AlarmChange[]) => Promise<readonly Act[]> {
  const returnedAt = new Map<FaultKind, Instant>();
  return async (changes) => {
    const found: Act[] = [];
    for (const { fault, from, to, at } of changes) {
      if (from === to) continue; // the fault came or went, and nobody did anything
      if (to === "returnedUnacknowledged") returnedAt.set(fault, at);
      const forgotten = after(returnedAt.get(fault) ?? at, returnedKept);
      const seen = from === "unacknowledged" && to === "acknowledged";
      const seenAfterwards = from === "returnedUnacknowledged" && to === "normal" && at < forgotten;
      if (seen || seenAfterwards) found.push({ at, act: { acknowledge: { fault } } });
      if (to === "shelved") {
        found.push({ at, act: { shelve: { fault, until: isoOf(await shelfEnd(records, row, fault, at)) } } });
      }
    }
    return found;
  };
}

/** When it came off the shelf or, where it still lies there, when it will. */
async function shelfEnd(
  records: RecordStore,
  { id, state }: FeederRow,
  fault: FaultKind,
  at: Instant,
): Promise<Instant> {
  const longest = after(at, shelvedMax);
  const changes = await records.alarmChanges(id, at, after(longest, days(1)));
  const left = changes.find((change) => change.fault === fault && change.from === "shelved");
  if (left) return left.at;
  const standing = state.alarms[fault];
  return standing?.phase === "shelved" ? standing.shelvedUntil : longest;
}
