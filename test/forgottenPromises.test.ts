import { ESLint } from "eslint";
import { describe, expect, it } from "vitest";
import { projectFolder } from "./support/imports.ts";

/** `npm run check:promises` is shown a fault for each of its rules, so that a rule that was switched off is missed. */
describe("the check for promises and cases", { timeout: 60_000 }, () => {
  const eslint = new ESLint({ cwd: projectFolder });
  const findings = async (code: string) => {
    const [result] = await eslint.lintText(`export {};\n${code}`, { filePath: "server/flows/periodicCheck.ts" });
    return result?.messages.map(({ ruleId, line }) => `${line} ${ruleId}`);
  };

  it("finds what was forgotten", async () => {
    const code = `
declare function send(): Promise<boolean>;
declare const phase: "raised" | "shelved";
send();
if (send()) throw new Error();
await phase;
switch (phase) { case "raised": break; }
if (phase !== "raised" && phase !== "shelved") throw new Error();`;
    expect(await findings(code)).toEqual([
      "5 @typescript-eslint/no-floating-promises",
      "6 @typescript-eslint/no-misused-promises",
      "6 @typescript-eslint/no-unnecessary-condition",
      "7 @typescript-eslint/await-thenable",
      "8 @typescript-eslint/switch-exhaustiveness-check",
      "9 @typescript-eslint/no-unnecessary-condition",
    ]);
  });

  it("is content with what was thought of", async () => {
    const code = `
declare function send(): Promise<boolean>;
declare const phase: "raised" | "shelved";
await send();
switch (phase) { case "raised": break; case "shelved": break; }`;
    expect(await findings(code)).toEqual([]);
  });
});
