/** A person's roles, channels and quiet hours; shown on the pages that seldom open. */
export const roleText = {
  keeper: { name: "keeper", rights: "Can change everything and invite people." },
  helper: { name: "helper", rights: "Can acknowledge alarms, pause and refill. Can't change settings." },
} as const;

export const newPassphraseHint =
  "At least 15 characters, without your name. Several unrelated words are easy to remember and hard to guess.";

export const digestChannelText = {
  push: "notification",
  email: "e-mail",
  both: "notification and e-mail",
  none: "off",
} as const;

export const noQuietHoursText = "No quiet hours.";
export const quietHoursText = (from: string, to: string) => `Quiet hours ${from} to ${to}, except urgent alarms.`;
export const quietHoursForAllText = (from: string, to: string) =>
  `Quiet hours ${from} to ${to}, including urgent alarms.`;

export const minutesText = (minutes: number) => (minutes === 1 ? "1 minute" : `${minutes} minutes`);
export const hoursText = (hours: number) => (hours === 1 ? "1 hour" : `${hours} hours`);

export const allNotifiedText = (names: string, people: number) =>
  people === 1 ? `${names} is notified.` : `${names} are notified.`;
export const firstNotifiedText = (names: string, people: number, wait: string) =>
  `${names} ${people === 1 ? "is" : "are"} notified first. If nobody acknowledges an urgent alarm within ${wait}, the next person is notified.`;
export const sharedOrderText = (names: string) => `at the same time as ${names}`;
