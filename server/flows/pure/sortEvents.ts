import type { PostedEvent, PostedReport } from "../../contract/readReport.ts";
import type { Refusal } from "../../contract/report.ts";
import { type BootByClock, bootByClock, knownBootNumbers, transitTimeMax } from "../../domain/bootByClock.ts";
import { numberedBoot } from "../../domain/bootNumber.ts";
import { type EventSequence, highestStoredSeq } from "../../domain/eventSequence.ts";
import type { FeederState } from "../../domain/feeder.ts";
import { before, type Instant, type Span } from "../../domain/instant.ts";
import { mergeStoredBoots, type StoredBoot } from "../../domain/storedBoots.ts";
import type { StoredBodies } from "../../ports.ts";
import { texts } from "../../text/index.ts";

/**
 * Exactly once: which of a report's events are new, and of which start of its feeder they are. The clocks tell most of it; where a
 * boot id is used by several starts, the events themselves decide.
 */
export type SortResult =
  | {
      readonly kind: "sorted";
      /** The boot id with the life that the report is of. */
      readonly boot: string;
      readonly newEvents: readonly PostedEvent[]; // by seq
      readonly duplicates: number;
      readonly refused: readonly Refusal[];
      /** Numbers of events that are not stored, and are to be sent again. */
      readonly unstored: readonly number[];
      /** What the record says of this boot id, where it was asked. */
      readonly recalledBoots: readonly StoredBoot[];
    }
  | { readonly kind: "unclear"; readonly uptimeBefore: Span | null };

export type NumberedReport = Pick<PostedReport, "boot" | "sentUptime" | "events">;
type KnownNumbers = Pick<FeederState, "clock" | "eventSequence">;

/** The record of one feeder. */
export interface StoredRecord {
  /** What is stored of these numbers under a boot id with its life. */
  read(boot: string, seqs: readonly number[]): Promise<StoredBodies>;
  /** Every life of a boot id of which events are stored. */
  bootsOf(label: string): Promise<readonly StoredBoot[]>;
}

/** By far the most reports go on with the newest numbers of a boot id that was used once: then nothing is read. */
export async function sortEvents(
  known: KnownNumbers,
  report: NumberedReport,
  receivedAt: Instant,
  { read, bootsOf }: StoredRecord,
): Promise<SortResult> {
  const { boot, sentUptime, events } = report;
  const recalled = isSurelyRemembered(known, report, receivedAt) ? [] : await bootsOf(boot);
  const { clock, eventSequence } = mergeStoredBoots(known, recalled);
  const bootNumbers = knownBootNumbers(clock, eventSequence, boot);
  const decision = bootByClock(clock, boot, bootNumbers, sentUptime, receivedAt);
  const first = numberedBoot(boot, 1);
  const isKnown = decision.kind === "known" || decision.kind === "fromEarlierBoot";
  if (isKnown && bootNumbers.length === 1 && bootNumbers[0] === 1 && areSurelyNew(eventSequence, first, events)) {
    return {
      kind: "sorted",
      boot: first,
      newEvents: events,
      duplicates: 0,
      refused: [],
      unstored: [],
      recalledBoots: recalled,
    };
  }
  const seqs = [...new Set(events.map(({ seq }) => seq))];
  const stored = new Map<number, StoredBodies>();
  for (const bootNumber of bootNumbers) stored.set(bootNumber, await read(numberedBoot(boot, bootNumber), seqs));

  const momentOf = sentUptime === null ? null : momentsByUptime(sentUptime, receivedAt);
  const undocumented = events.filter(
    (event) => ![...stored.values()].some((bodies) => isRepeat(event, bodies, momentOf)),
  );
  const { distinct, refused } = removeDuplicates(undocumented);
  const continues = isContinued(eventSequence, boot, decision, distinct);
  const chosen = chooseStart(decision, bootNumbers, (bootNumber) => fitsInto(stored.get(bootNumber), distinct), {
    repeats: events.length > undocumented.length,
    continues,
  });
  if (chosen.kind === "unclear") return { kind: "unclear", uptimeBefore: uptimeOf(decision) };
  const placed =
    chosen.kind === "new"
      ? await asNewStart(boot, bootNumbers, distinct, momentOf, read)
      : {
          boot: numberedBoot(boot, chosen.life),
          fresh: distinct.filter(({ seq }) => !stored.get(chosen.life)?.has(seq)),
        };
  if (placed === null) return { kind: "unclear", uptimeBefore: null };
  const duplicates = events.length - placed.fresh.length - refused.length;
  const unstored = refused.map(({ seq }) => seq as number);
  return {
    kind: "sorted",
    boot: placed.boot,
    newEvents: bySeq(placed.fresh),
    duplicates,
    refused,
    unstored,
    recalledBoots: recalled,
  };
}

/** Whether what is remembered is enough to judge the report. Only the newest boots are, so anything else is looked up. */
function isSurelyRemembered(
  { clock, eventSequence }: KnownNumbers,
  report: NumberedReport,
  receivedAt: Instant,
): boolean {
  const { boot: label, sentUptime, events } = report;
  const bootNumbers = knownBootNumbers(clock, eventSequence, label);
  const newest = numberedBoot(label, bootNumbers[0] ?? 1);
  const highest = highestStoredSeq(eventSequence, newest);
  if (highest === null || !clock.boots.some(({ boot }) => boot === newest)) return false;
  const decision = bootByClock(clock, label, bootNumbers, sentUptime, receivedAt);
  if (decision.kind !== "known" || decision.bootNumber !== bootNumbers[0]) return false;
  return events.length === 0 || (highest > 0 && areSurelyNew(eventSequence, newest, events));
}

