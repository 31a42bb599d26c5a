import { readReport } from "../../contract/readReport.ts";
import type { PaymentEvent } from "../../domain/digest/paymentEvent.ts";
import type { EventContent } from "../../domain/report.ts";
import type { RecordedEvent, TimeSpan } from "../../ports.ts";

/** Stored deposits and portions as pay is told by; `paused`: when nobody was promised anything. */
export const paymentEvents = (events: readonly RecordedEvent[], paused: readonly TimeSpan[]): readonly PaymentEvent[] =>
  events.flatMap((event): PaymentEvent[] => {
    const said = eventContentOf(event);
    const at = event.recordedAt;
    if (said?.kind === "deposit") {
      const isPaused = paused.some(({ from, to }) => from <= at && at < to);
      return [{ kind: "deposit", of: `${event.boot} ${event.seq}`, at, expectsPortion: said.metal !== false && !isPaused }];
    }
    if (said?.kind !== "portion") return [];
    return [
      {
        kind: "portion",
        at,
        paysFor: said.paysFor === null ? null : `${event.boot} ${said.paysFor}`,
        forDeposit: said.cause === "deposit",
        fell: said.motorRan !== 0 && said.chuteCount !== 0 && said.cutShort !== true,
      },
    ];
  });

/** Read as it was when it came in; null where an earlier version kept what this one can't read. */
function eventContentOf({ boot, body }: RecordedEvent): EventContent | null {
  const read = readReport({ boot, sentUptimeMs: null, events: [JSON.parse(body)] });
  return read.kind === "read" ? (read.report.events[0]?.content ?? null) : null;
}
