import type { PortionsView } from "../contract/api.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import type { RecordStore } from "../ports.ts";
import { eventContentOf } from "./pure/paymentEvents.ts";

/** Enough for a picture as wide as a phone. */
const portionsMax = 200;
/** More than birds cause in two days. */
const eventsMax = 10_000;

/** @throws PackDamaged where a part of the log can't be read */
export async function portionsView(
  records: Pick<RecordStore, "events">,
  feeder: string,
  { from, to }: { readonly from: Instant; readonly to: Instant },
): Promise<PortionsView> {
  const events = await records.events(feeder, from, to, eventsMax);
  const portions = events.flatMap((event) => {
    const content = eventContentOf(event);
    if (content?.kind !== "portion") return [];
    const { cause, chuteCount, meanCurrent } = content;
    return [{ at: isoOf(event.recordedAt), cause, pieces: chuteCount, milliamps: meanCurrent }];
  });
  return { feeder, portions: portions.slice(-portionsMax), isCut: portions.length > portionsMax };
}
