import type { Priority } from "../faults.ts";
import type { Instant } from "../instant.ts";

/** What a feeder's alarms would have caused in a replay: enough to compare two of them over any span within it. */
export interface RingRecord {
  /** By time. */
  readonly rings: readonly Ring[];
  /** By time of `from`. */
  readonly inForce: readonly InForce[];
}

/**
 * A notification with a sound as it first goes out: an alarm that is raised, or whose priority rises. Reminders and the silent
 * corrections of an alarm that comes back soon are none. With the priority `note` it is a line in the digest, and no sound.
 */
export interface Ring {
  readonly feeder: string;
  /** Of the version that replayed, which may know others than this one. */
  readonly fault: string;
  readonly priority: Priority;
  readonly at: Instant;
  /** When its alarm returned to normal; null: it had not by the end of the replay. */
  readonly endedAt: Instant | null;
}

/** An alarm was unacknowledged or acknowledged, and not suppressed, shelved, out of service or over. */
export interface InForce {
  readonly feeder: string;
  readonly fault: string;
  readonly from: Instant;
  readonly to: Instant | null; // null: until the end of the replay
}
