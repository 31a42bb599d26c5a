import type { AlarmView, DayMark, DayView, FeederView, HomeView, PhonesView } from "../../server/contract/api.ts";

/** The invented yard "Alder Croft" with its feeders, as the server returns them at a given time. */

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const iso = (at: number) => new Date(at).toISOString();

export function feederViewFixture(now: number, change: Partial<FeederView> = {}): FeederView {
  return {
    id: "rowan",
    yard: "alder-croft",
    revision: 12,
    name: "Rowan",
    practice: false,
    settings: {
      name: "Rowan",
      food: "broken peanuts",
      hopperCapacityGrams: 1_200,
      portionGrams: 2.4,
      sensors: { button: true, detector: true, chute: true, perch: true, scale: true },
      battery: "leadAcid",
      reportEverySeconds: 60,
      warnAheadDays: 2,
    },
    missingEvents: 0,
    numberingJumps: 0,
    unknownReadings: [],
    lastReportAt: iso(now - 2 * minuteMs),
    readings: {
      at: iso(now - 2 * minuteMs),
      hopperGrams: 742.1,
      airCelsius: -6.2,
      insideCelsius: -2.1,
      lidCelsius: -8,
      humidityPercent: 88,
      supplyVolts: 5.04,
      batteryVolts: 12.31,
      batteryCelsius: -4,
      chargeMilliamps: 0,
      signalDbm: -67,
      spooled: 0,
      paused: false,
    },
    hopper: {
      capacityGrams: 1_200,
      level: { grams: 742, low: 655, high: 829 },
      capacityAssumed: false,
      portionGrams: 2.43,
      portionText: "A portion is counted as 2.4 g (entered).",
      emptyForecast: { p10: iso(now + 62 * hourMs), p50: iso(now + 90 * hourMs), p90: iso(now + 131 * hourMs) },
      text: "enough until Saturday, 80 % sure",
    },
    alarms: [],
    cleanedAt: null,
    questions: [],
    blindSpots: [],
    pause: {
      statement: { paused: false, at: iso(now - 2 * minuteMs) },
      lastPortion: null,
      status: { kind: "feeding", at: iso(now - 2 * minuteMs) },
      lost: null,
      order: null,
    },
    summary: "OK: very likely enough until Saturday.",
    summaryValidUntil: iso(now + 13 * minuteMs),
    ...change,
  };
}

export function alarmViewFixture(now: number, change: Partial<AlarmView> = {}): AlarmView {
  return {
    fault: "trayJammed",
    title: "tray jammed",
    priority: "urgent",
    state: "unacknowledged",
    reason:
      "Three portions ran and nothing fell, though about 310 g should be in the hopper. The motor drew more than it used to.",
    act: "pause",
    advice: "Pause the feeder, then loosen the food in the tray. In frost, check for ice first.",
    since: iso(now - 17 * minuteMs),
    shelvedUntil: null,
    raisedAt: iso(now - 17 * minuteMs),
    explains: [],
    explainedBy: null,
    outOfService: null,
    evidence: [
      { label: "portions without food", value: "3 in a row", at: iso(now - 9 * minuteMs) },
      { label: "peak current", value: "910 mA, usually 600 mA", at: iso(now - 9 * minuteMs) },
    ],
    ...change,
  };
}

