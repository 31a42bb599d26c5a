import type { FeederView } from "../../server/contract/api.ts";

/** The page's work on notifications that the phone shows. */

/** The data of our notifications; others are left alone. */
interface NotificationData {
  readonly feeder?: string | null;
  readonly fault?: string | null;
  readonly raisedAt?: string | null;
}

/**
 * Whether a notification needs no action any more: its alarm has ended, or somebody has acknowledged it. An alarm that was
 * raised after the views were requested is not judged by them.
 * @param asOf ms since the epoch, the server's clock: when the views were requested
 */
export function isStaleNotification(
  carried: NotificationData | null,
  feeders: readonly FeederView[],
  asOf: number,
): boolean {
  const { feeder: id, fault, raisedAt } = carried ?? {};
  if (typeof fault !== "string" || typeof id !== "string" || typeof raisedAt !== "string") return false;
  if (!(Date.parse(raisedAt) <= asOf)) return false;
  const feeder = feeders.find((each) => each.id === id);
  if (feeder === undefined) return false;
  const alarm = feeder.alarms.find((each) => each.fault === fault);
  return alarm === undefined || !openStates.includes(alarm.state);
}
const openStates: readonly string[] = ["unacknowledged", "latchedUnacknowledged"];

/** Closes the notifications that need no action in the present state of these feeders. */
export async function closeStaleNotifications(feeders: readonly FeederView[], asOf: number): Promise<void> {
  if (document.visibilityState === "hidden") return; // good news stays until the page is visible
  for (const notification of await shownNotifications()) {
    if (isStaleNotification(notification.data as NotificationData | null, feeders, asOf)) notification.close();
  }
}

export async function closeNotifications(tag: string): Promise<void> {
  for (const notification of await shownNotifications({ tag })) notification.close();
}

async function shownNotifications(filter: GetNotificationOptions = {}): Promise<readonly Notification[]> {
  const registration = await ownRegistration();
  return (await registration?.getNotifications?.(filter)) ?? [];
}

/** Plain HTTP has no worker, so there are no notifications and no background sync. */
const ownRegistration = async () =>
  "serviceWorker" in navigator ? await navigator.serviceWorker.getRegistration() : undefined;

/** Asks the browser to let the worker send the queue once there is a connection, also after the page is closed. */
export async function requestSync(): Promise<void> {
  const registration = (await ownRegistration()) as { sync?: { register(tag: string): Promise<void> } } | undefined;
  await registration?.sync?.register("send-what-waits").catch((cause: unknown) => {
    console.warn("No background sync: the queue is sent when Pieward is next opened.", cause);
  });
}
