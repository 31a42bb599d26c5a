import {
  type DeliveryCapacity,
  type DeliveryLimits,
  type DeliveryTarget,
  serviceOfEndpoint,
} from "../domain/push/fairShare.ts";
import type { Channel, OutboxItem } from "../ports.ts";

/** What this process has under way, so that all its rounds of delivery share the same limits. */
export interface DeliveryScheduler {
  capacityOf(channel: Channel): DeliveryCapacity;
  /** Runs one claim after the other, each with what the one before has begun. Nothing is claimed once they are closed. */
  claimInTurn<T>(claim: () => Promise<readonly T[]>): Promise<readonly T[]>;
  /** @returns to be called when the exchange has ended; `answered` null: the service wasn't asked */
  begin(item: OutboxItem): (answered: boolean | null) => void;
  readonly isBusy: boolean;
  /** No exchange begins any more; those under way go on. */
  close(): void;
}

/**
 * Our choice: an exchange costs some 100 kB while it lasts, and 32 services would have to hang at once, each for the first
 * time, to delay one that is tried for the first time itself.
 */
export const defaultDeliveryLimits: Readonly<Record<Channel, DeliveryLimits>> = {
  push: { total: 64, perPerson: 16, perService: 8, perUnanswering: 1, unanswering: 32 },
  email: { total: 4, perPerson: 4, perService: 4, perUnanswering: 1, unanswering: 4 },
};

/** Services remembered as answering: each is an origin that a phone was added with. */
const answeringServicesMax = 500;

export function createDeliveryScheduler(
  limits: Readonly<Record<Channel, DeliveryLimits>> = defaultDeliveryLimits,
): DeliveryScheduler {
  const underWay = { push: new Set<DeliveryTarget>(), email: new Set<DeliveryTarget>() };
  const answering = new Set<string>();
  let closed = false;
  let last: Promise<unknown> = Promise.resolve();

  const remember = (service: string, answered: boolean) => {
    answering.delete(service);
    if (answered) answering.add(service);
    for (const oldest of answering) {
      if (answering.size <= answeringServicesMax) break;
      answering.delete(oldest);
    }
  };
  return {
    capacityOf: (channel) => ({ limits: limits[channel], underWay: [...underWay[channel]], answering }),
    claimInTurn(claim) {
      const mine = last.then(() => (closed ? [] : claim()));
      last = mine.catch(() => undefined); // the caller gets the error
      return mine;
    },
    begin(item) {
      const delivery = { person: item.person, service: serviceOf(item) };
      underWay[item.channel].add(delivery);
      return (answered) => {
        underWay[item.channel].delete(delivery);
        if (answered !== null) remember(delivery.service, answered);
      };
    },
    get isBusy() {
      return underWay.push.size + underWay.email.size > 0;
    },
    close() {
      closed = true;
    },
  };
}

const serviceOf = (item: OutboxItem): string =>
  item.channel === "email" ? "email" : serviceOfEndpoint(item.phone.endpoint);