export function homeViewFixture(now: number): HomeView {
  const rowan = feederViewFixture(now);
  const larch = feederViewFixture(now, {
    id: "larch",
    name: "Larch",
    summary: "Nothing has fallen for 17 minutes: its tray is jammed.",
    summaryValidUntil: null,
    hopper: {
      ...rowan.hopper,
      level: { grams: 310, low: 160, high: 470 },
      emptyForecast: { p10: iso(now + 20 * hourMs), p50: iso(now + 41 * hourMs), p90: null },
      text: "enough until tomorrow evening, 60 % sure",
    },
    alarms: [
      alarmViewFixture(now, { explains: ["deposit without a portion"] }),
      alarmViewFixture(now, {
        fault: "depositUnpaid",
        title: "deposit without a portion",
        priority: "soon",
        state: "suppressedByDesign",
        raisedAt: null,
        explainedBy: "tray jammed",
        reason: "Two caps were put in and nothing fell for them.",
        advice: "Look why nothing falls.",
        evidence: [],
      }),
      alarmViewFixture(now, {
        fault: "chargingInFrost",
        title: "charging in frost",
        priority: "soon",
        state: "latchedUnacknowledged",
        reason: "Current flowed into the battery while it was −4 °C.",
        advice: "Look whether the battery is swollen before you trust it.",
        since: iso(now - 8 * hourMs),
        evidence: [],
      }),
      alarmViewFixture(now, {
        fault: "detectorSilent",
        title: "detector silent",
        priority: "soon",
        state: "outOfService",
        raisedAt: null,
        outOfService: { by: "Ada", since: iso(now - 70 * hourMs), reason: "coil is broken, a new one is ordered" },
        reason: "11 birds used the slot and the detector counted nothing.",
        advice: "Hold a cap to it and see whether it counts.",
        since: iso(now - 75 * hourMs),
        evidence: [],
      }),
      alarmViewFixture(now, {
        fault: "foodLow",
        title: "food low",
        priority: "soon",
        state: "acknowledged",
        reason: "At the pace of the last days it may be empty tomorrow at 16:00.",
        advice: "Refill before the time shown.",
        since: iso(now - 5 * hourMs),
        evidence: [],
      }),
      alarmViewFixture(now, {
        fault: "scaleSilent",
        title: "scale silent",
        priority: "soon",
        state: "shelved",
        shelvedUntil: iso(now + 30 * hourMs),
        reason: "The load cell has reported the same value for 9 hours while 22 portions were given.",
        advice: "Look at the load cell's wire. Until it speaks, the hopper is reckoned from portions alone.",
        since: iso(now - 9 * hourMs),
        evidence: [],
      }),
    ],
    pause: {
      statement: { paused: false, at: iso(now - 2 * minuteMs) },
      lastPortion: null,
      status: { kind: "feeding", at: iso(now - 2 * minuteMs) },
      lost: null,
      order: {
        id: "order-larch-1",
        kind: "pause",
        status: "sent",
        until: null,
        requestedAt: iso(now - 1 * minuteMs),
        requestedBy: "Keeper",
        sentAt: iso(now - 0.5 * minuteMs),
        answeredAt: null,
        problem: null,
      },
    },
  });
  const practice = feederViewFixture(now, {
    id: "practice-rowan",
    yard: "practice",
    name: "Rowan",
    practice: true,
    summary: "Practice: the button has not been pressed for 3 hours, though birds came.",
    alarms: [
      alarmViewFixture(now, {
        fault: "buttonSilent",
        title: "button silent",
        priority: "soon",
        reason: "11 birds perched and were fed, yet the button counted nothing.",
        advice: "Press the button yourself and see whether it counts.",
        since: iso(now - 3 * hourMs),
      }),
    ],
    pause: {
      statement: { paused: true, at: iso(now - 2 * minuteMs) },
      lastPortion: null,
      status: { kind: "paused", at: iso(now - 2 * minuteMs) },
      lost: null,
      order: {
        id: "order-practice-1",
        kind: "pause",
        status: "confirmed",
        until: iso(now + 42 * minuteMs),
        requestedAt: iso(now - 18 * minuteMs),
        requestedBy: "Keeper",
        sentAt: iso(now - 18 * minuteMs),
        answeredAt: iso(now - 17 * minuteMs),
        problem: null,
      },
    },
  });
  return {
    keeper: { id: "keeper", name: "Keeper", email: null, canEmail: true },
    serverTime: iso(now),
    practice: { running: true, fault: "buttonDead", programme: null },
    storageProblem: null,
    foods: [
      { kind: "peanutHalves", name: "peanut halves", pieceGrams: 0.35 },
      { kind: "catKibble", name: "dry cat kibble", pieceGrams: 0.3 },
      { kind: "other", name: "something else", pieceGrams: null },
    ],
    yards: [
      {
        id: "alder-croft",
        name: "Alder Croft",
        zone: "Europe/Stockholm",
        unusableZone: null,
        damagedFeeders: [],
        place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
        digestTime: "07:30",
        digestWanted: true,
        practice: false,
        escalateMinutes: 15,
        diseaseNotice: null,
        stillsKeptDays: 30,
        role: "keeper",
        peopleCount: 3,
        escalations: [],
        feeders: [rowan, larch],
      },
      {
        id: "practice",
        name: "Practice yard",
        zone: "Europe/Stockholm",
        unusableZone: null,
        damagedFeeders: [],
        place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
        digestTime: "07:30",
        digestWanted: false,
        practice: true,
        escalateMinutes: 15,
        diseaseNotice: null,
        stillsKeptDays: 30,
        role: "keeper",
        peopleCount: 1,
        escalations: [],
        feeders: [practice],
      },
    ],
  };
}

