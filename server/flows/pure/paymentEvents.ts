import { readReport } from "../../contract/readReport.ts";
import { bootLabel } from "../../domain/bootNumber.ts";
import type { PaymentEvent } from "../../domain/digest/paymentEvent.ts";
import type { EventContent } from "../../domain/report.ts";
import type { RecordedEvent, TimeSpan } from "../../ports.ts";

/** The stored deposits and portions from which payment is computed; a deposit during `paused` expects no portion. */
export const paymentEvents = (events: readonly RecordedEvent[], paused: readonly TimeSpan[]): readonly PaymentEvent[] =>
  events.flatMap((event): PaymentEvent[] => {
    const content = eventContentOf(event);
    const at = event.recordedAt;
    if (content?.kind === "deposit") {
      const isPaused = paused.some(({ from, to }) => from <= at && at < to);
      const expectsPortion = content.metal !== false && content.earns !== false && !isPaused;
      return [
        { kind: "deposit", of: `${event.boot} ${event.seq}`, at, expectsPortion, isPromised: content.earns === true },
      ];
    }
    if (content?.kind !== "portion") return [];
    return [
      {
        kind: "portion",
        at,
        paysFor: content.paysFor === null ? null : `${event.boot} ${content.paysFor}`,
        forDeposit: content.cause === "deposit",
        isOrdered: content.cause === "keeper",
        fell: content.motorRan !== 0 && content.chuteCount !== 0 && content.cutShort !== true,
      },
    ];
  });

/** Read as when it arrived, under the boot id that its feeder has; null where an earlier version stored what this one can't read. */
export function eventContentOf({ boot, body }: Pick<RecordedEvent, "boot" | "body">): EventContent | null {
  const read = readReport({ boot: bootLabel(boot), sentUptimeMs: null, events: [JSON.parse(body)] });
  return read.kind === "read" ? (read.report.events[0]?.content ?? null) : null;
}
