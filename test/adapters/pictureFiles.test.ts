import { existsSync, mkdtempSync, readdirSync, rmSync, statSync, utimesSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { createPictureFiles } from "../../server/adapters/pictureFiles.ts";
import { after, hours, instant, minutes } from "../../server/domain/instant.ts";
import type { PictureFiles } from "../../server/ports.ts";
import { memoryPictureFiles } from "../support/memoryPictureFiles.ts";
import { manualClock } from "../support/testServer.ts";

const contents = (text: string) => ({ full: Buffer.from(`${text}, full`), small: Buffer.from(`${text}, small`) });
const at = manualClock().now();

interface Opened {
  readonly files: PictureFiles;
  /** Makes the files of this picture as old as that. */
  readonly date: (yard: string, id: string, to: number) => void;
}

function openFolder(): Opened & { readonly folder: string } {
  const parent = mkdtempSync(join(tmpdir(), "pieward-pictures-"));
  onTestFinished(() => rmSync(parent, { recursive: true, force: true }));
  const folder = join(parent, "pictures");
  return {
    folder,
    files: createPictureFiles(folder),
    date: (yard, id, to) => {
      for (const name of readdirSync(join(folder, yard)).filter((each) => each.startsWith(id)))
        utimesSync(join(folder, yard, name), to / 1_000, to / 1_000);
    },
  };
}

function openMemory(): Opened {
  return { files: memoryPictureFiles({ now: () => at }), date: () => undefined };
}

describe.each([
  ["in a folder", openFolder],
  ["in memory", openMemory],
])("pictures' files %s", (_name, open: () => Opened) => {
  it("are read as they were saved, and not by another yard or id", async () => {
    const { files } = open();
    await files.save("alder", "a1", contents("a jay"));
    expect(Buffer.from((await files.read("alder", "a1", "full")) ?? []).toString()).toBe("a jay, full");
    expect(Buffer.from((await files.read("alder", "a1", "small")) ?? []).toString()).toBe("a jay, small");
    expect(await files.read("birch", "a1", "full")).toBeNull();
    expect(await files.read("alder", "a2", "full")).toBeNull();
  });

  it("are removed alone, or with their yard; what isn't there is no error", async () => {
    const { files } = open();
    for (const id of ["a1", "a2", "a3"]) await files.save("alder", id, contents(id));
    await files.save("birch", "b1", contents("b1"));
    await files.remove("alder", ["a1", "unknown"]);
    expect([await files.read("alder", "a1", "small"), await files.read("alder", "a2", "small")]).toEqual([
      null,
      expect.anything(),
    ]);
    await files.removeYard("alder");
    await files.removeYard("unknown");
    expect([await files.read("alder", "a3", "full"), await files.read("birch", "b1", "full")]).toEqual([
      null,
      expect.anything(),
    ]);
  });

  it("are swept where no row knows them, unless they are young", async () => {
    const { files, date } = open();
    expect(await files.removeUnknown([], at)).toBe(0);
    for (const id of ["a1", "a2"]) await files.save("alder", id, contents(id));
    for (const id of ["a1", "a2"]) date("alder", id, at);
    const known = [{ yard: "alder", id: "a1" }];
    expect(await files.removeUnknown(known, at)).toBe(0);
    expect(await files.removeUnknown(known, after(at, minutes(1)))).toBe(2);
    expect([await files.read("alder", "a1", "full"), await files.read("alder", "a2", "full")]).toEqual([
      expect.anything(),
      null,
    ]);
  });
});

describe("the folder of pictures", () => {
  it("can be read by its owner alone", async () => {
    const { folder, files } = openFolder();
    await files.save("alder", "a1", contents("a jay"));
    for (const path of [folder, join(folder, "alder")]) expect(statSync(path).mode & 0o777).toBe(0o700);
    for (const name of readdirSync(join(folder, "alder")))
      expect(statSync(join(folder, "alder", name)).mode & 0o777).toBe(0o600);
  });

  it("shows no file that a crash left half written, and the sweep removes it with an empty folder", async () => {
    const { folder, files } = openFolder();
    await files.save("alder", "a1", contents("a jay"));
    writeFileSync(join(folder, "alder", "a2.full.jpg.new"), "half");
    expect(await files.read("alder", "a2", "full")).toBeNull();
    await expect(files.save("alder", "a3", { ...contents("a jay"), full: {} as never })).rejects.toThrow(TypeError);
    expect(await files.read("alder", "a3", "full")).toBeNull();
    await files.removeUnknown([], after(instant(Date.now()), hours(2)));
    expect(existsSync(join(folder, "alder"))).toBe(false);
  });

  it.each(["..", "../alder", "a/b", "", "a.b"])("takes no name that leads elsewhere: %j", async (name) => {
    const { files } = openFolder();
    await expect(async () => files.read(name, "a1", "full")).rejects.toThrow(RangeError);
    await expect(async () => files.save("alder", name, contents("x"))).rejects.toThrow(RangeError);
    await expect(async () => files.removeYard(name)).rejects.toThrow(RangeError);
  });
});
