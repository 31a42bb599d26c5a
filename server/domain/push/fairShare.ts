import type { NotificationContent } from "../notification/content.ts";

/**
 * Which notifications are sent next, where not all can be at once. Urgent ones go first; then those of the person with the fewest
 * deliveries under way; then those that wait longest. A push service that doesn't answer gets few deliveries at a time, however
 * many wait for it, and all such services together leave the other half to those that answer.
 */

/** A delivery to a push service, or to the mail server, for one person. */
export interface DeliveryTarget {
  readonly person: string;
  /** Origin of the push service, or `mail`. */
  readonly service: string;
}

/** A notification that is due. */
export interface DeliveryCandidate extends DeliveryTarget {
  readonly rank: DeliveryRank;
}

/** 0 goes first. */
export type DeliveryRank = 0 | 1 | 2;

/** The maximum of deliveries under way at a time. */
export interface DeliveryLimits {
  readonly total: number;
  readonly perPerson: number;
  /** To a service that answered the last time. */
  readonly perService: number;
  /** To one that didn't, or that nothing has been sent to yet. */
  readonly perUnanswering: number;
  /** To all of those together. */
  readonly unanswering: number;
}

export interface DeliveryCapacity {
  readonly limits: DeliveryLimits;
  readonly underWay: readonly DeliveryTarget[];
  /** Services that answered the last time. */
  readonly answering: ReadonlySet<string>;
}

/** No limits. */
export const unlimitedCapacity: DeliveryCapacity = {
  limits: {
    total: Number.POSITIVE_INFINITY,
    perPerson: Number.POSITIVE_INFINITY,
    perService: Number.POSITIVE_INFINITY,
    perUnanswering: Number.POSITIVE_INFINITY,
    unanswering: Number.POSITIVE_INFINITY,
  },
  underWay: [],
  answering: new Set(),
};

/** A closing notification has no sound, so it can wait. */
export const rankOf = ({ priority, isClosing }: Pick<NotificationContent, "priority" | "isClosing">): DeliveryRank => {
  if (isClosing === true || priority === "note") return 2;
  return priority === "urgent" ? 0 : 1;
};

/** The origin by RFC 6454: a push service is known by it, whatever the path. */
export const serviceOfEndpoint = (endpoint: string): string =>
  URL.canParse(endpoint) ? new URL(endpoint).origin : endpoint;

/**
 * @param due the longest due first
 * @returns at most `most` of them that may begin now, in the order in which they begin
 */
export function fairShare<T extends DeliveryCandidate>(
  due: readonly T[],
  capacity: DeliveryCapacity,
  most: number,
): readonly T[] {
  const load = deliveryLoad(capacity);
  const queues = queuesOf(due);
  const chosen: T[] = [];
  while (chosen.length < most) {
    let next: Queue<T> | null = null;
    for (const queue of queues) {
      if (queue.at < queue.places.length && load.hasRoom(queue) && (next === null || precedes(queue, next, load))) {
        next = queue;
      }
    }
    if (next === null) break;
    chosen.push(due[placeOf(next)] as T);
    load.add(next);
    next.at += 1;
  }
  return chosen;
}

/** Notifications of one rank for one person at one service, by their places among what is due. */
interface Queue<T extends DeliveryCandidate> extends Pick<T, "rank" | "person" | "service"> {
  readonly places: number[];
  at: number;
}

const placeOf = ({ places, at }: Queue<DeliveryCandidate>): number => places[at] as number;

function queuesOf<T extends DeliveryCandidate>(due: readonly T[]): Iterable<Queue<T>> & readonly Queue<T>[] {
  const queues = new Map<string, Queue<T>>();
  due.forEach(({ rank, person, service }, place) => {
    const key = JSON.stringify([rank, person, service]);
    const queue = queues.get(key);
    if (queue === undefined) queues.set(key, { rank, person, service, places: [place], at: 0 });
    else queue.places.push(place);
  });
  return [...queues.values()];
}

function precedes(one: Queue<DeliveryCandidate>, other: Queue<DeliveryCandidate>, load: DeliveryLoad): boolean {
  const differences = [
    one.rank - other.rank,
    load.ofPerson(one) - load.ofPerson(other),
    load.ofService(one) - load.ofService(other),
    placeOf(one) - placeOf(other),
  ];
  return (differences.find((difference) => difference !== 0) ?? 0) < 0;
}

interface DeliveryLoad {
  ofPerson(of: DeliveryTarget): number;
  ofService(of: DeliveryTarget): number;
  hasRoom(of: DeliveryTarget): boolean;
  add(of: DeliveryTarget): void;
}

function deliveryLoad({ limits, underWay, answering }: DeliveryCapacity): DeliveryLoad {
  const persons = new Map<string, number>();
  const services = new Map<string, number>();
  let [all, unanswering] = [0, 0];
  const load: DeliveryLoad = {
    ofPerson: ({ person }) => persons.get(person) ?? 0,
    ofService: ({ service }) => services.get(service) ?? 0,
    hasRoom(of) {
      if (all >= limits.total || load.ofPerson(of) >= limits.perPerson) return false;
      if (answering.has(of.service)) return load.ofService(of) < limits.perService;
      return load.ofService(of) < limits.perUnanswering && unanswering < limits.unanswering;
    },
    add(of) {
      all += 1;
      persons.set(of.person, load.ofPerson(of) + 1);
      services.set(of.service, load.ofService(of) + 1);
      if (!answering.has(of.service)) unanswering += 1;
    },
  };
  for (const each of underWay) load.add(each);
  return load;
}
