import type { LoggedAct, LoggedSettings } from "../contract/feederLog.ts";
import { eventsPerReportMax } from "../contract/report.ts";
import { returnedKept, shelvedMax } from "../domain/alarms/lifeCycle.ts";
import type { AlarmChange } from "../domain/facts.ts";
import type { FaultKind } from "../domain/faults.ts";
import { after, before, days, earlier, type Instant, isoOf, later, milliseconds } from "../domain/instant.ts";
import type { Order } from "../domain/orders/order.ts";
import type { FeederRow, RecordStore, StoredHeartbeat, StoredRefill } from "../ports.ts";
import { eventsInTime } from "./eventsInTime.ts";
import { saidOf } from "./pure/saidSettings.ts";

/**
 * A feeder's whole record, in the form that replay reads: JSON, a line each, in time order, the settings first. It is read a
 * page at a time, so that ten years cost no more memory than a day.
 *
 * What the record doesn't hold can't be told: settings as they were before the last change; a refill that was told later than
 * it happened stands where it happened; alarms shelved anew keep the first shelving.
 */
export async function* feederLog(records: RecordStore, row: FeederRow, until: Instant): AsyncGenerator<string> {
  const { zone, place, practice, noticesSensors = false } = row.state.settings;
  const settings: LoggedSettings = { ...saidOf(row.state.settings), zone, place, practice, noticesSensors };
  yield textOf({ at: row.addedAt, said: { settings } }, row.id);
  for await (const line of inTimeOrder(reports(records, row, until), acts(records, row, until))) {
    yield textOf(line, row.id);
  }
}

interface Line {
  readonly at: Instant;
  readonly said: { readonly report: object } | { readonly keeper: LoggedAct } | { readonly settings: LoggedSettings };
}

function textOf({ at, said }: Line, feeder: string): string {
  const when = "report" in said ? { receivedAt: isoOf(at) } : { at: isoOf(at) };
  return `${JSON.stringify({ ...when, feeder, ...said })}\n`;
}

/** Of two at the same moment the first one's: a report was on its way before the keeper's finger came down. */
async function* inTimeOrder(first: AsyncIterator<Line>, second: AsyncIterator<Line>): AsyncGenerator<Line> {
  let [a, b] = [await first.next(), await second.next()];
  for (;;) {
    if (!a.done && (b.done || a.value.at <= b.value.at)) {
      yield a.value;
      a = await first.next();
    } else if (!b.done) {
      yield b.value;
      b = await second.next();
    } else return;
  }
}

// --- reports -------------------------------------------------------------------------------------------------------

const heartbeatsAtOnce = 500;

/** As they were posted: the readings as kept, and with them the events that came in at the same moment. */
async function* reports(records: RecordStore, { id }: FeederRow, until: Instant): AsyncGenerator<Line> {
  const eventsOf = eventsInTime(records, id, until);
  let last: StoredHeartbeat | null = null;
  for (;;) {
    const page: readonly StoredHeartbeat[] = await records.heartbeats(id, last, until, heartbeatsAtOnce);
    for (const { receivedAt: at, boot, sentUptimeMs, readings } of page) {
      const events = await eventsOf(boot, at);
      const rest = { boot, sentUptimeMs, readings: JSON.parse(readings) as object };
      // More than one report may hold can only gather behind an event that came late; then they go on in a second one.
      for (let from = 0; from === 0 || from < events.length; from += eventsPerReportMax) {
        yield { at, said: { report: { ...rest, events: events.slice(from, from + eventsPerReportMax) } } };
      }
    }
    if (page.length < heartbeatsAtOnce) return;
    last = page.at(-1) ?? null;
  }
}

// --- what the keeper did -------------------------------------------------------------------------------------------

const window = days(7);
/** A refill may be told so long after it happened that the feeder was not yet here. */
const toldBack = days(30);

async function* acts(records: RecordStore, row: FeederRow, until: Instant): AsyncGenerator<Line> {
  const { id, addedAt } = row;
  const alarms = alarmActs(records, row);
  const end = after(until, milliseconds(1));
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
function refillAct({ at, grams, source, by }: StoredRefill): Act[] {
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
