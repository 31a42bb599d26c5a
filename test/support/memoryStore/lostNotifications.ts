import type { Instant } from "../../../server/domain/instant.ts";
import { recordLoss } from "../../../server/domain/notification/deliveryLoss.ts";
import type { Channel } from "../../../server/ports.ts";
import { makeEscalationsDue, yardsOf } from "./people.ts";
import { type Item, rowsWhere, type StoredPhone, type Tables } from "./tables.ts";

/** Escalations that a phone has notifications of. */
export const topicsOf = (tables: Tables, phone: string): readonly string[] => {
  const topics = rowsWhere(tables.items, (item) => item.phone === phone).map(({ content }) => content.topic);
  return [...new Set(topics)].filter((topic) => tables.escalations.has(topic));
};

interface Lost {
  readonly person: string;
  readonly channel: Channel;
  readonly topics: readonly string[];
}

/** Records in the escalations that nothing more to a person arrives, after the item was settled or removed. */
export function markLost(tables: Tables, { person, channel, topics }: Lost, at: Instant): void {
  for (const topic of topics) {
    const stored = tables.escalations.get(topic);
    if (stored === undefined) continue;
    const written = rowsWhere(
      tables.items,
      (item) => item.person === person && item.content.topic === topic && item.channel === channel,
    ).flatMap((item) => (mayArrive(tables, item) ? [item.writtenAt] : []));
    const newestSentAt = written.length === 0 ? null : (Math.max(...written) as Instant);
    const escalation = recordLoss(stored.escalation, { person, channel, newestSentAt }, at);
    if (escalation !== stored.escalation) tables.escalations.set(topic, { ...stored, escalation, nextAt: at });
  }
}

function mayArrive({ phones }: Tables, { phone, status, mayHaveArrived }: Item): boolean {
  const isBlocked = phone !== null && (phones.get(phone)?.blockedAt ?? null) !== null;
  return !isBlocked && (status === "waiting" || status === "delivered" || mayHaveArrived);
}

/** Takes a phone away from its person, who gets none of its notifications any more: the escalations go other ways. */
export function recordLossBy(tables: Tables, { id, keeper }: StoredPhone, now: Instant, takeAway: () => unknown): void {
  const topics = topicsOf(tables, id);
  takeAway();
  markLost(tables, { person: keeper, channel: "push", topics }, now);
  makeEscalationsDue(tables, yardsOf(tables, keeper), now);
}
