/** The last row of a page of a list that goes backwards in time; without its id, only its moment counts. */
export interface PagePlace {
  readonly at: string;
  readonly id?: string;
}

/** Asks for what comes after it; null: for the newest. */
export const pageQuery = (after: PagePlace | null): string =>
  after === null
    ? ""
    : `?${new URLSearchParams({ before: after.at, ...(after.id === undefined ? {} : { beforeId: after.id }) })}`;
