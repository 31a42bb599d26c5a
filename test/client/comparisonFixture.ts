import type { SettingsComparisonView } from "../../server/contract/api.ts";

const hourMs = 3_600_000;

/** Four times with the proposed settings, six times with the present ones. */
export function settingsComparisonFixture(now: number): SettingsComparisonView {
  const ago = (hours: number) => new Date(now - hours * hourMs).toISOString();
  const from = ago(30 * 24);
  const jams = { urgent: 2, soon: 0, note: 0, firstAt: ago(500), lastAt: ago(100), hoursInForce: 3.5 };
  const frost = { urgent: 0, soon: 0, note: 1, firstAt: ago(90), lastAt: ago(90), hoursInForce: 8 };
  const low = (soon: number, hoursInForce: number) => ({
    ...{ urgent: 0, soon, note: 0, hoursInForce },
    ...{ firstAt: ago(600), lastAt: ago(50) },
  });
  const foodLow = { fault: "foodLow", title: "food low", priority: "soon" } as const;
  return {
    ...{ requestedFrom: from, from, to: new Date(now).toISOString(), replayedFrom: ago(60 * 24), begun: "storedState" },
    readingsDroppedUntil: ago(60 * 24),
    isIncomplete: false,
    present: { urgent: 2, soon: 4, note: 1 },
    proposed: { urgent: 2, soon: 2, note: 1 },
    alarms: [
      { fault: "trayJammed", title: "tray jammed", priority: "urgent", present: jams, proposed: jams },
      { ...foodLow, present: low(4, 12), proposed: low(2, 4) },
      { fault: "frostInside", title: "frost inside", priority: "note", present: frost, proposed: frost },
    ],
    onlyPresent: [
      { ...foodLow, at: ago(300), hours: 3 },
      { ...foodLow, at: ago(200), hours: 5 },
    ],
    onlyProposed: [],
    leftOut: 0,
  };
}
