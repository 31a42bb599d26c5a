export const delivery = {
  tooOld: "too old to send",
  internalError: "internal error, see the server log",
  addressRemoved: "the e-mail address was removed",
  blocked: "notifications are blocked in its browser",
  notNow: (problem: string) => `Could not be sent now: ${problem}`,
  notAccepted: (problem: string) => `Not accepted: ${problem}`,
};
