import { readReport } from "../../contract/readReport.ts";
import type { PaymentEvent } from "../../domain/digest/paymentEvent.ts";
import type { EventContent } from "../../domain/report.ts";
import type { RecordedEvent, TimeSpan } from "../../ports.ts";

/** Stored deposits and portions as pay is told by; `paused`: when nobody was promised anything. */
export const paymentEvents = (events: readonly RecordedEvent[], paused: readonly TimeSpan[]): readonly PaymentEvent[] =>
  events.flatMap((event): PaymentEvent[] => {
    const request = eventContentOf(event);
    const at = event.recordedAt;
    if (request?.kind === "deposit") {
      const isPaused = paused.some(({ from, to }) => from <= at && at < to);
      return [
        { kind: "deposit", of: `${event.boot} ${event.seq}`, at, expectsPortion: request.metal !== false && !isPaused },
      ];
    }
    if (request?.kind !== "portion") return [];
    return [
      {
        kind: "portion",
        at,
        paysFor: request.paysFor === null ? null : `${event.boot} ${request.paysFor}`,
        forDeposit: request.cause === "deposit",
        fell: request.motorRan !== 0 && request.chuteCount !== 0 && request.cutShort !== true,
      },
    ];
  });

/** Read as it was when it came in; null where an earlier version kept what this one can't read. */
function eventContentOf({ boot, body }: RecordedEvent): EventContent | null {
  const read = readReport({ boot, sentUptimeMs: null, events: [JSON.parse(body)] });
  return read.kind === "read" ? (read.report.events[0]?.content ?? null) : null;
}
