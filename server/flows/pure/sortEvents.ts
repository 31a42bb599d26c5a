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
 * Exactly once: which of a report's events are new, and of which start of its feeder they are. In most cases the clocks show it;
 * where several starts use one boot id, the events themselves decide.
 */
export type SortResult =
  | {
      readonly kind: "sorted";
      /** The boot id with the number of the start that the report is of. */
      readonly boot: string;
      readonly newEvents: readonly PostedEvent[]; // by seq
      readonly duplicates: number;
      readonly refused: readonly Refusal[];
      /** Numbers of events that are not stored, and are to be sent again. */
      readonly unstored: readonly number[];
      /** What is stored of this boot id, where it was read. */
      readonly recalledBoots: readonly StoredBoot[];
    }
  | Unclear;

interface Unclear {
  readonly kind: "unclear";
  readonly uptimeBefore: Span | null;
}

export type NumberedReport = Pick<PostedReport, "boot" | "sentUptime" | "events">;
type KnownNumbers = Pick<FeederState, "clock" | "eventSequence">;

/** The stored events of one feeder. */
export interface StoredRecord {
  /** What is stored of these numbers under a numbered boot id. */
  read(boot: string, seqs: readonly number[]): Promise<StoredBodies>;
  /** Every start with this boot id of which events are stored. */
  bootsOf(label: string): Promise<readonly StoredBoot[]>;
}

/** Most reports continue with the newest numbers of a boot id that was used once: then nothing is read. */
export async function sortEvents(
  known: KnownNumbers,
  report: NumberedReport,
  receivedAt: Instant,
  { read, bootsOf }: StoredRecord,
): Promise<SortResult> {
  const { boot: label, sentUptime, events } = report;
  const recalledBoots = isSurelyRemembered(known, report, receivedAt) ? [] : await bootsOf(label);
  const { clock, eventSequence } = mergeStoredBoots(known, recalledBoots);
  const bootNumbers = knownBootNumbers(clock, eventSequence, label);
  const decision = bootByClock(clock, label, bootNumbers, sentUptime, receivedAt);
  const candidates = { bootNumbers, decision, eventSequence };
  const placed = continuesOnlyBoot(candidates, report)
    ? { kind: "placed" as const, boot: numberedBoot(label, 1), newEvents: events, refused: [] }
    : await placeByStoredEvents(candidates, report, receivedAt, read);
  if (placed.kind === "unclear") return placed;
  const { boot, newEvents, refused } = placed;
  return {
    kind: "sorted",
    boot,
    newEvents: bySeq(newEvents),
    duplicates: events.length - newEvents.length - refused.length,
    refused,
    unstored: refused.map(({ seq }) => seq as number),
    recalledBoots,
  };
}

/** The starts of which a report may be. */
interface BootCandidates {
  readonly bootNumbers: readonly number[]; // newest first
  readonly decision: BootByClock;
  readonly eventSequence: EventSequence;
}

function continuesOnlyBoot(
  { bootNumbers, decision, eventSequence }: BootCandidates,
  { boot, events }: NumberedReport,
): boolean {
  const isKnown = decision.kind === "known" || decision.kind === "fromEarlierBoot";
  const isOnlyBoot = bootNumbers.length === 1 && bootNumbers[0] === 1;
  return isKnown && isOnlyBoot && areSurelyNew(eventSequence, numberedBoot(boot, 1), events);
}

interface PlacedEvents {
  readonly kind: "placed";
  readonly boot: string;
  readonly newEvents: readonly PostedEvent[];
  readonly refused: readonly Refusal[];
}

async function placeByStoredEvents(
  { bootNumbers, decision, eventSequence }: BootCandidates,
  { boot: label, sentUptime, events }: NumberedReport,
  receivedAt: Instant,
  read: StoredRecord["read"],
): Promise<PlacedEvents | Unclear> {
  const seqs = [...new Set(events.map(({ seq }) => seq))];
  const stored = new Map<number, StoredBodies>();
  for (const bootNumber of bootNumbers) stored.set(bootNumber, await read(numberedBoot(label, bootNumber), seqs));

  const momentOf = sentUptime === null ? null : momentsByUptime(sentUptime, receivedAt);
  const unstored = events.filter((event) => ![...stored.values()].some((bodies) => isRepeat(event, bodies, momentOf)));
  const { distinct, refused } = removeDuplicates(unstored);
  const isOfKnownStart = events.length > unstored.length || isContinued(eventSequence, label, decision, distinct);
  const fits = (bootNumber: number) => fitsInto(stored.get(bootNumber), distinct);
  const chosen = chooseBoot(decision, bootNumbers, fits, isOfKnownStart);
  switch (chosen.kind) {
    case "unclear":
      return { kind: "unclear", uptimeBefore: uptimeOf(decision) };
    case "known": {
      const bodies = stored.get(chosen.bootNumber);
      const newEvents = distinct.filter(({ seq }) => !bodies?.has(seq));
      return { kind: "placed", boot: numberedBoot(label, chosen.bootNumber), newEvents, refused };
    }
    case "new": {
      const placed = await placeInNewBoot(label, bootNumbers, distinct, momentOf, read);
      return placed === null ? { kind: "unclear", uptimeBefore: null } : { kind: "placed", ...placed, refused };
    }
  }
}

