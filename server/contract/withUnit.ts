/** A posted number with its unit; null where none was posted. */
export const withUnit = <Read>(value: number | null | undefined, unit: (value: number) => Read): Read | null =>
  value === null || value === undefined ? null : unit(value);
