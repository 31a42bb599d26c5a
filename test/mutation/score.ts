export interface Score {
  readonly module: string;
  readonly killed: number;
  readonly survived: number;
}

/** Of the mutants tried, the share that a test detected: 0 to 1. */
export const share = ({ killed, survived }: Score): number => killed / Math.max(1, killed + survived);

/**
 * The upper end of the 95 % interval of a share (the score interval of Wilson, J. Am. Stat. Assoc. 22, 1927): what the score of
 * all mutants may still be, given this sample of them.
 */
export function atBest(score: Score): number {
  const [n, p, z] = [score.killed + score.survived, share(score), 1.96];
  if (n === 0) return 1;
  const middle = p + (z * z) / (2 * n);
  return (middle + z * Math.sqrt((p * (1 - p)) / n + (z * z) / (4 * n * n))) / (1 + (z * z) / n);
}
