import { notificationEmail } from "../domain/email/notificationEmail.ts";
import { after, before as ago, days, type Instant, later, type Span, seconds } from "../domain/instant.ts";
import type { NotificationContent } from "../domain/notification/content.ts";
import type { PushOutcome, Settlement } from "../domain/push/outcome.ts";
import { pageAddress } from "../domain/push/payload.ts";
import { withRemainingTime } from "../domain/push/pushOptions.ts";
import { settlementOf } from "../domain/push/retry.ts";
import type {
  Channel,
  Clock,
  EmailGateway,
  EmailItem,
  LiveFeed,
  OutboxItem,
  OutboxStore,
  Phone,
  Ports,
  PushGateway,
  PushItem,
} from "../ports.ts";
import { texts } from "../text/index.ts";
import { createDeliveryScheduler, type DeliveryScheduler } from "./deliveryScheduler.ts";

export interface OutboxPorts {
  readonly clock: Clock;
  readonly store: { readonly outbox: OutboxStore };
  readonly push: PushGateway;
  readonly email: EmailGateway;
  /** Notifies a person's open pages that a phone of theirs is gone; left out where there are no pages. */
  readonly liveFeed?: Pick<LiveFeed, "announcePhones">;
}

export interface OutboxLimits {
  /** Where keepers reach this server, for the links in e-mails; null where it isn't known. */
  readonly publicUrl: string | null;
  /** The longest that one delivery may take, from beginning to end. */
  readonly attemptMax: Readonly<Record<Channel, Span>>;
  /** How long after its claim a delivery may begin at the latest; after that it is left to the next claim. */
  readonly queueMax: Span;
  /** Items claimed at a time. */
  readonly most: number;
  /** 0..1 for each failed attempt, so that phones that failed together don't come back together. */
  readonly jitter: () => number;
  readonly log: FlowLog;
  /** Shared by all rounds of one process; a new one where it is left out. */
  readonly scheduler?: DeliveryScheduler;
  /** After a commit in which it became known that something reached nobody. */
  readonly onLost?: () => Promise<unknown>;
  /** The path of a picture for a push, as it is there when the push is sent; left out: none has one. */
  readonly imageOf?: (item: PushItem) => Promise<string | null>;
}

/** For errors, each logged by name. A pino logger is one. */
export interface FlowLog {
  error(details: { readonly err: unknown; readonly [about: string]: unknown }, text: string): void;
}

export interface DrainResult {
  readonly delivered: number;
  readonly waiting: number; // put off for another attempt
  readonly givenUp: number;
  readonly phonesGone: number;
  readonly nextDueAt: Instant | null; // when to drain again at the latest; null while nothing waits
}

/**
 * Delivers all that is due and settles each item by the answer of its service. Several calls, also of several processes, may run
 * at the same time: a claimed item belongs to one of them.
 *
 * After a crash between sending and settling, the notification is sent again once the claim has run out. Twice is better than not
 * at all, and the second replaces the first on the screen. The same holds where the store can't settle.
 */
export async function drainOutbox(ports: OutboxPorts, limits: OutboxLimits): Promise<DrainResult> {
  const ended: Record<Settlement["kind"], number> = { delivered: 0, retry: 0, givenUp: 0, phoneGone: 0 };
  const scheduler = limits.scheduler ?? createDeliveryScheduler();
  // In parallel: a slow mail server delays no phone. All are settled before an error is thrown, so that a stop waits for both.
  const rounds = await Promise.allSettled(
    channels.map((channel) =>
      drainChannel(ports, limits, scheduler, channel, ({ kind }) => {
        ended[kind] += 1;
      }),
    ),
  );
  for (const round of rounds) if (round.status === "rejected") throw round.reason;
  return {
    delivered: ended.delivered,
    waiting: ended.retry,
    givenUp: ended.givenUp,
    phonesGone: ended.phoneGone,
    nextDueAt: await nextDrainAt(ports, scheduler),
  };
}

/**
 * While all capacity is in use, what is due begins when some is free. Another process may hold that claim, so the outbox is drained
 * again after a second even so; a second, so that it isn't drained without pause.
 */
