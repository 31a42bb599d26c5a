/** The feeding plan as a keeper sees it. Times are ISO 8601 in UTC. */
export interface PlanView {
  /** Null: the keeper has made no plan, and the feeder feeds as its own program has it. */
  readonly version: number | null;
  /** Which version the feeder said last that it follows; null: none, or it never said. */
  readonly confirmedVersion: number | null;
  /** When it said so; null where it never reported. */
  readonly reportedAt: string | null;
  /** Why there are no days; null where there are. */
  readonly problem: string | null;
  readonly portionGrams: number;
  readonly days: readonly PlannedDayView[];
  /** What was planned and given of free food so far today, in a sentence; null where nothing of it is known. */
  readonly todayText: string | null;
  /** What the birds of the season need of a keeper; null: nothing in particular. */
  readonly seasonText: string | null;
}

/** The most that a ration should be, by the birds that a keeper counts. */
export interface RationView {
  readonly grams: number;
  readonly text: string;
}

export interface PlannedDayView {
  readonly date: string; // local, YYYY-MM-DD
  readonly light: "usual" | "polarNight" | "polarDay";
  /** From civil dawn to dusk, at most sixteen hours; null where the sun stays too low. */
  readonly lit: { readonly from: string; readonly to: string } | null;
  /** When free food is given, and how many portions each time. */
  readonly free: readonly string[];
  readonly portionsEach: number;
  /** One portion more each time, if it is colder than the frost floor's limit. */
  readonly frost: readonly string[];
  readonly portionsMax: number;
  /** How much of the usual food this is: less than 1 while feeding is tapered off, and 0 after it. */
  readonly share: number;
  /** The gaps are this long on average, since the ration allows no shorter ones; null: as entered. */
  readonly stretchedMinutes: number | null;
}
