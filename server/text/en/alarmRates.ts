/** The alarm history: its headline, and what to change. Numbers come formatted. */

const counted = (count: number, one: string) => `${count} ${one}${count === 1 ? "" : "s"}`;

export const alarmRates = {
  noFeederText: "This yard has no feeder yet, so there are no alarms.",
  /** "12 alarms in 30 days at 2 feeders: 1.4 a week at each." */
  headline: (alarmCount: number, days: number, feederCount: number, rate: string | null) =>
    `${alarmCount === 0 ? "No alarm" : counted(alarmCount, "alarm")} in ${days === 0 ? "less than a day" : counted(days, "day")} at ${counted(feederCount, "feeder")}${rate === null ? "" : `: ${rate} at each`}.`,
  perWeek: (rate: string) => `${rate} a week`,
  lessThanTenth: "less than one in ten weeks",
  notes: (count: number) => `${counted(count, "note")} in the daily digest.`,
  cut: (changesMax: number) => `Only the newest ${changesMax} changes are shown.`,

  /** An alarm in a sentence: “No reports” at Rowan. */
  quoted: (title: string) => `“${title}”`,
  quotedAt: (title: string, feeder: string) => `“${title}” at ${feeder}`,

  tooMany: "More than one alarm a week at each feeder is too many: people stop reading them.",
  flood: (count: number, from: string, first: string) =>
    `${count} alarms came within ten minutes, from ${from}. The first was ${first}. Check what they share, for example power or network.`,
  load: (alarm: string, count: number, all: number, remedy: string) =>
    `${alarm} makes ${count} of ${all} alarms: ${remedy}`,
  fleeting: (alarm: string, count: number, remedy: string) =>
    `${alarm} ended within two minutes, ${count === 2 ? "twice" : `${count} times`}: ${remedy}`,
  unacknowledged: (count: number, all: number, last: string) =>
    `${count} of ${all} urgent alarms were not acknowledged. The last was ${last}. See under Phones whether they can be reached, and whether another recipient should be notified next.`,
  stale: (alarm: string, span: string) => `${alarm} has been active for ${span}. Repair it, or take it out of service.`,
  hours: (count: number) => counted(count, "hour"),
  days: (count: number) => counted(count, "day"),

  /**
   * What makes a fault come less often; the fault's own advice is for this time, and is used where nothing better is known.
   * Common practice, no source.
   */
  remedies: {
    feederSilent: "its network or power is weak. Move it nearer to the access point, or report less often.",
    foodLow:
      "fill the hopper when the digest asks, which is before the alarm, and fill it to the brim. If you always come in time anyway, let it warn later in the feeder's settings.",
    foodOut: "it runs out before anybody comes. Fill it when the digest asks, or give the feeder a larger hopper.",
    trayJammed: "a tray that jams again and again has food too coarse for it, or lets in damp. Try smaller pieces.",
    feedBridged: "damp or too fine food bridges. Keep it dry, take out what has caked, try coarser food.",
    depositUnpaid: "repair the cause, and pause the feeder until then.",
    paymentUnclear: "let the feeder say with each press and deposit what it earns. Then nobody must guess.",
    pauseOverdue: "orders come late where the feeder seldom reports. Let it report more often, or check its network.",
    iceLock: "it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
    chuteBlind: "dust and frost come back. Give the sensor a hood, or turn it so that nothing settles on it.",
    buttonSilent: "repair it, or remove it in the feeder's settings.",
    detectorSilent: "repair it, or remove it in the feeder's settings.",
    perchSilent: "repair it, or remove it in the feeder's settings.",
    scaleSilent: "repair it, or remove it in the feeder's settings.",
    sensorChattering: "dry the contact and seal it: damp comes back with each thaw.",
    readingStuck: "often a loose plug. Solder or replace it.",
    readingImpossible: "often a loose plug. Solder or replace it.",
    supplyWeak: "the supply is too small for the motor in the cold. Shorter or thicker wires, or a stronger supply.",
    batteryFreezing: "bring the battery in for the winter, or give it a larger one: a full battery freezes far later.",
    chargingInFrost: "let the charger wait for warmth by a thermometer of its own.",
    detectorDrifting: "shelter the detector from the weather, or calibrate it more often.",
    troubleReported: "this comes from the feeder's own program. Check there.",
  },
};
