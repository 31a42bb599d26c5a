/**
 * A local day from one solar noon to the next would hide the morning: the ribbon runs from dusk to dusk. The running day goes on
 * to now, its evening included; after midnight that evening opens the next day's ribbon.
 */
export interface DayView {
  readonly feeder: string;
  readonly date: string; // the local date of the daylight in the middle
  readonly from: string;
  readonly to: string;
  readonly extentText: string; // from when to when, in a sentence
  /** The day that runs now, and until when it does: then it is the next one. */
  readonly current: { readonly date: string; readonly until: string };
  /** Contiguous spans from `from` to `to`; without a known place the whole is `unknown`. */
  readonly light: readonly {
    readonly kind: "night" | "twilight" | "day" | "unknown";
    readonly from: string;
    readonly to: string;
  }[];
  readonly marks: readonly DayMark[];
  readonly counts: DayCountsView;
  readonly text: string; // the ribbon in a sentence, for whoever can't see it
}
export interface DayMark {
  readonly kind: "visit" | "press" | "deposit" | "portion" | "refill" | "trouble" | "alarm" | "note";
  readonly at: string;
  readonly detail: string; // text: "paid", "free", "unpaid", "metal", ""
  readonly unpaid?: true; // a deposit without a portion; left out else
}
export interface DayCountsView {
  readonly visits: number;
  readonly presses: number;
  readonly deposits: number;
  readonly portions: number;
  readonly gramsGiven: number | null; // null where the mass of a portion was not entered
}
