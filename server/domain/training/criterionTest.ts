/**
 * A sequential test of a criterion that may be looked at every day: betting on the mean of bounded observations (Waudby-Smith & Ramdas 2024,
 * J. R. Stat. Soc. B 86:1). A wealth of 1 is bet on each day's share x: it is multiplied by 1 + λ(x − p₀). As long as the share that is to be
 * expected of the next day is at most p₀, whatever the days before were like, the wealth ever reaches 1/α with a probability of at most α
 * (Ville 1939). With single trials, x = 0 or 1, and λ = (p₁ − p₀)/(p₀(1 − p₀)) it is Wald's likelihood ratio of p₁ to p₀ (Wald 1947).
 *
 * A day is one observation, since its bouts are alike: on a good day the next one succeeds more often as well. With bets on each ten
 * bouts of such days, one site in eight that never learns was called ready.
 *
 * Learning may begin on any day, and the days before it would have lost the wealth. So a part of it, 1/(j(j+1)), waits until day j: the parts
 * add up to 1, which keeps the error as it is.
 */

/** The probability with which a site that never learns is ever called ready, however often one looks. */
export const criterionError = 0.05;
/** ln of the evidence from which on the test decides. */
export const decisiveEvidence = Math.log(1 / criterionError);

/**
 * @param shares of the days, 0 to 1, in order
 * @returns ln of the wealth after these days: evidence that the share is now above `limit`. Above `decisiveEvidence` it is.
 * @throws RangeError unless 0 < limit < 1
 */
export function evidenceAbove(shares: readonly number[], limit: number): number {
  if (!(limit > 0 && limit < 1)) throw new RangeError(`expected a limit between 0 and 1, got ${limit}`);
  const wealth = betsAsParts.map(() => 0); // ln, of what was bet from the day in the loop on
  const logParts = [-Math.log(shares.length + 1)]; // what still waits
  for (let day = shares.length; day >= 1; day -= 1) {
    for (const [bet, part] of betsAsParts.entries()) {
      wealth[bet] = (wealth[bet] ?? 0) + logBet(shares[day - 1] as number, limit, part / limit);
    }
    const logMean = logSumExp(wealth) - Math.log(wealth.length);
    logParts.push(logMean - Math.log(day * (day + 1)));
  }
  return logSumExp(logParts);
}

/** The same for a share that is now below `limit`. */
export const evidenceBelow = (shares: readonly number[], limit: number): number =>
  evidenceAbove(
    shares.map((x) => 1 - x),
    1 - limit,
  );

/** ln of what one bet multiplies the wealth by. @param x share of successes @param stake λ, below 1/limit */
export const logBet = (x: number, limit: number, stake: number): number => Math.log1p(stake * (x - limit));

/** Careful and bold bets, as parts of the boldest one that can't lose everything. Each gets the same part of the wealth. */
const betsAsParts = [0.15, 0.4, 0.7, 0.95];

function logSumExp(logs: readonly number[]): number {
  const most = Math.max(...logs);
  return most === Number.NEGATIVE_INFINITY
    ? most
    : most + Math.log(logs.reduce((sum, log) => sum + Math.exp(log - most), 0));
}
