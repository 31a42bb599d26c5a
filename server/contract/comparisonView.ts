/** What would have rung in a feeder's last days with its present settings, and with the proposed ones. */
export interface SettingsComparisonView {
  readonly requestedFrom: string;
  /** The counts begin here: later than requested where the feeder was added later, or readings were dropped until then. */
  readonly from: string;
  readonly to: string;
  /** The log was replayed from here on, so that what is learnt over weeks was known at `from`. */
  readonly replayedFrom: string;
  /** With what: the feeder's first line, the stored state of that moment, or nothing known in the middle of a long log. */
  readonly begun: "firstLine" | "storedState" | "middle";
  readonly readingsDroppedUntil: string | null; // null: the log has all readings
  /** Whether a part of the log can't be read and is left out. */
  readonly isIncomplete: boolean;
  readonly present: RingCountsView;
  readonly proposed: RingCountsView;
  /** The highest priority first. */
  readonly alarms: readonly ComparedAlarmView[];
  /** The first hundred that only the present settings have, by time, and the first hundred of the proposed ones. */
  readonly onlyPresent: readonly RingView[];
  readonly onlyProposed: readonly RingView[];
  readonly leftOut: number; // of these two lists
}

/** Notifications with a sound by priority; notes come in the digest only. Reminders aren't counted. */
export interface RingCountsView {
  readonly urgent: number;
  readonly soon: number;
  readonly note: number;
}

export interface ComparedAlarmView {
  readonly fault: string;
  readonly title: string;
  readonly priority: "urgent" | "soon" | "note"; // the highest with which it rang
  readonly present: AlarmRingsView;
  readonly proposed: AlarmRingsView;
}

export interface AlarmRingsView extends RingCountsView {
  readonly firstAt: string | null;
  readonly lastAt: string | null;
  readonly hoursInForce: number;
}

export interface RingView {
  readonly fault: string;
  readonly title: string;
  readonly priority: "urgent" | "soon" | "note";
  readonly at: string;
  readonly hours: number | null; // until it ended; null: it had not
}
