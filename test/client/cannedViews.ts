import type { AlarmView, DayMark, DayView, FeederView, HomeView, PhonesView } from "../../server/contract/api.ts";

/** The invented yard "Alder Croft" with its feeders, as the server would tell of them at a given moment. */

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const iso = (at: number) => new Date(at).toISOString();

export function feederView(now: number, change: Partial<FeederView> = {}): FeederView {
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
    lastHeardAt: iso(now - 2 * minuteMs),
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
      portionWords: "A portion counts as 2.4 g, as you said.",
      empty: { p10: iso(now + 62 * hourMs), p50: iso(now + 90 * hourMs), p90: iso(now + 131 * hourMs) },
      words: "enough until Saturday, 80 % sure",
    },
    alarms: [],
    cleanedAt: null,
    asks: [],
    blindSpots: [],
    pause: {
      feederSays: { paused: false, at: iso(now - 2 * minuteMs) },
      feederGave: null,
      standing: { kind: "feeding", at: iso(now - 2 * minuteMs) },
      undone: null,
      order: null,
    },
    words: "Well: enough until Saturday, 90 % sure.",
    wellUntil: iso(now + 13 * minuteMs),
    ...change,
  };
}

export function alarmView(now: number, change: Partial<AlarmView> = {}): AlarmView {
  return {
    fault: "trayJammed",
    title: "tray jammed",
    priority: "urgent",
    phase: "unacknowledged",
    reason:
      "Three portions ran and nothing fell, though about 310 g should be in the hopper. The motor drew more than it used to.",
    act: "Pause the feeder, then loosen the food in the tray. In frost, look for ice first.",
    since: iso(now - 17 * minuteMs),
    shelvedUntil: null,
    raisedAt: iso(now - 17 * minuteMs),
    explains: [],
    explainedBy: null,
    outOfService: null,
    evidence: [
      { what: "portions without food", value: "3 in a row", at: iso(now - 9 * minuteMs) },
      { what: "peak current", value: "910 mA, usually 600 mA", at: iso(now - 9 * minuteMs) },
    ],
    ...change,
  };
}

export function homeView(now: number): HomeView {
  const rowan = feederView(now);
  const larch = feederView(now, {
    id: "larch",
    name: "Larch",
    words: "Nothing has fallen for 17 minutes: its tray is jammed.",
    wellUntil: null,
    hopper: {
      ...rowan.hopper,
      level: { grams: 310, low: 160, high: 470 },
      empty: { p10: iso(now + 20 * hourMs), p50: iso(now + 41 * hourMs), p90: null },
      words: "enough until tomorrow evening, 60 % sure",
    },
    alarms: [
      alarmView(now, { explains: ["deposits unpaid"] }),
      alarmView(now, {
        fault: "depositUnpaid",
        title: "deposits unpaid",
        priority: "soon",
        phase: "suppressedByDesign",
        raisedAt: null,
        explainedBy: "tray jammed",
        reason: "Two caps were put in and nothing fell for them.",
        act: "Look why nothing falls.",
        evidence: [],
      }),
      alarmView(now, {
        fault: "chargingInFrost",
        title: "charging in frost",
        priority: "soon",
        phase: "latchedUnacknowledged",
        reason: "Current flowed into the battery while it was −4 °C.",
        act: "Look whether the battery is swollen before you trust it.",
        since: iso(now - 8 * hourMs),
        evidence: [],
      }),
      alarmView(now, {
        fault: "detectorSilent",
        title: "detector silent",
        priority: "soon",
        phase: "outOfService",
        raisedAt: null,
        outOfService: { by: "Ada", since: iso(now - 70 * hourMs), why: "coil is broken, a new one is ordered" },
        reason: "11 birds used the slot and the detector counted nothing.",
        act: "Hold a cap to it and see whether it counts.",
        since: iso(now - 75 * hourMs),
        evidence: [],
      }),
      alarmView(now, {
        fault: "foodLow",
        title: "food low",
        priority: "soon",
        phase: "acknowledged",
        reason: "At the pace of the last days it may be empty tomorrow at 16:00.",
        act: "Refill before the time shown.",
        since: iso(now - 5 * hourMs),
        evidence: [],
      }),
      alarmView(now, {
        fault: "scaleSilent",
        title: "scale silent",
        priority: "soon",
        phase: "shelved",
        shelvedUntil: iso(now + 30 * hourMs),
        reason: "The load cell has said the same number for 9 hours while 22 portions were given.",
        act: "Look at the load cell's wire. Until it speaks, the hopper is reckoned from portions alone.",
        since: iso(now - 9 * hourMs),
        evidence: [],
      }),
    ],
    pause: {
      feederSays: { paused: false, at: iso(now - 2 * minuteMs) },
      feederGave: null,
      standing: { kind: "feeding", at: iso(now - 2 * minuteMs) },
      undone: null,
      order: {
        id: "order-larch-1",
        kind: "pause",
        phase: "sent",
        until: null,
        askedAt: iso(now - 1 * minuteMs),
        askedBy: "Keeper",
        sentAt: iso(now - 0.5 * minuteMs),
        answeredAt: null,
        problem: null,
      },
    },
  });
  const practice = feederView(now, {
    id: "practice-rowan",
    yard: "practice",
    name: "Rowan",
    practice: true,
    words: "Practice: the button has not been pressed for 3 hours, though birds came.",
    alarms: [
      alarmView(now, {
        fault: "buttonSilent",
        title: "button silent",
        priority: "soon",
        reason: "11 birds perched and were fed, yet the button counted nothing.",
        act: "Press the button yourself and see whether it counts.",
        since: iso(now - 3 * hourMs),
      }),
    ],
    pause: {
      feederSays: { paused: true, at: iso(now - 2 * minuteMs) },
      feederGave: null,
      standing: { kind: "paused", at: iso(now - 2 * minuteMs) },
      undone: null,
      order: {
        id: "order-practice-1",
        kind: "pause",
        phase: "confirmed",
        until: iso(now + 42 * minuteMs),
        askedAt: iso(now - 18 * minuteMs),
        askedBy: "Keeper",
        sentAt: iso(now - 18 * minuteMs),
        answeredAt: iso(now - 17 * minuteMs),
        problem: null,
      },
    },
  });
  return {
    keeper: { id: "keeper", name: "Keeper", mail: null, canMail: true },
    serverTime: iso(now),
    practice: { running: true, fault: "buttonDead" },
    storage: null,
    foods: [
      { kind: "peanutHalves", words: "peanut halves", pieceGrams: 0.35 },
      { kind: "catKibble", words: "dry cat kibble", pieceGrams: 0.3 },
      { kind: "other", words: "something else", pieceGrams: null },
    ],
    yards: [
      {
        id: "alder-croft",
        name: "Alder Croft",
        zone: "Europe/Stockholm",
        unusableZone: null,
        damaged: [],
        place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
        digestTime: "07:30",
        digestWanted: true,
        practice: false,
        escalateMinutes: 15,
        role: "keeper",
        people: 3,
        calls: [],
        feeders: [rowan, larch],
      },
      {
        id: "practice",
        name: "Practice yard",
        zone: "Europe/Stockholm",
        unusableZone: null,
        damaged: [],
        place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
        digestTime: "07:30",
        digestWanted: false,
        practice: true,
        escalateMinutes: 15,
        role: "keeper",
        people: 1,
        calls: [],
        feeders: [practice],
      },
    ],
  };
}

