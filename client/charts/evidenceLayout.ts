import type { HistoryView, PortionsView } from "../../server/contract/api.ts";

/** Where what happened around an alarm is drawn: three lanes over one time. */

export interface EvidenceDots {
  readonly x: number;
  readonly y: number; // from the top of its lane
  readonly isEmpty: boolean; // nothing fell
}

export interface EvidenceLayout {
  readonly pieces: readonly EvidenceDots[];
  readonly milliamps: readonly EvidenceDots[];
  readonly grams: readonly (readonly { readonly x: number; readonly y: number }[])[]; // lines; a gap ends one
  /** The largest value of each lane; null where nothing of it is known. */
  readonly most: { readonly pieces: number | null; readonly milliamps: number | null; readonly grams: number | null };
  readonly momentX: number;
}

export const laneHeight = 38;

/** @param at of the alarm, and the span around it, ms */
export function evidenceLayout(
  { portions }: Pick<PortionsView, "portions">,
  history: Pick<HistoryView, "from" | "lengthMinutes" | "columns"> | null,
  span: { readonly from: number; readonly to: number; readonly at: number },
  width: number,
): EvidenceLayout {
  const xOf = (ms: number) => ((ms - span.from) / (span.to - span.from)) * width;
  const dots = (value: (portion: PortionsView["portions"][number]) => number | null, most: number | null) =>
    portions.flatMap((portion): EvidenceDots[] => {
      const found = value(portion);
      if (found === null || most === null) return [];
      return [{ x: xOf(Date.parse(portion.at)), y: yOf(found, most), isEmpty: portion.pieces === 0 }];
    });
  const levels = levelsOf(history);
  const most = {
    pieces: largest(portions.map(({ pieces }) => pieces)),
    milliamps: largest(portions.map(({ milliamps }) => milliamps)),
    grams: largest(levels.map(({ grams }) => grams)),
  };
  return {
    pieces: dots(({ pieces }) => pieces, most.pieces),
    milliamps: dots(({ milliamps }) => milliamps, most.milliamps),
    grams: linesOf(levels, ({ at, grams }) => ({ x: xOf(at), y: yOf(grams, most.grams ?? 1) })),
    most,
    momentX: xOf(span.at),
  };
}

const yOf = (value: number, most: number) => laneHeight * (1 - value / Math.max(1, most));

function largest(values: readonly (number | null)[]): number | null {
  const known = values.filter((value) => value !== null);
  return known.length === 0 ? null : Math.max(...known);
}

interface Level {
  readonly at: number; // ms, end of its bucket
  readonly grams: number | null;
}

function levelsOf(history: Parameters<typeof evidenceLayout>[1]): readonly Level[] {
  const grams = history?.columns.hopperGrams;
  if (history === null || grams === undefined) return [];
  let at = Date.parse(history.from);
  return history.lengthMinutes.map((length, index) => {
    at += length * 60_000;
    return { at, grams: grams[index] ?? null };
  });
}

function linesOf(levels: readonly Level[], place: (level: { at: number; grams: number }) => { x: number; y: number }) {
  const lines: { x: number; y: number }[][] = [[]];
  for (const { at, grams } of levels) {
    if (grams === null) lines.push([]);
    else lines.at(-1)?.push(place({ at, grams }));
  }
  return lines.filter((line) => line.length > 1);
}