async function nextDrainAt({ store, clock }: OutboxPorts, scheduler: DeliveryScheduler): Promise<Instant | null> {
  const due = await store.outbox.nextDueAt();
  return due === null || !scheduler.isBusy ? due : later(due, after(clock.now(), seconds(1)));
}

/** How long the store may need to settle: it tries again for about two seconds while another process holds the lock. */
const settleMax = seconds(5);

const channels: readonly Channel[] = ["push", "email"];

async function drainChannel(
  ports: OutboxPorts,
  limits: OutboxLimits,
  scheduler: DeliveryScheduler,
  channel: Channel,
  ended: (settlement: Settlement) => void,
): Promise<void> {
  const underWay = new Set<Promise<void>>();
  const begin = (item: OutboxItem, beginBy: Instant) => {
    const leave = scheduler.begin(item);
    const delivery = deliver(ports, limits, item, beginBy, leave)
      .then((settlement) => {
        if (settlement !== null) ended(settlement);
      })
      .finally(() => underWay.delete(delivery));
    underWay.add(delivery);
  };
  const claim = () =>
    scheduler.claimInOrder(async () => {
      const now = ports.clock.now();
      const beginBy = after(now, limits.queueMax);
      // A claim outlasts all that is done under it, or another process would send the same again.
      const claimUntil = after(beginBy, (limits.attemptMax[channel] + settleMax) as Span);
      const { outbox } = ports.store;
      const claimed = await outbox.claim(channel, now, claimUntil, limits.most, scheduler.capacityOf(channel));
      for (const item of claimed) begin(item, beginBy);
      return claimed;
    });
  try {
    for (;;) {
      if ((await claim()).length === limits.most) continue;
      if (underWay.size === 0) return;
      await Promise.race(underWay); // the first that ends makes room for the next
    }
  } finally {
    await Promise.allSettled(underWay); // also where a claim failed: a stop waits for what is under way
  }
}

/** @returns how it ended; null where it is left to whoever claims it next */
async function deliver(
  ports: OutboxPorts,
  limits: OutboxLimits,
  item: OutboxItem,
  beginBy: Instant,
  leave: (answered: boolean | null) => void,
): Promise<Settlement | null> {
  const begun = ports.clock.now();
  let answered: boolean | null = null;
  try {
    if (begun > beginBy) return null; // the claim took long: before this ended another process might claim the item
    const attempt = await attemptDelivery(ports, limits, item, begun);
    answered = attempt.answered;
    return await settle(ports, limits, item, attempt.settlement);
  } finally {
    leave(answered);
  }
}

interface Attempt {
  readonly settlement: Settlement;
  /** Whether the service answered; null where nothing was sent, or the service refused. */
  readonly answered: boolean | null;
}

async function attemptDelivery(
  { clock, push, email }: OutboxPorts,
  limits: OutboxLimits,
  item: OutboxItem,
  begun: Instant,
): Promise<Attempt> {
  const { jitter, log, publicUrl } = limits;
  const content = withRemainingTime(item.content, item.writtenAt, begun);
  if (content === null) {
    return { settlement: { kind: "givenUp", at: begun, problem: texts.delivery.tooOld }, answered: null };
  }
  const sent =
    item.channel === "push"
      ? push.send(item.phone, item.feeder, await withImage(limits, item, content), begun, item.id)
      : sendEmail(email, item, content, publicUrl);
  const outcome = await sent.catch((err: unknown): PushOutcome => {
    log.error({ err, ...logDetails(item) }, "a delivery failed in a way that no service can answer");
    return { kind: "tryLater", notBefore: null, text: texts.delivery.internalError, noAnswer: true };
  });
  const { attempts, writtenAt } = item;
  const { timeToLive } = item.content;
  return {
    settlement: settlementOf(outcome, { attempts, writtenAt, timeToLive, jitter: jitter() }, clock.now()),
    answered: outcome.kind === "refused" ? null : !(outcome.kind === "tryLater" && outcome.noAnswer === true),
  };
}

