import { createHash } from "node:crypto";
import { relative } from "node:path";

/**
 * Lets as many of a module's mutants through as are wanted, chosen by the seed; the others count as not in the sample.
 * A mutant's place in the order is a hash of what it is, so that one changed line doesn't exchange the whole sample.
 */
class Sample {
  async init() {}

  /** All in one group: which are chosen depends on all. */
  async group(mutants) {
    return [mutants.map(({ id }) => id)];
  }

  async check(mutants) {
    const most = Number(process.env.MUTATION_MOST);
    const chosen = new Set(
      mutants
        .map((mutant) => ({ id: mutant.id, order: orderOf(mutant) }))
        .sort((a, b) => (a.order < b.order ? -1 : 1))
        .slice(0, most)
        .map(({ id }) => id),
    );
    const left = { status: "compileError", reason: "not in this sample" };
    return Object.fromEntries(mutants.map(({ id }) => [id, chosen.has(id) ? { status: "passed" } : left]));
  }
}

const orderOf = ({ fileName, location, mutatorName, replacement }) =>
  createHash("sha256")
    .update(
      JSON.stringify([
        process.env.MUTATION_SEED,
        relative(process.cwd(), fileName),
        location,
        mutatorName,
        replacement,
      ]),
    )
    .digest("hex");

export const strykerPlugins = [{ kind: "Checker", name: "sample", injectableClass: Sample }];
