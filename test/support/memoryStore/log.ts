import { eventInstant } from "../../../server/domain/feederClock.ts";
import type { QuarterRollup } from "../../../server/domain/history/quarterChanges.ts";
import { type Instant, milliseconds } from "../../../server/domain/instant.ts";
import { readRanges } from "../../../server/domain/seqRanges.ts";
import type { StoredBoot } from "../../../server/domain/storedBoots.ts";
import type {
  LogLine,
  RebuildState,
  RecordedEvent,
  ReportLine,
  SteppedState,
  StoredBodies,
} from "../../../server/ports.ts";
import { compareBy } from "./tables.ts";

/** What can be read out of the lines of a feeder's log. */

interface Report extends ReportLine {
  readonly at: Instant;
}

export const reportsOf = (lines: readonly LogLine[]): readonly Report[] =>
  lines.flatMap(({ at, content }) => (content.kind === "report" ? [{ ...content, at }] : []));

/** In order of time and number. */
export const eventsIn = (lines: readonly LogLine[], from: Instant, to: Instant): RecordedEvent[] =>
  reportsOf(lines)
    .flatMap(eventsOf)
    .filter(({ recordedAt }) => from <= recordedAt && recordedAt < to)
    .sort(
      compareBy(
        ({ recordedAt }) => recordedAt,
        ({ seq }) => seq,
      ),
    );

export function bodiesOf(lines: readonly LogLine[], boot: string, seqs: readonly number[]): StoredBodies {
  const events = reportsOf(lines.filter(({ content }) => content.kind === "report" && content.boot === boot)).flatMap(
    eventsOf,
  );
  return new Map(events.filter(({ seq }) => seqs.includes(seq)).map((event) => [event.seq, event]));
}

function eventsOf({ at, boot, bootedAt, events }: Report): RecordedEvent[] {
  const bodies = JSON.parse(events) as { readonly seq: number; readonly kind: string; readonly uptimeMs: number }[];
  return bodies.map((body) => ({
    seq: body.seq,
    boot,
    kind: body.kind,
    recordedAt: eventInstant(bootedAt, milliseconds(body.uptimeMs), at),
    body: JSON.stringify(body),
  }));
}

/** Each boot with its highest number, and the report that brought it. */
export function bootsOf(lines: readonly LogLine[], label: string): readonly StoredBoot[] {
  const newest = new Map<string, StoredBoot>();
  for (const { boot, seqs, sentUptimeMs, at } of reportsOf(lines)) {
    if (seqs === "" || (boot !== label && !boot.startsWith(`${label}#`))) continue;
    const highestSeq = readRanges(seqs).at(-1)?.to ?? 0;
    const anchor = sentUptimeMs === null ? null : { receivedAt: at, uptime: milliseconds(sentUptimeMs) };
    if (highestSeq > (newest.get(boot)?.highestSeq ?? 0)) newest.set(boot, { boot, highestSeq, anchor });
  }
  return [...newest.values()].sort(compareBy(({ boot }) => boot));
}

/** What these lines lead to. A line that can't be taken is left out. */
export function stepThrough(
  rebuild: RebuildState,
  before: SteppedState | null,
  lines: readonly LogLine[],
  onClosed: (closed: readonly QuarterRollup[]) => void = () => undefined,
): { readonly stepped: SteppedState | null; readonly linesLeftOut: number } {
  let [stepped, linesLeftOut] = [before, 0];
  for (const line of lines) {
    try {
      stepped = rebuild(stepped, [line], onClosed);
    } catch {
      linesLeftOut += 1;
    }
  }
  return { stepped, linesLeftOut };
}
