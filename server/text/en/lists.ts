/** Several names in one sentence. */
export const lists = {
  /** "Rowan, Larch and 8 more" */
  andMore: (names: string, more: number) => (more > 0 ? `${names} and ${more} more` : names),
  and: (names: string, last: string) => `${names} and ${last}`,
};
