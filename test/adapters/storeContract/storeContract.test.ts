import { afterAll, describe, expect, it } from "vitest";
import { inMemory, onSqlite } from "./adapters.ts";
import { storeContract } from "./contract.ts";
import { reasonAgainst, runRule } from "./storeUnderTest.ts";

describe.each([onSqlite, inMemory])("the store in $name", (adapter) => {
  afterAll(adapter.end);
  for (const [area, rules] of Object.entries(storeContract)) {
    describe(area, () => {
      for (const [text, rule] of Object.entries(rules)) {
        const reason = reasonAgainst(adapter, rule);
        if (reason === null) it(text, () => runRule(adapter, rule));
        else
          it(`can't show that ${text}, since ${reason}`, async () => {
            await expect(runRule(adapter, rule)).rejects.toThrow();
          });
      }
    });
  }
});
