import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "../support/imports.ts";
import { viewSchemas } from "../support/viewSchemas.ts";

/** What keepers' routes answer is documented from the types that they answer with. */

describe("the schemas of answers", () => {
  // They are a file, since the server runs without the compiler. After a change in api.ts: npx vitest run <this file> -u
  it("are those that the types in server/contract/api.ts have now", async () => {
    const schemas = viewSchemas(join(projectFolder, "server/contract/api.ts"));
    await expect(`${JSON.stringify(schemas, null, 1)}\n`).toMatchFileSnapshot(
      "../../server/routes/documentation/views.json",
    );
  }, 60_000);
});
