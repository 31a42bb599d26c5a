import { type Limits, shareLimits } from "../intervals.ts";

/** A word that a keeper has given to stills: who is in them, or what was brought. */
export interface LabelShare {
  readonly label: string;
  readonly stills: number;
  readonly share: number; // of the labelled stills
  /** By Wilson 1927, 95 %. */
  readonly limits: Limits;
}

export interface LabelShares {
  /** The most frequent first. */
  readonly labels: readonly LabelShare[];
  readonly labelled: number;
}

/**
 * The same word however it is typed: composed (Unicode Standard Annex 15, NFC), without spaces around it, and with one between its parts.
 * @returns null where nothing is left
 */
export function plainLabel(typed: string): string | null {
  const plain = typed.normalize("NFC").trim().replace(/\s+/gu, " ");
  return plain === "" ? null : plain;
}

/** Two spellings with the same key are one label. Lower case by Unicode, the same in each language. */
const labelKey = (label: string): string => label.normalize("NFC").toLowerCase();

/** The share of each label among the labelled stills. Of several spellings the one with most stills is shown. */
export function labelShares(
  counts: readonly { readonly label: string | null; readonly stills: number }[],
): LabelShares {
  const found = new Map<string, { readonly label: string; readonly most: number; readonly stills: number }>();
  for (const { label, stills } of spellings(counts)) {
    const before = found.get(labelKey(label));
    const shown = before === undefined || stills > before.most ? { label, most: stills } : before;
    found.set(labelKey(label), { label: shown.label, most: shown.most, stills: (before?.stills ?? 0) + stills });
  }
  const labelled = [...found.values()].reduce((sum, { stills }) => sum + stills, 0);
  const labels = [...found.values()].map(({ label, stills }) => ({
    ...{ label, stills, share: stills / labelled },
    limits: shareLimits(stills, labelled),
  }));
  return { labels: labels.sort((a, b) => b.stills - a.stills || (a.label < b.label ? -1 : 1)), labelled };
}

function spellings(counts: readonly { readonly label: string | null; readonly stills: number }[]) {
  const found = new Map<string, number>();
  for (const { label, stills } of counts) if (label !== null) found.set(label, (found.get(label) ?? 0) + stills);
  return [...found].map(([label, stills]) => ({ label, stills })).sort((a, b) => (a.label < b.label ? -1 : 1));
}
