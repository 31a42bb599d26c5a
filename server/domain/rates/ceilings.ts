import { hours, minutes } from "../instant.ts";

/**
 * The standard's figures for an alarm system's own health. They are meant for a person who sits before a console all day, so
 * for a phone they are ceilings far above what is bearable. All are averages, written with "about".
 * Source: ANSI/ISA-18.2-2016 clause 16, IEC 62682:2014, EEMUA 191. `status` says how far we have seen it ourselves.
 */
export interface Figure {
  readonly source: string;
  readonly status: "from memory" | "seen in a public copy" | "ours";
}

const standard = "ANSI/ISA-18.2-2016, clause 16; IEC 62682:2014; EEMUA 191";
const fromMemory = { source: standard, status: "from memory" } as const satisfies Figure;
const seen = { source: standard, status: "seen in a public copy" } as const satisfies Figure;

/** Alarms: `acceptable` is "very likely acceptable", `most` is "maximum manageable". (2009 said 150 and 300: the same, rounded.) */
export const loadCeilings = {
  perDay: { acceptable: 144, most: 288, ...fromMemory },
  perHour: { acceptable: 6, most: 12, ...fromMemory },
  perTenMinutes: { acceptable: 1, most: 2, ...fromMemory },
  worstTenMinutes: { most: 10, ...fromMemory },
  /** Shares of periods with more than `over` alarms. */
  busyTenMinutes: { over: 10, most: 0.01, ...fromMemory },
  busyHours: { over: 30, most: 0.01, ...fromMemory },
} as const;

export const floodRule = {
  within: minutes(10),
  beginsAbove: 10,
  endsBelow: 5,
  mostOfTime: 0.01,
  ...fromMemory,
} as const;

export const chatterRule = { comings: 3, within: minutes(1), most: 0, ...seen } as const;

/** "Short, and not repeated at once": two minutes, that is the next look or the one after. The length is ours. */
export const fleetingRule = { within: minutes(2), most: 0, ...fromMemory } as const;

export const staleRule = {
  after: hours(24),
  ...seen,
  mostOnADay: { below: 5, source: standard, status: "from memory" },
} as const;

/** The ten most frequent together: 1 to 5 per cent of all. On a yard with a handful of alarms a month no top ten can keep that. */
export const topTenRule = { most: 0.05, ...fromMemory } as const;

/**
 * Of three levels. Ours are two, since what would be the low one asks for no act and is no alarm: it goes to the digest. So
 * neither share can be met, and both are shown beside the standard's for whoever wants to compare.
 */
export const priorityShares = { low: 0.8, medium: 0.15, high: 0.05, ...seen } as const;

/** What a phone in a pocket bears: design, "at most one alarm a week per feeder". */
export const phoneCeiling = {
  perFeederWeek: 1,
  source: "Pieward's design",
  status: "ours",
} as const satisfies Figure & {
  perFeederWeek: number;
};

/** The standard judges over a month at least. */
export const daysWanted = 30;
