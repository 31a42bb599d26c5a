export const damagedFeeder = {
  state: (name: string, problem: string) =>
    `What is stored of ${name} is damaged (${problem}), so nothing of it can be shown. It is being rebuilt from its record. Until then ` +
    "its reports are not taken, and it keeps its events.",
  rebuilt: (moment: string) => `What was stored of it was damaged, and was rebuilt from its record (${moment}).`,
};
