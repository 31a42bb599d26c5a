import { localDate, shiftDate } from "../../client/text/clock.ts";
import type {
  EarnedFoodView,
  KeptView,
  StageView,
  TrainingDayView,
  TrainingView,
} from "../../server/contract/trainingView.ts";

/** Six weeks of Alder Croft's training record, as the server returns it at a given time: the third stage, and one advice. */

const daysShown = 42;
/** So many days ago each stage began. */
const began = { comeForFood: 45, pressForFood: 32, nudgeCap: 16 } as const;

const each: EarnedFoodView = { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 2 };
const none = { distanceCm: null, capsLaid: null, capsWhere: null, slotOpeningMm: null, gramsEach: null };

function stage(id: StageView["kind"], name: string, meanMinutes: number, share: number): StageView {
  const act = id === "comeForFood" ? null : id === "pressForFood" ? "press" : "deposit";
  return {
    ...{ id, name, kind: id },
    earns: {
      free: { kind: "variableTime", meanMinutes },
      press: act === "press" ? each : null,
      deposit: act === "deposit" ? each : null,
    },
    parameters:
      id === "nudgeCap"
        ? { ...none, distanceCm: 5, capsLaid: 20, capsWhere: "on the board beside the slot", slotOpeningMm: 40 }
        : none,
    criterion: { share, chanceShare: 0.2, actsADay: 5, days: 3 },
    stepBack: { share: 0.1 },
    usualDays: { from: 7, to: 14 },
  };
}

export const stagesFixture: readonly StageView[] = [
  stage("comeForFood", "Come for free food", 50, 0.6),
  stage("pressForFood", "Press for food", 120, 0.5),
  stage("nudgeCap", "Nudge a cap in", 180, 0.4),
  stage("dropCap", "Drop a cap", 240, 0.4),
  stage("fetchCap", "Fetch a cap", 240, 0.3),
];

const stillOfRowan = { id: "still-1", widthPixels: 1_600, heightPixels: 1_200 };

export function trainingViewFixture(now: number, change: Partial<TrainingView> = {}): TrainingView {
  const date = (daysAgo: number) => shiftDate(localDate(now, "Europe/Stockholm"), -daysAgo);
  const iso = (daysAgo: number, hour = 9) => `${date(daysAgo)}T${String(hour).padStart(2, "0")}:12:00.000Z`;
  return {
    yard: "alder-croft",
    stages: stagesFixture,
    readyStages: stagesFixture.map((one) => ({ ...one, parameters: none })),
    keptMin: 0.9,
    periods: [
      period("comeForFood", iso(began.comeForFood), iso(began.pressForFood)),
      period("pressForFood", iso(began.pressForFood), iso(began.nudgeCap)),
      period("nudgeCap", iso(began.nudgeCap), null),
    ],
    changes: [
      madeBy("change-4", iso(6), "Nudge a cap in: 5 cm to the dish, 20 caps laid out", "They took most caps by noon"),
      {
        ...madeBy("change-3", iso(9), "Nudge a cap in: 15 cm to the dish, 20 caps laid out", "Moved it too early"),
        undone: { at: iso(8), by: "Ada" },
      },
      madeBy("change-2", iso(began.nudgeCap), "Started: Nudge a cap in", "They press at every visit"),
      madeBy("change-1", iso(began.pressForFood), "Started: Press for food", "They come every morning"),
    ],
    advice: {
      kind: "moveOn",
      title: "Move on to the next stage",
      reasons: [
        "In 46 % of the bouts of visits of the last 3 days a cap was put into the slot. That is more than the criterion asks for, and more than chance explains.",
      ],
      wouldChange: ["A fall below the criterion."],
      pauseStage: false,
      to: { stage: "dropCap", name: "Drop a cap" },
    },
    judgement: {
      ...{ daysInStage: 15, judgedDays: 13, bouts: 231 },
      recent: {
        ...{ days: 3, trials: 56, successes: 26, share: 26 / 56, actsADayLeast: 8 },
        wilson: { low: 0.34, high: 0.59 },
        beta: { low: 0.34, high: 0.59 },
      },
      evidence: { aboveChance: 5_310, belowCriterion: 0.02, decides: 20 },
      changePoints: [{ date: date(6), before: 0.19, after: 0.44 }],
      decline: null,
      kept: {
        ...{ promised: 28, paid: 27, share: 27 / 28, limits: { low: 0.82, high: 0.99 } },
        latencyMs: { p50: 1_180, p95: 2_640, worst: 9_300 },
      },
      contingency: { deltaP: 0.71, binSeconds: 60 },
      delayedWorth: { low: 0.46, high: 0.81 },
      text: "In 26 of 56 bouts of visits of the last 3 days a cap was put into the slot (46 %; the true share is between 34 % and 59 %, 95 % sure). These are figures of the site: no sensor tells one bird from another.",
    },
    days: Array.from({ length: daysShown }, (_, index) => dayOf(daysShown - 1 - index, date)),
    actsByHour: [0, 0, 0, 0, 0, 0, 0, 0.4, 2.1, 2.6, 1.4, 0.9, 0.8, 1.1, 0.9, 0.2, 0, 0, 0, 0, 0, 0, 0, 0],
    ledger: [
      {
        feeder: "larch",
        event: { boot: "b-1", seq: 1 },
        at: iso(4, 10),
        act: "deposit",
        outcome: "noPortion",
        cause: "tray jammed",
        still: null,
      },
      {
        feeder: "rowan",
        event: { boot: "b-1", seq: 2 },
        at: iso(12, 8),
        act: "deposit",
        outcome: "empty",
        cause: null,
        still: stillOfRowan,
      },
      {
        feeder: "rowan",
        event: { boot: "b-1", seq: 3 },
        at: iso(21, 9),
        act: "press",
        outcome: "cutShort",
        cause: "supply voltage low",
        still: null,
      },
    ],
    effects: [
      {
        ...{ change: "change-2", at: iso(began.nudgeCap), text: "Started: Nudge a cap in" },
        ...{ before: 0.58, after: 0.14, difference: -0.44, limits: { low: -0.55, high: -0.31 } },
      },
    ],
    distance: {
      points: Array.from({ length: 13 }, (_, index) => {
        const [distanceCm, share] = [5 + (index * 95) / 12, 0.52 - index * 0.033];
        return { distanceCm: Math.round(distanceCm), share, low: share * 0.72, high: Math.min(1, share * 1.28 + 0.03) };
      }),
      halfAtCm: 11,
    },
    feedersWithoutPlan: [],
    unreadableDays: 0,
    capsOnDish: [],
    seasonText: null,
    ...change,
  };
}