function areSurelyNew(sequence: EventSequence, boot: string, events: readonly PostedEvent[]): boolean {
  const highest = highestStoredSeq(sequence, boot);
  return events.every(
    ({ seq }, index) => highest !== null && seq > (index === 0 ? highest : (events[index - 1]?.seq ?? highest)),
  );
}

interface DistinctEvents {
  readonly distinct: readonly PostedEvent[];
  readonly refused: readonly Refusal[];
}

/** Of two events with one number in one report the first is taken. The other has to come again, when it is known to be another. */
function removeDuplicates(events: readonly PostedEvent[]): DistinctEvents {
  const bodies = new Map<number, string>();
  const distinct: PostedEvent[] = [];
  const refused: Refusal[] = [];
  for (const event of events) {
    const { seq, index } = event;
    const body = JSON.stringify(event.body);
    const known = bodies.get(seq);
    if (known === undefined) {
      bodies.set(seq, body);
      distinct.push(event);
    } else if (known !== body) {
      const problem = texts.feederReports.seqTwice(seq);
      refused.push({ seq, field: `events[${index}].seq`, problem });
    }
  }
  return { distinct, refused };
}

type MomentOf = ((uptime: Span) => Instant) | null; // null where an earlier boot left it behind

const momentsByUptime =
  (sentUptime: Span, receivedAt: Instant) =>
  (uptime: Span): Instant =>
    before(receivedAt, (sentUptime - uptime) as Span);

/**
 * The same number and the same body are the same event, if it happened at about the same time. What two starts tell in the very
 * same words, to the millisecond of uptime, and within ten minutes, can't be told apart and counts as one.
 */
function isRepeat({ seq, uptime, body }: PostedEvent, stored: StoredBodies, momentOf: MomentOf): boolean {
  const known = stored.get(seq);
  if (known === undefined || known.body !== JSON.stringify(body)) return false;
  return momentOf === null || Math.abs(momentOf(uptime) - known.recordedAt) <= transitTimeMax;
}

/** Whether new events go on right behind the numbers of the life that the report may be of. */
function isContinued(
  sequence: EventSequence,
  label: string,
  decision: BootByClock,
  left: readonly PostedEvent[],
): boolean {
  if (decision.kind !== "newUnlessContinued" || left.length === 0) return false;
  const highest = highestStoredSeq(sequence, numberedBoot(label, decision.bootNumber)) ?? 0;
  return highest > 0 && Math.min(...left.map(({ seq }) => seq)) === highest + 1;
}

type ChosenStart =
  | { readonly kind: "life"; readonly life: number }
  | { readonly kind: "new" }
  | { readonly kind: "unclear" };

/** Whether these events, which repeat nothing, stand nowhere where another event has their number. */
const fitsInto = (stored: StoredBodies | undefined, left: readonly PostedEvent[]): boolean =>
  left.every(({ seq, body }) => {
    const known = stored?.get(seq);
    return known === undefined || known.body === JSON.stringify(body);
  });

function chooseStart(
  decision: BootByClock,
  bootNumbers: readonly number[],
  fits: (bootNumber: number) => boolean,
  { repeats, continues }: { readonly repeats: boolean; readonly continues: boolean },
): ChosenStart {
  const whereFitting = (bootNumber: number): ChosenStart =>
    fits(bootNumber) ? { kind: "life", life: bootNumber } : { kind: "new" };
  switch (decision.kind) {
    case "new":
      return { kind: "new" };
    case "unclear":
      return { kind: "unclear" };
    case "newUnlessRepeated":
      return repeats ? whereFitting(decision.bootNumber) : { kind: "new" };
    case "newUnlessContinued":
      return continues || repeats ? whereFitting(decision.bootNumber) : { kind: "new" };
    case "fromEarlierBoot": {
      const life = bootNumbers.find(fits);
      return life === undefined ? { kind: "new" } : { kind: "life", life };
    }
    case "known":
      if (fits(decision.bootNumber)) return { kind: "life", life: decision.bootNumber };
      // Another event under the same number is another start's, whatever the clocks say of the newest one.
      return decision.bootNumber === bootNumbers[0] ? { kind: "new" } : { kind: "unclear" };
  }
}

const uptimeOf = (decision: BootByClock): Span | null => (decision.kind === "unclear" ? decision.uptimeBefore : null);

/** Lives that were forgotten since are looked for in the store, so that no number is given twice. */
const startsTriedMax = 100;

async function asNewStart(
  label: string,
  [newest = 1]: readonly number[],
  left: readonly PostedEvent[],
  momentOf: MomentOf,
  read: StoredRecord["read"],
): Promise<{ readonly boot: string; readonly fresh: readonly PostedEvent[] } | null> {
  let fresh = left;
  for (let bootNumber = newest + 1; bootNumber <= newest + startsTriedMax; bootNumber += 1) {
    const boot = numberedBoot(label, bootNumber);
    const stored = await read(
      boot,
      fresh.map(({ seq }) => seq),
    );
    fresh = fresh.filter((event) => !isRepeat(event, stored, momentOf));
    if (!fresh.some(({ seq }) => stored.has(seq))) return { boot, fresh };
  }
  return null;
}

const bySeq = (events: readonly PostedEvent[]) => [...events].sort((a, b) => a.seq - b.seq);
