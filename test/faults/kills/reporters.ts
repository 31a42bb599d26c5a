import { getJson, type HttpSession, retryWhileBusy } from "./httpSession.ts";

/** A feeder that reports as fast as it gets answers, and deletes no event before the server has confirmed it. */
export interface ReportingFeeder {
  /** @throws where the connection breaks. @returns what was answered wrongly, in a sentence; null where nothing was */
  report(session: HttpSession): Promise<string | null>;
  /** After a restart: whether all that was confirmed is there. */
  missing(session: HttpSession): Promise<string | null>;
  /** The same for its whole record. */
  missingFromRecord(session: HttpSession): Promise<string | null>;
  confirmed(): number;
}

export function reportingFeeder(
  { id, key }: { readonly id: string; readonly key: string },
  eventsAtOnce: () => number,
): ReportingFeeder {
  const started = Date.now();
  const authorization = { authorization: `Bearer ${key}` };
  let [waiting, last]: [readonly object[], readonly object[]] = [[], []];
  let [seq, confirmed] = [0, 0];

  const bodyOf = (events: readonly object[]) => ({
    boot: "b-1",
    sentUptimeMs: 1_000_000 + Date.now() - started,
    readings: {},
    events,
  });
  const post = (session: HttpSession, events: readonly object[]) =>
    session.ask("POST", "/api/v1/report", bodyOf(events), { ...authorization, cookie: "" });

  return {
    async report(session) {
      if (waiting.length === 0) {
        waiting = Array.from({ length: eventsAtOnce() }, () => {
          seq += 1;
          return { seq, uptimeMs: 1_000_000 + Date.now() - started, kind: seq % 3 === 0 ? "visit" : "press" };
        });
      }
      const answer = await post(session, waiting);
      if (answer.status === 503 || answer.status === 429) return null; // it sends them again later
      if (answer.status !== 200) return `${id}: a report was answered ${answer.status} ${answer.text}`;
      const { storedThrough, refused } = answer.json();
      if (storedThrough !== seq || refused.length > 0)
        return `${id}: sent up to ${seq}, and was answered ${answer.text}`;
      confirmed = seq;
      [last, waiting] = [waiting, []];
      return null;
    },
    async missing(session) {
      if (last.length === 0) return null;
      const { storedThrough, duplicates } = (await retryWhileBusy(() => post(session, last))).json();
      const isComplete = storedThrough >= confirmed && duplicates === last.length;
      return isComplete
        ? null
        : `${id}: ${confirmed} was confirmed; now ${storedThrough}, ${duplicates} of ${last.length} known`;
    },
    async missingFromRecord(session) {
      const { text } = await getJson(session, `/api/v1/feeders/${id}/log`);
      const seen = new Map<number, number>();
      for (const line of text.split("\n")) {
        if (line === "") continue;
        const { report } = JSON.parse(line) as { report?: { events?: { seq: number }[] } };
        for (const event of report?.events ?? []) seen.set(event.seq, (seen.get(event.seq) ?? 0) + 1);
      }
      const lost = Array.from({ length: confirmed }, (_, index) => index + 1).filter((one) => seen.get(one) !== 1);
      return lost.length === 0
        ? null
        : `${id}: of ${confirmed} confirmed events ${lost.length} aren't there once: ${lost.slice(0, 9)}`;
    },
    confirmed: () => confirmed,
  };
}
