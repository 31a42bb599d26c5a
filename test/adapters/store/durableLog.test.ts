import { rmSync } from "node:fs";
import Database from "better-sqlite3";
import { describe, expect, inject, it, onTestFinished } from "vitest";
import { groupSyncs, type LogDisk, openLogDisk } from "../../../server/adapters/store/durableLog.ts";
import { type Connections, connect } from "../../../server/adapters/store/openStore.ts";
import { instant } from "../../../server/domain/instant.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import { StoreFull } from "../../../server/ports.ts";
import { copyDatabase } from "../../support/migratedDatabase.ts";

/** A disk whose turns the test ends itself. */
function heldDisk() {
  const turns: { readonly succeed: () => void; readonly fail: (error: Error) => void }[] = [];
  const sync = () => new Promise<void>((succeed, fail) => turns.push({ succeed, fail }));
  return { turns, sync };
}

/** Until nothing more happens by itself. */
const settled = () => new Promise<void>((resolve) => setImmediate(resolve));

function outcomeOf(promise: Promise<unknown>) {
  const outcome = { is: "waiting" };
  promise.then(
    () => Object.assign(outcome, { is: "done" }),
    (error: Error) => Object.assign(outcome, { is: error.message }),
  );
  return outcome;
}

describe("commits that wait for the disk", () => {
  it("share its next turn, and never one that began before them", async () => {
    const { turns, sync } = heldDisk();
    const synced = groupSyncs(sync, () => undefined);
    const first = outcomeOf(synced());
    await settled();
    const [second, third] = [outcomeOf(synced()), outcomeOf(synced())];
    await settled();
    expect(turns.length).toBe(1);
    turns[0]?.succeed();
    await settled();
    expect([first.is, second.is, third.is, turns.length]).toEqual(["done", "waiting", "waiting", 2]);
    turns[1]?.succeed();
    await settled();
    expect([second.is, third.is]).toEqual(["done", "done"]);
  });

  it("all get its error, and then only a checkpoint of the whole log counts, until one succeeds", async () => {
    const { turns, sync } = heldDisk();
    let checkpoints = 0;
    const synced = groupSyncs(sync, () => {
      checkpoints += 1;
      if (checkpoints === 1) throw new Error("EIO: the checkpoint failed");
    });
    const [first, second] = [outcomeOf(synced()), outcomeOf(synced())];
    await settled();
    turns[0]?.fail(new Error("EIO"));
    await settled();
    expect([first.is, second.is]).toEqual(["EIO", "EIO"]);
    await expect(synced()).rejects.toThrow("the checkpoint failed");
    await synced();
    expect([checkpoints, turns.length]).toEqual([2, 1]);
    const next = outcomeOf(synced());
    await settled();
    turns[1]?.succeed();
    await settled();
    expect([next.is, checkpoints]).toEqual(["done", 2]);
  });
});

async function openOn(openDisk: (file: string) => LogDisk): Promise<Connections & { readonly file: string }> {
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  return { ...(await connect(`file:${file}`, rebuildState, undefined, openDisk)), file };
}

const claim = (connections: Connections, id: string) =>
  connections.transact((tx) => tx.claimActionId("rowan", id, instant(0)));

describe("a write of the store", () => {
  it("is answered only once the disk has it, while the next one is already made", async () => {
    const { turns, sync } = heldDisk();
    const connections = await openOn((file) => ({ ...openLogDisk(file), sync }));
    const [first, second] = [outcomeOf(claim(connections, "first")), outcomeOf(claim(connections, "second"))];
    await settled();
    const stored = () => connections.directReading.prepare(`SELECT "id" FROM "ActionId" ORDER BY "id"`).pluck().all();
    expect(stored()).toEqual(["first", "second"]);
    expect([first.is, second.is]).toEqual(["waiting", "waiting"]);
    const ended = connections.close();
    for (let turn = 0; turn < 4; turn += 1) {
      turns[turn]?.succeed();
      await settled();
    }
    expect([first.is, second.is]).toEqual(["done", "done"]);
    await ended;
  });

  it("is refused as on a full disk where the disk fails, and the next one is stored with it", async () => {
    let isFailing = true;
    const connections = await openOn((file) => {
      const disk = openLogDisk(file);
      return {
        ...disk,
        sync: async () => {
          if (isFailing) throw Object.assign(new Error("EIO: i/o error, fdatasync"), { code: "EIO" });
          await disk.sync();
        },
      };
    });
    await expect(claim(connections, "first")).rejects.toThrow(StoreFull);
    isFailing = false;
    await claim(connections, "second");
    // The whole log was written into the database, so that both are in the file alone.
    const file = new Database(connections.file, { readonly: true });
    expect(file.pragma("wal_checkpoint(PASSIVE)")).toEqual([expect.objectContaining({ log: 0 })]);
    file.close();
    await connections.close();
  });

  it("has the log taken into the database by another thread, so that the log stays small", async () => {
    let checkpoints = 0;
    const connections = await openOn((file) => {
      const disk = openLogDisk(file);
      return {
        ...disk,
        checkpoint: async () => {
          await disk.checkpoint();
          checkpoints += 1;
        },
      };
    });
    // Each counts as four pages at least, and a thousand pages are due.
    for (let index = 0; index < 600; index += 1) await claim(connections, `action ${index}`);
    await connections.close();
    expect(checkpoints).toBe(2);
  });
});
