import type { eventSchemas } from "../../../server/contract/report.ts";
import { before, days, type Instant } from "../../../server/domain/instant.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import type { DigestStore, LogLine, LogPacking, RecordedEvent, RecordStore } from "../../../server/ports.ts";
import { usableFeeders, yardsWhere } from "./feeders.ts";
import { eventsIn, reportsOf, stepThrough } from "./log.ts";
import type { Access } from "./memoryDatabase.ts";
import { compareBy, keyOf, type Pack, rowsWhere, type Tables } from "./tables.ts";

const isWithin = (at: Instant, from: Instant, to: Instant): boolean => from <= at && at < to;
const logOf = ({ log }: Tables, feeder: string): readonly LogLine[] => log.get(feeder) ?? [];

export const createRecords = ({ read }: Access): RecordStore => ({
  async events(feeder, from, to, most) {
    return eventsIn(logOf(read(), feeder), from, to).slice(0, most);
  },
  async alarmChanges(feeder, from, to) {
    const changes = read().alarmChanges.get(feeder) ?? [];
    return changes.filter(({ at }) => isWithin(at, from, to)).sort(compareBy(({ at }) => at));
  },
  async latestAlarmChanges(feeders, from, to, most) {
    const changes = [...feeders]
      .sort()
      .flatMap((feeder) =>
        (read().alarmChanges.get(feeder) ?? []).map(({ reason, ...change }) => ({ ...change, feeder })),
      );
    const found = changes.filter(({ at }) => isWithin(at, from, to)).sort(compareBy(({ at }) => at));
    return most === 0 ? [] : found.slice(-most);
  },
  async refills(feeder, from, to) {
    const found = rowsWhere(read().refills, (refill) => refill.feeder === feeder && isWithin(refill.at, from, to));
    return found.sort(compareBy(({ at }) => at));
  },
  async orders(feeder, from, to) {
    const found = rowsWhere(read().orders, (order) => order.feeder === feeder && isWithin(order.requestedAt, from, to));
    return found.sort(compareBy(({ requestedAt }) => requestedAt)).map(({ feeder: _, ...order }) => order);
  },
  async lines(feeder, after, through, most) {
    return logOf(read(), feeder)
      .filter(({ step }) => after < step && step <= through)
      .slice(0, most);
  },
  async thinnedUntil(feeder) {
    const thinned = (read().packs.get(feeder) ?? []).filter(({ isThinned }) => isThinned);
    return thinned.sort(compareBy(({ lastAt }) => lastAt)).at(-1)?.lastAt ?? null;
  },
});

export const createDigests = ({ read }: Access): DigestStore => ({
  async yardsWithDigest() {
    return yardsWhere(read(), ({ digestWanted }) => digestWanted);
  },
  async feedersOf(yard) {
    return usableFeeders(read(), yard);
  },
  async recipientsOf(yard) {
    const members = rowsWhere(read().members, (member) => member.yard === yard);
    return members.sort(compareBy(({ createdAt }) => createdAt)).map(({ person, digestBy }) => ({ person, digestBy }));
  },
  async dayCounts(feeder, spans) {
    return spans.map(({ from, to }) => countsOf(eventsIn(logOf(read(), feeder), from, to)));
  },
  async paymentEvents(feeder, { from, to }, most) {
    const events = eventsIn(logOf(read(), feeder), from, to);
    return events.filter(({ kind }) => kind === "deposit" || kind === "portion").slice(0, most);
  },
  async firstReadings(feeder, spans) {
    return spans.flatMap(({ from, to }) => {
      const received = reportsOf(logOf(read(), feeder)).filter(({ at }) => isWithin(at, from, to));
      const first = received.flatMap(({ at, readings }) =>
        readings === null ? [] : [{ receivedAt: at, readings }],
      )[0];
      return first === undefined ? [] : [first];
    });
  },
  async dates(yard, most) {
    const found = rowsWhere(read().digests, (digest) => digest.yard === yard).map(({ localDate }) => localDate);
    return found.sort().reverse().slice(0, most);
  },
  async digest(yard, localDate) {
    const found = read().digests.get(keyOf(yard, localDate));
    if (found === undefined) return null;
    const { yard: _, ...digest } = found;
    return digest;
  },
});

function countsOf(events: readonly RecordedEvent[]) {
  const count = (kind: keyof typeof eventSchemas) => events.filter((event) => event.kind === kind).length;
  return { visits: count("visit"), presses: count("press"), deposits: count("deposit"), portions: count("portion") };
}

/** Packing changes nothing that can be read here: a pack only says which lines may be thinned. */
export const createPacks = ({ write }: Access): LogPacking => ({
  packNext: (now) =>
    write((tables) => {
      const endedBefore = startOfDay(before(now, days(1)));
      for (const [feeder, lines] of tables.log) {
        const packs = tables.packs.get(feeder) ?? [];
        const rest = lines.filter(({ step }) => step > (packs.at(-1)?.lastStep ?? -1));
        const day = startOfDay(rest[0]?.at ?? endedBefore);
        if (day >= endedBefore) continue;
        tables.packs.set(feeder, [...packs, packOf(rest.filter(({ at }) => startOfDay(at) === day))]);
        return true;
      }
      return false;
    }),
  thinNext: (rawUntil) =>
    write((tables) => {
      for (const [feeder, packs] of tables.packs) {
        const pack = packs.find(({ isThinned, lastAt }) => !isThinned && lastAt < rawUntil);
        if (pack === undefined) continue;
        const steppedTo = stateAfter(tables, feeder, pack);
        const thinned = packs.map((one) => (one === pack ? { ...one, isThinned: true, steppedTo } : one));
        tables.packs.set(feeder, thinned);
        tables.log.set(
          feeder,
          logOf(tables, feeder).flatMap((line) => thinLine(line, pack)),
        );
        return true;
      }
      return false;
    }),
  shrink: async () => false, // there is no file
});

const startOfDay = (at: Instant): Instant => (at - (at % days(1))) as Instant;

function packOf(lines: readonly LogLine[]): Pack {
  const [first, last] = [lines[0], lines.at(-1)];
  if (first === undefined || last === undefined) throw new RangeError("expected lines to pack, got none");
  return { firstStep: first.step, lastStep: last.step, lastAt: last.at, isThinned: false, steppedTo: null };
}

/** A feeder's packs are thinned in order, unless its clock was set back: the one before has its state. */
function stateAfter(tables: Tables, feeder: string, { firstStep, lastStep }: Pack) {
  const before = (tables.packs.get(feeder) ?? []).findLast(({ isThinned }) => isThinned)?.steppedTo ?? null;
  const lines = logOf(tables, feeder).filter(({ step }) => firstStep <= step && step <= lastStep);
  return stepThrough(rebuildState, before, lines).stepped;
}

/** Events and what keepers did stay. */
function thinLine(line: LogLine, { firstStep, lastStep }: Pack): readonly LogLine[] {
  const { step, content } = line;
  if (step < firstStep || step > lastStep || content.kind === "entry") return [line];
  if (content.kind === "check" || content.eventSpan === null) return [];
  return [{ ...line, content: { ...content, readings: null } }];
}
