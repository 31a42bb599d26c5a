import { execFile } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { promisify } from "node:util";
import { describe, expect, it } from "vitest";
import { firstReportCommand } from "../../client/components/feederKey.tsx";
import { openTestServer } from "../support/testServer.ts";

const readme = readFileSync(join(import.meta.dirname, "../../README.md"), "utf8");
const curlOfReadme = readme.match(/```sh\n(curl [\s\S]*?)```/)?.[1] ?? "";
const inShell = async (line: string) => JSON.parse((await promisify(execFile)("sh", ["-c", line])).stdout);

/** Both lines as a new keeper pastes them, in a real shell with a listening server. */
describe("the line to paste", () => {
  const lines: [string, (address: string, key: string) => string, number][] = [
    [
      "of the README",
      (address, key) => curlOfReadme.replace("http://192.168.1.20:8080", address).replace("pw_…", key),
      2,
    ],
    ["beside a new key", firstReportCommand, 0],
  ];
  it.each(lines)(
    "%s reports under a random boot id, and twice as two starts, without a refusal",
    async (_where, line, events) => {
      const server = await openTestServer();
      const { key, feeder } = await server.addFeeder();
      const address = await server.app.listen({ host: "127.0.0.1", port: 0 });
      for (const _time of [1, 2]) {
        const answer = await inShell(line(address, key).replace("curl ", "curl -s "));
        expect(answer).toMatchObject({ storedThrough: events || null, duplicates: 0, refused: [], unknown: [] });
      }
      const row = await server.store.yards.feeder(feeder.id);
      const boots = row?.state.clock.boots.map(({ boot }) => boot) ?? [];
      expect(new Set(boots).size).toBe(2);
      for (const boot of boots) expect(boot).toMatch(/^b-[0-9a-f]{8}$/);
      expect((await server.runPeriodicCheck(feeder.id)).alarms.map(({ fault }) => fault)).not.toContain("bootReused");
    },
  );
});
