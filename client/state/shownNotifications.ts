import type { FeederView } from "../../server/contract/api.ts";

/** What the page has to do with notices that stand on the phone's screen beside it. */

/** What a notice of ours carries along; anything else on the screen isn't ours to judge. */
interface NotificationData {
  readonly feeder?: string | null;
  readonly fault?: string | null;
  readonly raisedAt?: string | null;
}

/**
 * Whether a notice asks for something that nobody needs to do any more: its alarm is gone, or somebody has acknowledged it.
 * Views and pushes travel by different ways: what was raised after the view was asked for is not judged by it.
 * @param asOf ms since the epoch, the server's clock: when the views were asked for
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

/** Takes the notices away that these feeders, as they are now, don't stand behind any more. */
export async function closeStaleNotifications(feeders: readonly FeederView[], asOf: number): Promise<void> {
  if (document.visibilityState === "hidden") return; // good news that nobody has seen yet stays until somebody looks
  for (const notice of await shownNotifications()) {
    if (isStaleNotification(notice.data as NotificationData | null, feeders, asOf)) notice.close();
  }
}

export async function closeNotifications(tag: string): Promise<void> {
  for (const notice of await shownNotifications({ tag })) notice.close();
}

async function shownNotifications(filter: GetNotificationOptions = {}): Promise<readonly Notification[]> {
  const registration = await ownRegistration();
  return (await registration?.getNotifications?.(filter)) ?? [];
}

/** Over plain HTTP there is no worker, so nothing stands on the screen and nothing can be sent behind the page's back. */
const ownRegistration = async () =>
  "serviceWorker" in navigator ? await navigator.serviceWorker.getRegistration() : undefined;

/** Asks the browser to let the worker send what waits once there is a line, also if the page is closed by then. */
export async function requestSync(): Promise<void> {
  const registration = (await ownRegistration()) as { sync?: { register(tag: string): Promise<void> } } | undefined;
  await registration?.sync?.register("send-what-waits").catch((cause: unknown) => {
    console.warn("No sync was granted: what waits is sent when Pieward is next opened.", cause);
  });
}
