import { describe, expect, it } from "vitest";
import { createZipArchives } from "../../server/adapters/zipArchives.ts";
import { type Instant, instantOf } from "../../server/domain/instant.ts";
import type { ArchiveEntry } from "../../server/ports.ts";
import { unzipped, whole } from "../support/unzipped.ts";

const at: Instant = instantOf("2026-12-01T10:00:00Z");
const entry = (name: string, parts: readonly (string | Uint8Array)[], isText = true): ArchiveEntry => ({
  ...{ name, at, isText },
  contents: async function* () {
    yield* parts;
  },
});
async function* list(...entries: readonly ArchiveEntry[]) {
  yield* entries;
}

describe("an archive", () => {
  it("has each entry with its content, text made smaller and pictures as they are", async () => {
    const text = "a line that repeats\n".repeat(5_000);
    const picture = Uint8Array.from({ length: 70_000 }, (_, index) => (index * index) % 251);
    const zip = await whole(
      createZipArchives().write(list(entry("days.csv", [text, text]), entry("photos/a.jpg", [picture], false))),
    );
    const files = await unzipped(zip);
    expect([...files.keys()]).toEqual(["days.csv", "photos/a.jpg"]);
    expect(files.get("days.csv")?.toString()).toBe(text + text);
    expect(files.get("photos/a.jpg")?.equals(picture)).toBe(true);
    expect(zip.length).toBeLessThan(80_000);
  });

  it("is made while it is read: an entry is asked for only when the one before has been taken", async () => {
    const asked: string[] = [];
    const big = Buffer.alloc(1_000_000, 1);
    async function* many() {
      for (let index = 0; index < 50; index += 1) {
        asked.push(`${index}`);
        yield entry(`${index}.jpg`, [big], false);
      }
    }
    const reading = createZipArchives().write(many())[Symbol.asyncIterator]();
    await reading.next();
    await new Promise((resolve) => setImmediate(resolve));
    expect(asked.length).toBeLessThan(5);
    await reading.return?.();
    expect(asked.length).toBeLessThan(5);
  });

  it("ends with the error where an entry can't be read", async () => {
    const broken: ArchiveEntry = {
      ...entry("days.csv", []),
      contents: async function* () {
        yield "begun";
        throw new Error("the log can't be read");
      },
    };
    await expect(whole(createZipArchives().write(list(broken)))).rejects.toThrow("the log can't be read");
    const failing = async function* (): AsyncGenerator<ArchiveEntry> {
      yield entry("a.csv", ["a"]);
      throw new Error("no second one");
    };
    await expect(whole(createZipArchives().write(failing()))).rejects.toThrow("no second one");
  });
});