/** Whether the state is enough to judge the report. It has only the newest boots, so anything else is read from the store. */
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

/** Of two events with one number in one report the first is taken. The other must be sent again. */
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

type MomentOf = ((uptime: Span) => Instant) | null; // null where the events are from an earlier boot

const momentsByUptime =
  (sentUptime: Span, receivedAt: Instant) =>
  (uptime: Span): Instant =>
    before(receivedAt, (sentUptime - uptime) as Span);

/**
 * The same number and the same body are the same event, if it happened at about the same time. Two starts that report the same
 * body, to the millisecond of uptime, within ten minutes, can't be distinguished and count as one.
 */
function isRepeat({ seq, uptime, body }: PostedEvent, stored: StoredBodies, momentOf: MomentOf): boolean {
  const known = stored.get(seq);
  if (known === undefined || known.body !== JSON.stringify(body)) return false;
  return momentOf === null || Math.abs(momentOf(uptime) - known.recordedAt) <= transitTimeMax;
}

/** Whether new events continue directly after the numbers of the start that the report may be of. */
function isContinued(
  sequence: EventSequence,
  label: string,
  decision: BootByClock,
  events: readonly PostedEvent[],
): boolean {
  if (decision.kind !== "newUnlessContinued" || events.length === 0) return false;
  const highest = highestStoredSeq(sequence, numberedBoot(label, decision.bootNumber)) ?? 0;
  return highest > 0 && Math.min(...events.map(({ seq }) => seq)) === highest + 1;
}

type ChosenBoot =
  | { readonly kind: "known"; readonly bootNumber: number }
  | { readonly kind: "new" }
  | { readonly kind: "unclear" };

/** Whether none of these events, which repeat nothing, has the number of another stored event. */
const fitsInto = (stored: StoredBodies | undefined, events: readonly PostedEvent[]): boolean =>
  events.every(({ seq, body }) => {
    const known = stored?.get(seq);
    return known === undefined || known.body === JSON.stringify(body);
  });

/** @param isOfKnownStart whether an event repeats a stored one, or the new ones continue the numbers of a known start. */
function chooseBoot(
  decision: BootByClock,
  bootNumbers: readonly number[],
  fits: (bootNumber: number) => boolean,
  isOfKnownStart: boolean,
): ChosenBoot {
  switch (decision.kind) {
    case "new":
    case "unclear":
      return { kind: decision.kind };
    case "newUnlessRepeated":
    case "newUnlessContinued":
      return isOfKnownStart && fits(decision.bootNumber)
        ? { kind: "known", bootNumber: decision.bootNumber }
        : { kind: "new" };
    case "fromEarlierBoot": {
      const bootNumber = bootNumbers.find(fits);
      return bootNumber === undefined ? { kind: "new" } : { kind: "known", bootNumber };
    }
    case "known":
      if (fits(decision.bootNumber)) return { kind: "known", bootNumber: decision.bootNumber };
      // Another event under the same number is of another start, whatever the clocks say of the newest one.
      return decision.bootNumber === bootNumbers[0] ? { kind: "new" } : { kind: "unclear" };
  }
}

const uptimeOf = (decision: BootByClock): Span | null => (decision.kind === "unclear" ? decision.uptimeBefore : null);

/** Starts that the state has forgotten are looked up in the store, so that no number is given twice. */
const startsTriedMax = 100;

async function placeInNewBoot(
  label: string,
  [newest = 1]: readonly number[],
  events: readonly PostedEvent[],
  momentOf: MomentOf,
  read: StoredRecord["read"],
): Promise<Pick<PlacedEvents, "boot" | "newEvents"> | null> {
  let newEvents = events;
  for (let bootNumber = newest + 1; bootNumber <= newest + startsTriedMax; bootNumber += 1) {
    const boot = numberedBoot(label, bootNumber);
    const stored = await read(
      boot,
      newEvents.map(({ seq }) => seq),
    );
    newEvents = newEvents.filter((event) => !isRepeat(event, stored, momentOf));
    if (!newEvents.some(({ seq }) => stored.has(seq))) return { boot, newEvents };
  }
  return null;
}

const bySeq = (events: readonly PostedEvent[]) => [...events].sort((a, b) => a.seq - b.seq);
