export const feedingPlan = {
  noPlace:
    "The yard has no place yet. Without it, nobody knows when it is light there: enter it in the yard's settings.",
};
