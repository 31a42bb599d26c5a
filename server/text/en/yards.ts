export const yards = {
  tooMany: (count: number) => `You have ${count} yards, the maximum.`,
  deletePracticeYard: "Delete the practice yard on the Practice page.",
  otherName: (name: string) => `is not the name of this yard, ${name}`,
  firstName: "My yard",
};
