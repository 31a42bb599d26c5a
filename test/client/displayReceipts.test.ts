import { describe, expect, it } from "vitest";
import { type QueuedReceipt, sendDisplayReceipts, storeDisplayReceipt } from "../../client/offline/displayReceipts.ts";
import { memoryStore } from "../../client/offline/localStore.ts";

const now = Date.parse("2026-11-25T13:00:00Z");
const hour = 3_600_000;
const report = (item: string, shownAt = now): QueuedReceipt => ({ item, displayedAt: shownAt });

function serverThat(reply: number | "cut") {
  const receipts: QueuedReceipt[] = [];
  const post = (receipt: QueuedReceipt) => {
    receipts.push(receipt);
    return reply === "cut" ? Promise.reject(new TypeError("offline")) : Promise.resolve(reply);
  };
  return { receipts, post };
}

describe("a display receipt", () => {
  it("is sent once and then removed", async () => {
    const localStore = memoryStore();
    await storeDisplayReceipt(localStore, report("item-1"));
    const server = serverThat(204);
    await sendDisplayReceipts(localStore, now, server.post);
    await sendDisplayReceipts(localStore, now, server.post);
    expect(server.receipts).toEqual([report("item-1")]);
  });

  it("is stored on the phone with its time while the server can't be reached or has a problem", async () => {
    const localStore = memoryStore();
    await storeDisplayReceipt(localStore, report("item-1"));
    for (const trouble of ["cut", 503, 429, 500] as const)
      await sendDisplayReceipts(localStore, now, serverThat(trouble).post);
    const back = serverThat(204);
    await sendDisplayReceipts(localStore, now + 5 * hour, back.post);
    expect(back.receipts).toEqual([report("item-1", now)]);
  });

  it("makes one request and not one for each, where the server can't be reached", async () => {
    const localStore = memoryStore();
    for (const item of ["item-1", "item-2", "item-3"]) await storeDisplayReceipt(localStore, report(item));
    const cut = serverThat("cut");
    await sendDisplayReceipts(localStore, now, cut.post);
    expect(cut.receipts).toHaveLength(1);
    const back = serverThat(204);
    await sendDisplayReceipts(localStore, now, back.post);
    expect(back.receipts.map(({ item }) => item).sort()).toEqual(["item-1", "item-2", "item-3"]);
  });

  it("is removed where the server does not know the notification any more, and after a day", async () => {
    const localStore = memoryStore();
    await storeDisplayReceipt(localStore, report("item-1"));
    await sendDisplayReceipts(localStore, now, serverThat(404).post);
    expect(await localStore.keys()).toEqual([]);
    await storeDisplayReceipt(localStore, report("item-2"));
    const late = serverThat(204);
    await sendDisplayReceipts(localStore, now + 24 * hour, late.post);
    expect(late.receipts).toEqual([]);
    expect(await localStore.keys()).toEqual([]);
  });

  it("expires also after the clock was set back", async () => {
    const localStore = memoryStore();
    await storeDisplayReceipt(localStore, report("item-1", now + 30 * hour));
    await sendDisplayReceipts(localStore, now, serverThat("cut").post);
    expect(await localStore.keys()).toEqual([]);
  });
});
