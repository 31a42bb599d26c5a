import type { MqttMessage, MqttTopic } from "../contract/mqttMessages.ts";
import type { SentOrder } from "../contract/report.ts";
import { after, days, earlier, hours, type Instant, instantOf, isoOf, type Span } from "../domain/instant.ts";
import type { Clock, RetainedContent, RetainedMessages } from "../ports.ts";

/** Without a broker. */
export const noRetainedMessages: RetainedMessages = {
  update: () => undefined,
  isKnown: () => true,
  renew: () => undefined,
  clear: () => undefined,
};

/** @param text empty: the broker forgets what it retains (MQTT 3.1.1, 3.3.1.3). @param expiresIn null: never */
export type PublishRetained = (feeder: string, topic: MqttTopic, text: string, expiresIn: Span | null) => void;

export interface RetainedMessagesOfBroker extends RetainedMessages {
  /** The broker was lost: nobody knows any more what it retains. */
  forgetAll(): void;
}

/**
 * How long a message counts. A server that is gone can't take an order back: after an hour the feeder goes by what it is told next. A
 * plan has its own days, and a version. Both are renewed at half time. Chosen, no source.
 */
const validFor = { orders: hours(1), plan: days(1) };

type Kind = keyof typeof validFor;
const kinds: readonly Kind[] = ["orders", "plan"];

interface Retained {
  readonly content: string | null; // as JSON; null: nothing
  readonly endsAt: Instant | null; // of the content itself; null: it has no end
  readonly until: Instant;
}

/** Publishes only what differs from what the broker has, and nothing while it isn't reached. */
export function createRetainedMessages(
  clock: Clock,
  isConnected: () => boolean,
  publish: PublishRetained,
): RetainedMessagesOfBroker {
  const known = new Map<string, Record<Kind, Retained>>();
  const publishOne = onePublisher(clock, publish);

  return {
    update(feeder, content) {
      if (!isConnected()) return;
      const wanted = contentsOf(content());
      const before = known.get(feeder);
      const retained = kinds.map((kind) => {
        const [text, endsAt] = wanted[kind];
        const isSame = before !== undefined && before[kind].content === text;
        return [kind, isSame ? before[kind] : publishOne(feeder, kind, text, endsAt)] as const;
      });
      known.set(feeder, Object.fromEntries(retained) as Record<Kind, Retained>);
    },
    isKnown: (feeder) => known.has(feeder),
    renew() {
      if (!isConnected()) return;
      for (const [feeder, retained] of known) {
        for (const kind of kinds) {
          const { content, endsAt, until } = retained[kind];
          const isDue = content !== null && until - clock.now() <= validFor[kind] / 2;
          if (isDue) retained[kind] = publishOne(feeder, kind, content, endsAt);
        }
      }
    },
    clear(feeder) {
      known.delete(feeder);
      if (isConnected()) for (const kind of kinds) publish(feeder, kind, "", null);
    },
    forgetAll: () => known.clear(),
  };
}

/** @returns what the broker has from then on */
function onePublisher(clock: Clock, publish: PublishRetained) {
  return (feeder: string, kind: Kind, content: string | null, endsAt: Instant | null): Retained => {
    const now = clock.now();
    const latest = after(now, validFor[kind]);
    const until = endsAt === null ? latest : earlier(latest, endsAt);
    if (content === null || until <= now) {
      publish(feeder, kind, "", null);
      return { content: null, endsAt, until };
    }
    publish(feeder, kind, `{"until":"${isoOf(until)}",${content.slice(1)}`, (until - now) as Span);
    return { content, endsAt, until };
  };
}

type Contents = Record<Kind, readonly [string | null, Instant | null]>;

function contentsOf({ orders, plan }: RetainedContent): Contents {
  const ordersText = orders.length === 0 ? null : JSON.stringify({ orders: [...orders] } satisfies Without<"orders">);
  const planText = plan === undefined ? null : JSON.stringify({ plan } satisfies Without<"plan">);
  return { orders: [ordersText, endOf(orders)], plan: [planText, null] };
}

type Without<Name extends Kind> = Omit<MqttMessage[Name], "until">;

/** The last order counts; a pause may have an end of its own. */
function endOf(orders: readonly SentOrder[]): Instant | null {
  const until = orders.at(-1)?.until ?? null;
  return until === null ? null : instantOf(until);
}