/** A November day near 59.5 N 17.8 E, in round hours of UTC: dusk at 15, dawn twilight at 6:30, sunrise at 7:15. */
export function dayView(feeder: string, date: string): DayView {
  const noon = Date.parse(`${date}T11:00:00Z`);
  const at = (hours: number) => iso(noon + hours * hourMs);
  const marks: DayMark[] = [];
  for (let index = 0; index < 34; index++) {
    const hours = -3.6 + ((index * 37) % 70) / 10;
    marks.push({ kind: "visit", at: at(hours), detail: "" });
    if (index % 3 === 0) marks.push({ kind: "press", at: at(hours + 0.01), detail: index % 9 === 0 ? "free" : "paid" });
    if (index % 4 === 1) {
      const unpaid = index === 21;
      marks.push({ kind: "deposit", at: at(hours + 0.02), detail: unpaid ? "unpaid" : "paid" });
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
    extent: "From dusk yesterday 16:00 to now.",
    running: { date, until: at(12) },
    light: [
      { kind: "twilight", from: at(-20), to: at(-19.2) },
      { kind: "night", from: at(-19.2), to: at(-4.5) },
      { kind: "twilight", from: at(-4.5), to: at(-3.7) },
      { kind: "day", from: at(-3.7), to: at(3.2) },
      { kind: "twilight", from: at(3.2), to: at(4) },
    ],
    marks,
    tally: {
      visits: count("visit"),
      presses: count("press"),
      deposits: count("deposit"),
      portions: count("portion"),
      gramsGiven: count("portion") * 2.4,
    },
    words: "Birds came from a little after sunrise until the afternoon: 34 visits, 9 deposits, one of them not paid.",
  };
}

export function phonesView(now: number, change: Partial<PhonesView> = {}): PhonesView {
  return {
    publicKey: "BEl62iUYgUivxIkv69yViEuiBIa-Ib9-SkvMeAtA3LFgDzkrxZJjSgSnfckjBJuBkr3qBUYIHBQFLXYp5Nksh8U",
    phones: [
      {
        id: "phone-a",
        endpoint: "https://push.example/a",
        label: "Android phone",
        addedAt: iso(now - 24 * 24 * hourMs),
        lastAcceptedAt: iso(now - 2 * hourMs),
        lastShownAt: iso(now - 2 * hourMs + 3_000),
        problem: null,
        blockedAt: null,
        reach: { kind: "proved", words: "It showed a notice 2 hours ago." },
      },
      {
        id: "phone-b",
        endpoint: "https://push.example/b",
        label: "Old phone",
        addedAt: iso(now - 60 * 24 * hourMs),
        lastAcceptedAt: iso(now - 5 * hourMs),
        lastShownAt: iso(now - 9 * 24 * hourMs),
        problem: null,
        blockedAt: null,
        reach: { kind: "unproved", words: "It was sent notices for 4 days and has shown none of them." },
      },
      {
        id: "phone-c",
        endpoint: "https://push.example/c",
        label: "Kitchen tablet",
        addedAt: iso(now - 55 * 24 * hourMs),
        lastAcceptedAt: null,
        lastShownAt: null,
        blockedAt: null,
        problem: "Its push service no longer knows it. Switch it on again.",
        reach: { kind: "lost", words: "Its push service no longer knows it. Switch it on again." },
      },
    ],
    most: 10,
    gone: [],
    ...change,
  };
}
