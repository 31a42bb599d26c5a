import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { afterAll, describe, expect, it } from "vitest";
import { createZipArchives } from "../../server/adapters/zipArchives.ts";
import { type Instant, instantOf } from "../../server/domain/instant.ts";
import type { ArchiveEntry } from "../../server/ports.ts";
import { unzipped, whole } from "../support/unzipped.ts";

const folder = join(mkdtempSync(join(tmpdir(), "pieward-archives-")), "imports");
afterAll(() => rmSync(dirname(folder), { recursive: true, force: true }));

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
      createZipArchives(folder).write(list(entry("days.csv", [text, text]), entry("photos/a.jpg", [picture], false))),
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
    const reading = createZipArchives(folder).write(many())[Symbol.asyncIterator]();
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
    await expect(whole(createZipArchives(folder).write(list(broken)))).rejects.toThrow("the log can't be read");
    const failing = async function* (): AsyncGenerator<ArchiveEntry> {
      yield entry("a.csv", ["a"]);
      throw new Error("no second one");
    };
    await expect(whole(createZipArchives(folder).write(failing()))).rejects.toThrow("no second one");
  });

  it("is read again as it was written, waits in a file, and leaves none", async () => {
    const archives = createZipArchives(folder);
    mkdirSync(folder, { recursive: true });
    writeFileSync(join(folder, "left-by-a-crash.new"), "x");
    const picture = Uint8Array.from({ length: 70_000 }, (_, index) => (index * 7) % 253);
    const opened = await archives.open(
      archives.write(list(entry("days.csv", ["a line\n", "another\n"]), entry("photos/a.jpg", [picture], false))),
      1_000_000,
    );
    if (typeof opened === "string") throw new Error(opened);
    expect(readdirSync(folder)).toHaveLength(1);
    expect([...opened.entries]).toEqual([
      ["days.csv", 15],
      ["photos/a.jpg", 70_000],
    ]);
    expect(String(await whole(opened.read("days.csv")))).toBe("a line\nanother\n");
    expect((await whole(opened.read("photos/a.jpg"))).equals(picture)).toBe(true);
    await opened.close();
    expect(readdirSync(folder)).toEqual([]);
  });

  it("is refused where it is too large, cut short, or has another content than it says", async () => {
    const archives = createZipArchives(folder);
    const zip = await whole(archives.write(list(entry("days.csv", ["a line that is made smaller\n".repeat(20)]))));
    const sent = async function* (octets: Uint8Array) {
      yield octets;
    };
    expect(await archives.open(sent(zip), zip.length - 1)).toBe("tooLarge");
    expect(await archives.open(sent(zip.subarray(0, zip.length - 30)), 10_000)).toBe("unreadable");
    const changed = Buffer.from(zip);
    changed.writeUInt32LE(3, zip.indexOf("PK\u0001\u0002") + 24); // the unpacked size in the central directory
    const opened = await archives.open(sent(changed), 10_000);
    if (typeof opened === "string") throw new Error(opened);
    await expect(whole(opened.read("days.csv"))).rejects.toThrow("can't be unpacked");
    await opened.close();
    expect(existsSync(folder) ? readdirSync(folder) : []).toEqual([]);
  });
});
