export const title = "Export keys";
export const introText =
  "With an export key a program of your own reads the training record of your yards: the tables of the download, and nothing else. It changes nothing.";
export const endsText =
  "A key ends on its day, when you remove it, when you sign out all other devices, and when your passphrase changes.";
export const makeSummary = "Make a key…";
export const nameLabel = "Name of the key";
export const nameHint = "What reads with it, for example: my spreadsheet.";
export const lifeLabel = "Valid for";
export const lifeTexts: Readonly<Record<90 | 365, string>> = { 90: "90 days", 365: "A year" };
export const makeLabel = "Make the key";
export const madeText = "Export key made.";
export const removedText = "Export key removed. It reads nothing any more.";
export const shownOnceTitle = "Copy this key now.";
export const shownOnceText = "It is not shown again: the server keeps only a hash of it.";
export const keyLabel = "Export key";
export const tryText = "To read a table with it:";
export const commandLabel = "Command";
export const notUsedText = (madeAgo: string, endsOn: string) => `Made ${madeAgo}, not used yet. Ends on ${endsOn}.`;
export const usedText = (madeAgo: string, usedAgo: string, endsOn: string) =>
  `Made ${madeAgo}, last used ${usedAgo}. Ends on ${endsOn}.`;
export const endedText = (endedOn: string) => `Ended on ${endedOn}.`;
export const maximumText = (count: number) => `You have ${count} export keys, the maximum. Remove one first.`;
export const removeLabel = (key: string) => `Remove ${key}`;
export const command = (url: string, key: string) => `curl '${url}' -H 'authorization: Bearer ${key}'`;