/** A November day near 59.5 N 17.8 E, in round hours of UTC: dusk at 15, dawn twilight at 6:30, sunrise at 7:15. */
export function dayViewFixture(feeder: string, date: string): DayView {
  const noon = Date.parse(`${date}T11:00:00Z`);
  const at = (hours: number) => iso(noon + hours * hourMs);
  const marks: DayMark[] = [];
  for (let index = 0; index < 34; index++) {
    const hours = -3.6 + ((index * 37) % 70) / 10;
    marks.push({ kind: "visit", at: at(hours), detail: "" });
    if (index % 3 === 0) marks.push({ kind: "press", at: at(hours + 0.01), detail: index % 9 === 0 ? "free" : "paid" });
    if (index % 4 === 1) {
      const unpaid = index === 21;
      marks.push({
        kind: "deposit",
        at: at(hours + 0.02),
        detail: unpaid ? "unpaid" : "paid",
        ...(unpaid && { unpaid: true as const }),
      });
      if (!unpaid) marks.push({ kind: "portion", at: at(hours + 0.03), detail: "paid" });
    }
    if (index % 3 === 0) marks.push({ kind: "portion", at: at(hours + 0.04), detail: "paid" });
  }
  marks.push({ kind: "refill", at: at(-2.2), detail: "" }, { kind: "alarm", at: at(2.4), detail: "tray jammed" });
  marks.sort((one, other) => one.at.localeCompare(other.at));
  const count = (kind: DayMark["kind"]) => marks.filter((mark) => mark.kind === kind).length;
  return {
    feeder,
    date,
    from: at(-20),
    to: at(4),
    extentText: "From dusk yesterday 16:00 to now.",
    current: { date, until: at(12) },
    light: [
      { kind: "twilight", from: at(-20), to: at(-19.2) },
      { kind: "night", from: at(-19.2), to: at(-4.5) },
      { kind: "twilight", from: at(-4.5), to: at(-3.7) },
      { kind: "day", from: at(-3.7), to: at(3.2) },
      { kind: "twilight", from: at(3.2), to: at(4) },
    ],
    marks,
    counts: {
      visits: count("visit"),
      presses: count("press"),
      deposits: count("deposit"),
      portions: count("portion"),
      gramsGiven: count("portion") * 2.4,
    },
    text: "Birds came from a little after sunrise until the afternoon: 34 visits, 9 deposits, one of them not paid.",
  };
}

export function phonesViewFixture(now: number, change: Partial<PhonesView> = {}): PhonesView {
  return {
    publicKey: "BEl62iUYgUivxIkv69yViEuiBIa-Ib9-SkvMeAtA3LFgDzkrxZJjSgSnfckjBJuBkr3qBUYIHBQFLXYp5Nksh8U",
    phones: [
      {
        id: "phone-a",
        endpoint: "https://push.example/a",
        label: "Android phone",
        addedAt: iso(now - 24 * 24 * hourMs),
        lastAcceptedAt: iso(now - 2 * hourMs),
        lastDisplayedAt: iso(now - 2 * hourMs + 3_000),
        problem: null,
        blockedAt: null,
        reachability: { kind: "confirmed", text: "It showed a notification 2 hours ago." },
      },
      {
        id: "phone-b",
        endpoint: "https://push.example/b",
        label: "Old phone",
        addedAt: iso(now - 60 * 24 * hourMs),
        lastAcceptedAt: iso(now - 5 * hourMs),
        lastDisplayedAt: iso(now - 9 * 24 * hourMs),
        problem: null,
        blockedAt: null,
        reachability: { kind: "unconfirmed", text: "It has shown none of the notifications of the last 4 days." },
      },
      {
        id: "phone-c",
        endpoint: "https://push.example/c",
        label: "Kitchen tablet",
        addedAt: iso(now - 55 * 24 * hourMs),
        lastAcceptedAt: null,
        lastDisplayedAt: null,
        blockedAt: null,
        problem: "Its push service no longer knows it. Switch it on again.",
        reachability: { kind: "lost", text: "Its push service no longer knows it. Switch it on again." },
      },
    ],
    phonesMax: 10,
    gone: [],
    ...change,
  };
}
