export const phones = {
  defaultLabel: "A phone",
  notYours: "is not one of your phones",
  gone: "is no longer valid: its push service reported it. Turn notifications off and on again.",
  taken: "belongs to another phone. Turn notifications off and on again.",
  tooMany: (max: number) =>
    `is one phone too many: the maximum is ${max}. Remove one that is no longer used, then add this one.`,
  testPush: "This phone receives notifications. There is no alarm.",
  testSent: "Sent. It should appear in a moment.",
  removed: (problem: string) => `This phone no longer receives notifications and was removed: ${problem}`,
};
