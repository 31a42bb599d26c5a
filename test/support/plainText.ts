/**
 * What no keeper should have to read: a time as ISO text, and the symbols of a statistic. Wire times are exempt: a field that
 * is a time by contract holds nothing else, and the client writes it in the yard's own clock.
 */
export const rawTime = /\d{4}-\d\d-\d\dT/;
export const statisticSymbols: readonly RegExp[] = [
  /\bp\d\d\b/, // p10, p90
  /[φσμχλαβΛΣΦ]/,
  /\b(?:sigma|chi|phi|lambda|posterior|likelihood|LLR|CUSUM|quantile|variance|log10|ln)\b/i,
  /\d(?:\.\d+)?e[-+−]\d/i, // 1e-5
  /\b(?:NaN|undefined|Infinity|null)\b/,
];

/** Fields whose whole value is a wire time, which the client never shows as it is. */
const wireTimes = new Set(
  "at since raisedAt shelvedUntil until requestedAt sentAt answeredAt lastReportAt summaryValidUntil cleanedAt p10 p50 p90 from to lastNotifiedAt displayedAt emailedAt serverTime addedAt lastAcceptedAt lastDisplayedAt expiresAt".split(
    " ",
  ),
);
/** Fields that are names for programs: ids, keys, and what chooses between forms. */
const forPrograms = new Set(
  "id fault kind state status endpoint zone date dates feeder yard topic of publicKey link links".split(" "),
);

/** Every string of a view that a keeper may read, with where it stands. */
function shownStrings(view: unknown, path = ""): readonly { readonly path: string; readonly text: string }[] {
  if (typeof view === "string") return [{ path, text: view }];
  if (view === null || typeof view !== "object") return [];
  return Object.entries(view).flatMap(([key, value]) => {
    const isWireTime = typeof value === "string" && wireTimes.has(key) && /^\d{4}-\d\d-\d\dT[\d:.]+Z$/.test(value);
    return isWireTime || forPrograms.has(key) ? [] : shownStrings(value, `${path}.${key}`);
  });
}

/** Each string that breaks the rule, as "place: text". */
export const unplainText = (view: unknown): readonly string[] =>
  shownStrings(view)
    .filter(({ text }) => [rawTime, ...statisticSymbols].some((pattern) => pattern.test(text)))
    .map(({ path, text }) => `${path}: ${text}`);