/** A picture is an extra: without it the push is sent all the same. */
async function withImage({ imageOf, log }: OutboxLimits, item: PushItem, content: NotificationContent) {
  try {
    const image = (await imageOf?.(item)) ?? null;
    return image === null ? content : { ...content, image };
  } catch (err) {
    log.error({ err, ...logDetails(item) }, "the picture of a push could not be looked up; it is sent without one");
    return content;
  }
}

/** @returns null where the store could not settle it: another claim then makes the delivery again */
async function settle(
  { store, liveFeed }: OutboxPorts,
  { log, onLost }: OutboxLimits,
  item: OutboxItem,
  settlement: Settlement,
): Promise<Settlement | null> {
  try {
    await store.outbox.settle(item, settlement);
  } catch (err) {
    log.error({ err, ...logDetails(item), settlement }, "a delivery could not be settled and will be made again");
    return null;
  }
  if (settlement.kind === "phoneGone") liveFeed?.announcePhones(item.person);
  if (settlement.kind === "phoneGone" || settlement.kind === "givenUp") {
    await onLost?.().catch((err: unknown) => {
      log.error(
        { err, ...logDetails(item) },
        "a delivery reached nobody, and what must follow failed; the next check does it",
      );
    });
  }
  return settlement;
}

const logDetails = ({ id, channel, person, content }: OutboxItem) => ({
  item: id,
  channel,
  person,
  topic: content.topic,
});

/** An e-mail is composed when it is sent, so that it goes to the address that is valid then. */
async function sendEmail(email: EmailGateway, item: EmailItem, content: NotificationContent, publicUrl: string | null) {
  const { to, feeder, yardName, feederName } = item;
  if (to === null) return { kind: "refused", text: texts.delivery.addressRemoved } as const;
  const link = publicUrl === null ? null : pageAddress(feeder, publicUrl, content.link);
  const home = publicUrl === null ? null : publicUrl.replace(/\/+$/, "");
  return email.send(to, notificationEmail(content, { yardName, feederName, link, home }), item.id, item.writtenAt);
}

/**
 * Sends a notification at once to each of these phones, so that a keeper sees whether it works. It isn't tried again. It is an
 * outbox item like any other, so that the phone can return a display receipt; a phone that is gone is removed.
 * @returns the answer of each push service
 */
export async function testPush(
  { clock, store, push, liveFeed }: Pick<OutboxPorts, "clock" | "store" | "push" | "liveFeed">,
  phones: readonly Phone[],
  content: NotificationContent,
  claimFor: Span,
): Promise<readonly { readonly phone: Phone; readonly outcome: PushOutcome }[]> {
  return Promise.all(
    phones.map(async (phone) => {
      if (phone.blockedAt !== null) {
        return { phone, outcome: { kind: "refused", text: texts.delivery.blocked } as const };
      }
      const begun = clock.now();
      const item = await store.outbox.startClaimed(phone, content, begun, after(begun, claimFor));
      const outcome = await push.send(phone, null, content, begun, item.id);
      const now = clock.now();
      const settlement: Settlement =
        outcome.kind === "tryLater"
          ? { kind: "givenUp", at: now, problem: outcome.text }
          : settlementOf(outcome, { ...item, attempts: 0, timeToLive: content.timeToLive, jitter: 0 }, now);
      await store.outbox.settle(item, settlement);
      if (settlement.kind === "phoneGone") liveFeed?.announcePhones(item.person);
      return { phone, outcome };
    }),
  );
}

/**
 * How long settled items, and the ids of client actions, are stored. Our choice: the alarm rates cover thirty whole days and today.
 */
const settledStoredFor = days(32);

/** How long an endpoint that was declared gone is refused. Our choice: browsers that are opened less often are rare. */
const goneStoredFor = days(180);

/** Removes what is of no use any more, so that the database doesn't grow without end. */
export async function pruneOld({ clock, store }: Pick<Ports, "clock" | "store">): Promise<void> {
  const before = ago(clock.now(), settledStoredFor);
  await store.outbox.prune(before);
  await store.keepers.pruneSessions(before);
  await store.keepers.pruneGonePhones(ago(clock.now(), goneStoredFor));
}
