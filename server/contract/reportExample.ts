import type { SentPlan } from "./plan.ts";

/** A report as in the documentation, good for pasting: the tests post this very one. */
export const reportExample = {
  boot: "b-7f3a91c2",
  sentUptimeMs: 123_456,
  sentAt: null,
  readings: {
    hopperGrams: 812.4,
    airCelsius: -6.2,
    insideCelsius: -2.1,
    lidCelsius: -8.0,
    humidityPercent: 88,
    supplyVolts: 5.04,
    batteryVolts: 12.31,
    batteryCelsius: -4.0,
    chargeMilliamps: 0,
    signalDbm: -67,
    spooled: 0,
    counts: { button: 41, detector: 12, chute: 53, perch: 88 },
    paused: false,
    planVersion: 7,
  },
  events: [
    { seq: 412, uptimeMs: 121_000, kind: "deposit", metal: true, signal: 0.82, chute: true },
    {
      seq: 413,
      uptimeMs: 121_450,
      kind: "portion",
      cause: "deposit",
      paysFor: 412,
      motorMs: 900,
      meanMilliamps: 240,
      peakMilliamps: 610,
      chuteCount: 3,
      lowestVolts: 4.96,
    },
  ],
};

/** One event of each kind, all of one boot: the tests post them together. */
export const eventExamples = [
  { seq: 1, uptimeMs: 60_000, kind: "visit" },
  { seq: 2, uptimeMs: 61_000, kind: "press" },
  { seq: 3, uptimeMs: 64_000, kind: "deposit", metal: true, signal: 0.82, chute: true },
  {
    seq: 4,
    uptimeMs: 64_450,
    kind: "portion",
    cause: "deposit",
    paysFor: 3,
    motorMs: 900,
    meanMilliamps: 240,
    peakMilliamps: 610,
    chuteCount: 3,
    lowestVolts: 4.96,
  },
  { seq: 5, uptimeMs: 90_000, kind: "lid", open: true },
  { seq: 6, uptimeMs: 95_000, kind: "refill", grams: 400, full: false },
  {
    seq: 7,
    uptimeMs: 110_000,
    kind: "order",
    order: "order-7f3a91c2",
    outcome: "refused",
    problem: "The tray is open.",
  },
  { seq: 8, uptimeMs: 115_000, kind: "trouble", words: "The load cell does not answer." },
] as const;

/** What an earlier boot left behind: history, with no readings of now. */
export const leftBehindExample = {
  boot: "b-11aa22bb",
  sentUptimeMs: null,
  events: [{ seq: 88, uptimeMs: 7_200_000, kind: "press" }],
};

/** One event that can't be read, and one reading that no such sensor can mean. The rest is stored. */
export const partlyRefusedExample = {
  boot: "b-7f3a91c2",
  sentUptimeMs: 200_000,
  readings: { hopperGrams: 806.1, airCelsius: -127 },
  events: [
    { seq: 414, uptimeMs: 181_000, kind: "press" },
    { seq: 415, uptimeMs: 181_400, kind: "portion", cause: "whim" },
  ],
};

export const orderExample = { id: "order-7f3a91c2", kind: "pause", until: null } as const;

/** One day of a plan: free food three times, a press pays each time, and a cap each second time on average. */
export const planExample: SentPlan = {
  version: 3,
  portionsEach: 1,
  frostBelowCelsius: -10,
  paysDepositsOverRation: true,
  days: [
    {
      from: 1_768_431_600,
      to: 1_768_518_000,
      portionsMax: 30,
      free: [32_400, 36_120, 41_280],
      frost: [34_200, 45_000],
    },
  ],
  press: { ratios: [1], betweenSeconds: 2 },
  deposit: { ratios: [1, 3, 2, 2], betweenSeconds: 0 },
};
