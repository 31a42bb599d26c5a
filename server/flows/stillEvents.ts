import { after, before, type Instant } from "../domain/instant.ts";
import { eventAwaitedFor, paidWithin } from "../domain/pictures/stillSpace.ts";
import type { FoundEvent, Ports, RecordedEvent, StillEvent, StillPayment, StillRow, Store } from "../ports.ts";
import { FeederDamaged, PackDamaged } from "../ports.ts";
import { paymentEvents } from "./pure/paymentEvents.ts";

/** Which event a still belongs to: it may come before the event's report, or hours after it. */

type EventStore = Pick<Store, "transaction" | "stills" | "digests">;

/** Looks for the events of the newest stills that wait for one, and whether their deposits are paid. */
export async function findEvents({ store, clock }: Pick<Ports, "store" | "clock">): Promise<void> {
  const now = clock.now();
  for (const still of await store.stills.openStills(before(now, eventAwaitedFor), openAtOnce))
    await findEvent(store, still, now);
}

/** Each costs some reads of the log, and this is done each minute. */
const openAtOnce = 100;

/** Saves what is known of a still's event, where that is news. A damaged part of the log hides its event until it is repaired. */
export async function findEvent(store: EventStore, still: StillRow, now: Instant): Promise<void> {
  if (still.event === null) return;
  try {
    const found = await storedEvent(store, still.feeder, still.event);
    if (found === null) return;
    const news: FoundEvent = {
      ...{ at: found.recordedAt, eventKind: found.kind },
      payment: found.kind === "deposit" ? await paymentOf(store, still.feeder, found, now) : null,
    };
    const isNews = news.at !== still.at || news.eventKind !== still.eventKind || news.payment !== still.payment;
    if (isNews) await store.stills.saveEvent(still.yard, still.id, news);
  } catch (error) {
    if (!(error instanceof PackDamaged || error instanceof FeederDamaged)) throw error;
  }
}

type Found = Pick<RecordedEvent, "boot" | "seq" | "kind" | "recordedAt">;

/** Where a boot's id was used again, the newest start that has such an event. */
const storedEvent = (store: EventStore, feeder: string, { boot, seq }: StillEvent): Promise<Found | null> =>
  store.transaction(async (tx) => {
    for (const start of [...(await tx.storedBoots(feeder, boot))].reverse()) {
      const event = (await tx.storedEventBodies(feeder, start.boot, [seq])).get(seq);
      if (event === undefined) continue;
      const { kind } = JSON.parse(event.body) as { readonly kind: string };
      return { boot: start.boot, seq, kind, recordedAt: event.recordedAt };
    }
    return null;
  });

/** More than the dispenser of any feeder gives in that time. */
const eventsMax = 2_000;

/** Null while its portion may still come. */
async function paymentOf(
  { digests }: EventStore,
  feeder: string,
  { boot, seq, recordedAt }: Found,
  now: Instant,
): Promise<StillPayment | null> {
  const until = after(recordedAt, paidWithin);
  const events = paymentEvents(await digests.paymentEvents(feeder, { from: recordedAt, to: until }, eventsMax), []);
  const of = `${boot} ${seq}`;
  if (events.some((event) => event.kind === "portion" && event.paysFor === of && event.fell)) return "paid";
  const deposit = events.find((event) => event.kind === "deposit" && event.of === of);
  if (deposit?.kind === "deposit" && !deposit.expectsPortion) return "earnsNothing";
  return now < until ? null : "unpaid";
}
