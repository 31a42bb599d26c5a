import { type Violation, violation } from "./feederChecks.ts";

export interface SentEvent {
  readonly seq: number;
  readonly body: string;
  /** Planted wrong on purpose: it may be refused. */
  readonly malformed: boolean;
}

/**
 * @param sent all of this start's events that were sent so far and not acknowledged before
 * @param stored bodies in the database by seq
 */
export function checkReportAnswer(
  feeder: string,
  storedThrough: number | null,
  sent: readonly SentEvent[],
  stored: ReadonlyMap<number, string>,
  refused: ReadonlySet<number>,
): Violation[] {
  return sent.flatMap(({ seq, body, malformed }) => {
    if (storedThrough === null || seq > storedThrough) return [];
    if (stored.get(seq) === body) return [];
    if (malformed && refused.has(seq)) return [];
    const what = stored.has(seq) ? "another event has its number" : "it is not in the database";
    return [
      violation("stored", feeder, `storedThrough ${storedThrough}`, `event ${seq}: ${what}: ${body.slice(0, 120)}`),
    ];
  });
}

/** @param marks how often each acknowledged event is in the database, by the mark that it carries */
export function checkLog(
  feeder: string,
  acknowledged: ReadonlySet<string>,
  marks: ReadonlyMap<string, number>,
): Violation[] {
  const lost = [...acknowledged].filter((mark) => !marks.has(mark));
  const twice = [...marks].filter(([, times]) => times > 1).map(([mark]) => mark);
  return [
    ...lost
      .slice(0, 3)
      .map((mark) => violation("eventKept", feeder, `${lost.length} lost`, `event ${mark} was acknowledged`)),
    ...twice.slice(0, 3).map((mark) => violation("eventKept", feeder, `${twice.length} stored twice`, `event ${mark}`)),
  ];
}

/** @param misspelt names of readings that no contract knows */
export function checkReadings(
  feeder: string,
  status: number,
  answer: { readonly unknown?: unknown; readonly detail?: unknown },
  junk: readonly string[],
  misspelt: readonly string[],
): Violation[] {
  if (status >= 500) return []; // a busy server is judged elsewhere
  if (status !== 200)
    return [
      violation("reading", feeder, `${status}: ${String(answer.detail)}`, `only readings were bad: ${junk.join(", ")}`),
    ];
  const named = JSON.stringify(answer.unknown ?? []);
  return misspelt
    .filter((name) => !named.includes(name))
    .map((name) => violation("reading", feeder, `unknown: ${named}`, `the reading ${name} is known to nobody`));
}

export const checkStatus = (door: string, status: number, body: string): Violation[] =>
  status === 500 ? [violation("server", door, body.slice(0, 300), "a fault of ours must not reach a sender")] : [];
