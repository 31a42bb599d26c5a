/** A stage of a training programme in words. */
export const kindNames = {
  comeForFood: "Come for free food",
  pressForFood: "Press the button",
  nudgeCap: "Nudge a cap in",
  dropCap: "Drop a cap",
  fetchCap: "Fetch a cap",
} as const;

export const freeText = (minutes: string) => `free food about every ${minutes} minutes`;
export const jitterText = (minutes: string, by: string) => `free food every ${minutes} minutes, give or take ${by}`;
export const noFreeText = "no free food";
export const actNames = { press: "press", deposit: "cap" } as const;
export const eachText = (act: string) => `a portion for each ${act}`;
export const fixedText = (act: string, count: number) => `a portion for every ${count}. ${act}`;
export const variableText = (act: string, count: number) => `a portion for one ${act} in ${count} on average`;

export const distanceText = (cm: string) => `${cm} cm to the dish`;
export const capsText = (count: number) => (count === 1 ? "1 cap laid out" : `${count} caps laid out`);
export const slotText = (mm: string) => `slot ${mm} mm`;
export const gramsEachText = (grams: string) => `${grams} a portion`;

export const criterionText = (share: string, days: number, acts: number) =>
  `ready at ${share} of the bouts over ${days === 1 ? "1 day" : `${days} days`}, at least ${acts} acts on each`;
export const stepBackText = (share: string) => `back below ${share}`;
export const usualDaysText = (from: number, to: number) => `${from} to ${to} days are usual`;
