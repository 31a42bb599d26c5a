/** Text of a service for logs and screens: one short line without control characters. */
export const asOneLine = (text: string): string =>
  text
    .replace(/[\p{C}\s]+/gu, " ")
    .trim()
    .slice(0, 200);
