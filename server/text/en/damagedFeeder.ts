export const damagedFeeder = {
  state: (name: string, problem: string) =>
    `The data of ${name} is damaged (${problem}) and is being restored from its log. Until then it can't be shown, and the feeder keeps ` +
    "its events.",
  rebuilt: (moment: string) => `Its data was damaged and was restored from its log (${moment}).`,
};