const nameOf = (id: string) => stagesFixture.find((one) => one.id === id)?.name ?? id;
const period = (id: string, from: string, to: string | null) => ({ stage: id, name: nameOf(id), from, to });
const madeBy = (id: string, at: string, text: string, reason: string) => ({
  ...{ id, at, text, reason, by: "Ada", undone: null },
});

/** Learnt in each stage within about ten days; a day of silence, a jam, and today, which isn't over. */
function dayOf(daysAgo: number, date: (daysAgo: number) => string): TrainingDayView {
  const [id, since] =
    daysAgo >= began.pressForFood
      ? (["comeForFood", began.comeForFood] as const)
      : daysAgo >= began.nudgeCap
        ? (["pressForFood", began.pressForFood] as const)
        : (["nudgeCap", began.nudgeCap] as const);
  const day = since - daysAgo;
  const isSilent = daysAgo === 25;
  const isJammed = daysAgo === 4;
  const wobble = ((daysAgo * 37) % 11) / 11 - 0.5;
  const best = id === "comeForFood" ? 0.78 : id === "pressForFood" ? 0.64 : 0.5;
  const share = Math.max(0.04, best / (1 + Math.exp((6 - day) / 1.6)) + 0.12 * wobble + 0.06);
  const trials = isSilent ? 0 : daysAgo === 0 ? 6 : 14 + ((daysAgo * 13) % 8);
  const successes = Math.min(trials, Math.round(trials * share));
  const isPromised = id !== "comeForFood";
  const broken = isJammed ? 4 : daysAgo === 12 || daysAgo === 21 ? 1 : 0;
  return {
    ...{ date: date(daysAgo), stage: id, trials, successes, acts: Math.round(successes * 1.3) },
    kept: isPromised ? keptOf(Math.round(successes * 1.3), Math.min(successes, broken)) : keptOf(0, 0),
    ...{ freePortions: id === "comeForFood" ? 9 : 4, unexplainedPortions: isJammed ? 1 : 0 },
    rejectedDeposits: id === "nudgeCap" && daysAgo % 5 === 0 ? 1 : 0,
    judgedShare: isSilent ? 0 : isJammed ? 0.3 : 0.97,
    airCelsius: -2 - ((daysAgo * 7) % 6),
    counts: daysAgo !== 0 && !isSilent && !isJammed && id === "nudgeCap" && day > 0,
  };
}

const keptOf = (promised: number, broken: number): KeptView => ({
  ...{ promised, paid: promised - broken, share: promised === 0 ? null : (promised - broken) / promised },
  ...{ limits: { low: 0.6, high: 1 }, latencyMs: promised === 0 ? null : { p50: 1_180, p95: 2_640, worst: 4_100 } },
});
