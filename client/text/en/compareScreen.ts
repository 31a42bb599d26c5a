/** Two weeks or two stages of a feeder beside each other. */
export const title = (feeder: string) => `Compare ${feeder}`;
export const notFoundTitle = "Compare";
export const kindsLabel = "What to compare";
export const weeksLabel = "Weeks";
export const stagesLabel = "Stages";
export const firstLabel = "One";
export const secondLabel = "The other";
export const noStagesText = "The programme needs two stages that were started. Until then, compare weeks.";
export const sentence = (one: string, other: string) => `${one} beside ${other}.`;
export const meansText = (one: number, other: number) =>
  `Counts are means of a day, over the days that are known: ${one} and ${other}.`;
export const cutText = (days: number) => `By hour, only the last ${days} days of a longer stage are shown.`;
export const periodText = (stage: string, dates: string) => `${stage}, ${dates}`;
export const hoursTitle = (acts: string, span: string) => `${acts} by hour: ${span}`;
export const hoursSentence = (most: string | null) => (most === null ? "Nothing came." : `Most come from ${most}.`);
export const unknownHoursSentence = "Nothing is known of it.";
export const hourReading = (hour: string, mean: string) => `${hour}: ${mean} a day`;
export const meanColumn = "A day";
export const depositsTitle = (span: string) => `Deposits by day: ${span}`;
export const pressesTitle = (span: string) => `Presses by day: ${span}`;
export const tableTitle = "In figures";
export const figureColumn = "A day";
export const differenceColumn = "Change";
export const rowNames = {
  visits: "Visits",
  presses: "Presses",
  depositsPaid: "Deposits paid",
  depositsUnpaid: "Deposits not paid",
  portions: "Portions",
  gramsGiven: "Food given, g",
  airCelsiusMean: "Air, mean, °C",
} as const;
export const knownDaysRow = "Days known";
export const knownOfText = (known: number, all: number) => `${known} of ${all}`;
export const notKnown = "not known";
