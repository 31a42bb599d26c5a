/** A service's words end up in logs and on a keeper's screen: one short line, no control characters. */
export const asOneLine = (text: string): string =>
  text
    .replace(/[\p{C}\s]+/gu, " ")
    .trim()
    .slice(0, 200);
