import { hours } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";

/** A notification as an alarm makes it, with the differences that a test needs. */
export const notificationFixture = (different: Partial<NotificationContent> = {}): NotificationContent => ({
  fault: "foodLow",
  priority: "soon",
  title: "Rowan: food low",
  body: "About 90 g left, enough until Thursday.",
  topic: "alarm-foodLow-rowan",
  timeToLive: hours(12),
  silent: false,
  ...different,
});
