import type { DayView } from "../../server/contract/api.ts";

/** From the times of a day to places in its drawing, in CSS pixels. */
export interface DayScale {
  readonly from: number; // ms
  readonly to: number; // ms: the day's end, or the moment that it has reached
  readonly spans: readonly LightBand[];
  /** The x of a moment in ms; moments outside the day are at its ends. */
  readonly x: (at: number) => number;
}
export interface LightBand {
  readonly kind: LightKind;
  readonly from: number; // ms
  readonly to: number;
  readonly x: number;
  readonly width: number;
}
type LightKind = DayView["light"][number]["kind"];

/** In a night next to nothing happens: all of it together gets this share of the width, and its true hours are written below. */
const nightShare = 0.05;
/** With less light than this the night gets more: twenty minutes of twilight must not fill a page. */
const litMsLeast = 3 * 3_600_000;

/**
 * @param ends of the drawing, from left to right
 * @param until ms: a running day is drawn up to now, and nothing for the hours to come
 * @throws RangeError where the day has no length
 */
export function dayScale(
  day: Pick<DayView, "from" | "to" | "light">,
  [left, right]: readonly [number, number],
  until = Infinity,
): DayScale {
  const from = Date.parse(day.from);
  const whole = Date.parse(day.to);
  if (!(whole > from)) throw new RangeError(`dayScale needs from < to, got ${day.from}..${day.to}`);
  const to = until > from ? Math.min(whole, until) : whole;
  const pieces = piecesOf(day, from, to);
  const weightOf = weights(pieces);
  const x = (at: number) =>
    left +
    (right - left) *
      pieces.reduce((sum, piece) => sum + weightOf(piece.kind) * (clamp(at, piece.start, piece.end) - piece.start), 0);
  const spans = day.light
    .map(({ kind, from: start, to: end }) => ({
      kind,
      from: clamp(Date.parse(start), from, to),
      to: clamp(Date.parse(end), from, to),
    }))
    .filter((span) => span.to > span.from)
    .map((span) => ({ ...span, x: x(span.from), width: x(span.to) - x(span.from) }));
  return { from, to, spans, x };
}

interface Piece {
  readonly kind: LightKind;
  readonly start: number;
  readonly end: number;
}

/** The light without gaps and overlaps; what is in a gap is not known. */
function piecesOf(day: Pick<DayView, "light">, from: number, to: number): readonly Piece[] {
  const pieces: Piece[] = [];
  let reached = from;
  for (const span of day.light) {
    const start = clamp(Date.parse(span.from), reached, to);
    const end = clamp(Date.parse(span.to), start, to);
    if (start > reached) pieces.push({ kind: "unknown", start: reached, end: start });
    if (end > start) pieces.push({ kind: span.kind, start, end });
    reached = end;
  }
  if (reached < to) pieces.push({ kind: "unknown", start: reached, end: to });
  return pieces;
}

/** The share of the width of a millisecond of each light: together they fill it. */
function weights(pieces: readonly Piece[]): (kind: LightKind) => number {
  const lengthOf = (isNight: boolean) =>
    pieces.filter(({ kind }) => (kind === "night") === isNight).reduce((sum, { start, end }) => sum + end - start, 0);
  const [night, lit] = [lengthOf(true), lengthOf(false)];
  if (night === 0 || lit === 0) return () => 1 / (night + lit);
  const litShare = Math.max(lit / (lit + night), Math.min(1 - nightShare, lit / litMsLeast));
  return (kind) => (kind === "night" ? (1 - litShare) / night : litShare / lit);
}

export const clamp = (value: number, low: number, high: number) => Math.min(high, Math.max(low, value));
