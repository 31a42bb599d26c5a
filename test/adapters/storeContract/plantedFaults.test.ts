import { beforeAll, describe, expect, it } from "vitest";
import { MemoryDatabase } from "../../support/memoryStore/memoryDatabase.ts";
import { createMemoryStore } from "../../support/memoryStore/memoryStore.ts";
import { inMemory, underTest } from "./adapters.ts";
import { storeContract } from "./contract.ts";
import { type Distortion, distortStore, type Operation } from "./distortedStore.ts";
import type { Plant } from "./plant.ts";
import { openPlanted, plants } from "./plants.ts";
import { type Rule, reasonAgainst, runRule } from "./storeUnderTest.ts";

/** The contract must notice a store that breaks it. */

const rules = new Map<string, Rule>(
  Object.values(storeContract)
    .flatMap((area) => Object.entries(area))
    .filter(([, rule]) => reasonAgainst(inMemory, rule) === null),
);

function ruleOf({ rule }: Plant): Rule {
  const found = rules.get(rule);
  if (found === undefined) throw new Error(`expected a rule "${rule}"`);
  return found;
}

const isBroken = async (open: Parameters<typeof runRule>[0], rule: Rule): Promise<boolean> => {
  try {
    await runRule(open, rule);
    return false;
  } catch {
    return true;
  }
};

describe("the store's contract", () => {
  it("has a text of its own for each rule", () => {
    const texts = Object.values(storeContract).flatMap((area) => Object.keys(area));
    expect(texts.length).toBe(new Set(texts).size);
  });

  it.each(plants.map((plant) => ({ ...plant, whole: plant })))("notices a store that $fault", async ({ whole }) => {
    expect(await isBroken(inMemory, ruleOf(whole)), "the rule must hold without the fault").toBe(false);
    expect(await isBroken({ open: async () => openPlanted(whole) }, ruleOf(whole))).toBe(true);
  });
});

const distorted = (distort: Distortion) => ({
  open: async () => underTest(new MemoryDatabase(), (database) => distortStore(createMemoryStore(database), distort)),
});

/** Each operation of the port with the rules that use it, and what it returned to them. */
interface Use {
  readonly rules: Set<string>;
  readonly results: unknown[];
}

describe("each operation of the store", () => {
  const uses = new Map<string, Use>();

  beforeAll(async () => {
    let present = "";
    const record: Distortion = (name, operation) => {
      const use = uses.get(name) ?? { rules: new Set(), results: [] };
      uses.set(name, use);
      return (...given) => {
        use.rules.add(present);
        const result = operation(...given);
        if (!(result instanceof Promise)) return result;
        return result.then((value: unknown) => {
          use.results.push(value);
          return value;
        });
      };
    };
    for (const [text, rule] of rules) {
      present = text;
      await runRule(distorted(record), rule);
    }
  });

  /** The operations that this can be done to without a rule that breaks. */
  async function unnoticed(canBe: (use: Use) => boolean, distortOne: (operation: Operation) => Operation) {
    const found: string[] = [];
    for (const [name, use] of uses) {
      if (!canBe(use)) continue;
      const open = distorted((each, operation) => (each === name ? distortOne(operation) : operation));
      let isNoticed = false;
      for (const text of use.rules) isNoticed ||= await isBroken(open, rules.get(text) as Rule);
      if (!isNoticed) found.push(name);
    }
    return found;
  }

  const isUnnoticed = async (name: string, result: unknown) =>
    (
      await unnoticed(
        (use) => use === uses.get(name),
        () => async () => result,
      )
    ).length > 0;

  it("is used by a rule, which notices where it does nothing", async () => {
    expect(uses.size).toBeGreaterThan(90);
    expect([...uses].filter(([, { rules: users }]) => users.size === 0).map(([name]) => name)).toEqual([]);
    expect(
      await unnoticed(
        () => true,
        () => async () => undefined,
      ),
    ).toEqual(["packs.shrink"]); // it gives back what a file has too much
  });

  it("has a rule that notices where its list is backwards, unless no order is promised", async () => {
    const isList = ({ results }: Use) => results.some((result) => Array.isArray(result) && result.length > 1);
    const backwards =
      (operation: Operation) =>
      async (...given: readonly unknown[]) => {
        const result = await operation(...given);
        return Array.isArray(result) ? result.toReversed() : result;
      };
    expect(await unnoticed(isList, backwards)).toEqual([
      "people.membershipsOf",
      "digests.recipientsOf",
      "stills.stillsById",
    ]);
  });

  it("has a rule that notices where it says the opposite", async () => {
    const isAnswer = ({ results }: Use) => results.some((result) => typeof result === "boolean");
    const opposite =
      (operation: Operation) =>
      async (...given: readonly unknown[]) => {
        const result = await operation(...given);
        return typeof result === "boolean" ? !result : result;
      };
    expect(await unnoticed(isAnswer, opposite)).toEqual([]);
  });

  it("has a rule that notices where it does nothing and returns what it returned before", async () => {
    const found: string[] = [];
    for (const [name, { results }] of uses) {
      for (const result of new Set(results.map((value) => JSON.stringify(value) as string | undefined))) {
        if (result !== undefined && (await isUnnoticed(name, JSON.parse(result)))) found.push(`${name} ${result}`);
      }
    }
    expect(found).toEqual(["packs.shrink false"]);
  });
});
