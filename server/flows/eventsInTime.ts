import type { Instant } from "../domain/instant.ts";
import type { ReceivedEvent, RecordStore } from "../ports.ts";

const eventsAtOnce = 500;
/** As many boots as a feeder's own record remembers; one that comes back after more is looked up anew. */
const bootsRemembered = 8;

/**
 * Hands out a feeder's events report by report, as they came in. The store keeps them by boot and seq, and has no index by time
 * of receipt (it would slow down every report); feeders send the oldest first, so walking along a boot's numbers meets them in
 * time order too. One that came in late holds up those after it until its own report: they come later then, and none is lost.
 *
 * @returns for a boot and a report's moment, in time order: the events to go with it, as they were posted.
 */
export function eventsInTime(
  records: RecordStore,
  feeder: string,
  until: Instant,
): (boot: string, receivedAt: Instant) => Promise<readonly object[]> {
  const walks = new Map<string, Walk>();
  return async (boot, receivedAt) => {
    const walk = walks.get(boot) ?? { from: receivedAt, afterSeq: 0, ahead: [], index: 0, ended: false };
    walks.delete(boot);
    walks.set(boot, walk); // the one last used stands last
    for (const oldest of walks.keys()) {
      if (walks.size <= bootsRemembered) break;
      walks.delete(oldest);
    }

    const found: object[] = [];
    for (;;) {
      const next = walk.ahead[walk.index];
      if (next !== undefined) {
        if (next.receivedAt > receivedAt) return found;
        found.push(JSON.parse(next.body) as object);
        walk.index += 1;
      } else if (walk.ended) {
        return found;
      } else {
        const of = { feeder, boot, afterSeq: walk.afterSeq };
        walk.ahead = await records.eventsOfBoot(of, { from: walk.from, to: until }, eventsAtOnce);
        walk.index = 0;
        walk.afterSeq = walk.ahead.at(-1)?.seq ?? walk.afterSeq;
        walk.ended = walk.ahead.length < eventsAtOnce;
      }
    }
  };
}

/** Along one boot's numbers, a page of them ahead. */
interface Walk {
  readonly from: Instant;
  afterSeq: number;
  ahead: readonly ReceivedEvent[];
  index: number;
  ended: boolean;
}
