import {
  type DeliveryCapacity,
  type DeliveryLimits,
  type DeliveryTarget,
  serviceOfEndpoint,
} from "../domain/push/fairShare.ts";
import type { Channel, OutboxItem } from "../ports.ts";

/** The deliveries that this process has under way, so that all its rounds share the same limits. */
export interface DeliveryScheduler {
  capacityOf(channel: Channel): DeliveryCapacity;
  /** Runs one claim after the other, each with the capacity that the one before has left. After `close` nothing is claimed. */
  claimInOrder<T>(claim: () => Promise<readonly T[]>): Promise<readonly T[]>;
  /** @returns a function to be called when the delivery has ended; `answered` null: no request was sent */
  begin(item: OutboxItem): (answered: boolean | null) => void;
  readonly isBusy: boolean;
  /** No delivery begins any more; those under way go on. */
  close(): void;
}

/**
 * Our choice: a delivery takes some 100 kB of memory. 32 services would have to hang at once, each for the first time, to delay
 * one that is tried for the first time.
 */
export const defaultDeliveryLimits: Readonly<Record<Channel, DeliveryLimits>> = {
  push: { total: 64, perPerson: 16, perService: 8, perUnanswering: 1, unanswering: 32 },
  email: { total: 4, perPerson: 4, perService: 4, perUnanswering: 1, unanswering: 4 },
};

/** How many services are remembered as answering: each is an origin of a phone's endpoint. */
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
    claimInOrder(claim) {
      const current = last.then(() => (closed ? [] : claim()));
      last = current.catch(() => undefined); // the caller gets the error
      return current;
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
