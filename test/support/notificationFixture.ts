import { hours } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";

/** A notice as an alarm would write it, with whatever a test wants different. */
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
