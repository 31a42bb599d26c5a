import { describe, expect, it } from "vitest";
import { type DisplayReceipt, sendDisplayReceipts, storeDisplayReceipt } from "../../client/offline/displayReceipts.ts";
import { memoryStore } from "../../client/offline/localStore.ts";

const now = Date.parse("2026-11-25T13:00:00Z");
const hour = 3_600_000;
const report = (item: string, shownAt = now): DisplayReceipt => ({ item, displayedAt: shownAt });

function serverThat(answer: number | "cut") {
  const asked: DisplayReceipt[] = [];
  const post = (said: DisplayReceipt) => {
    asked.push(said);
    return answer === "cut" ? Promise.reject(new TypeError("no line")) : Promise.resolve(answer);
  };
  return { asked, post };
}

describe("a display receipt", () => {
  it("is sent once and then removed", async () => {
    const cupboard = memoryStore();
    await storeDisplayReceipt(cupboard, report("item-1"));
    const server = serverThat(204);
    await sendDisplayReceipts(cupboard, now, server.post);
    await sendDisplayReceipts(cupboard, now, server.post);
    expect(server.asked).toEqual([report("item-1")]);
  });

  it("is stored on the phone with its time while the server can't be reached or has a problem", async () => {
    const cupboard = memoryStore();
    await storeDisplayReceipt(cupboard, report("item-1"));
    for (const trouble of ["cut", 503, 429, 500] as const)
      await sendDisplayReceipts(cupboard, now, serverThat(trouble).post);
    const back = serverThat(204);
    await sendDisplayReceipts(cupboard, now + 5 * hour, back.post);
    expect(back.asked).toEqual([report("item-1", now)]);
  });

  it("makes one request and not one for each, where the server can't be reached", async () => {
    const cupboard = memoryStore();
    for (const item of ["item-1", "item-2", "item-3"]) await storeDisplayReceipt(cupboard, report(item));
    const cut = serverThat("cut");
    await sendDisplayReceipts(cupboard, now, cut.post);
    expect(cut.asked).toHaveLength(1);
    const back = serverThat(204);
    await sendDisplayReceipts(cupboard, now, back.post);
    expect(back.asked.map(({ item }) => item).sort()).toEqual(["item-1", "item-2", "item-3"]);
  });

  it("is removed where the server does not know the notification any more, and after a day", async () => {
    const cupboard = memoryStore();
    await storeDisplayReceipt(cupboard, report("item-1"));
    await sendDisplayReceipts(cupboard, now, serverThat(404).post);
    expect(await cupboard.keys()).toEqual([]);
    await storeDisplayReceipt(cupboard, report("item-2"));
    const late = serverThat(204);
    await sendDisplayReceipts(cupboard, now + 24 * hour, late.post);
    expect(late.asked).toEqual([]);
    expect(await cupboard.keys()).toEqual([]);
  });

  it("expires also after the clock was set back", async () => {
    const cupboard = memoryStore();
    await storeDisplayReceipt(cupboard, report("item-1", now + 30 * hour));
    await sendDisplayReceipts(cupboard, now, serverThat("cut").post);
    expect(await cupboard.keys()).toEqual([]);
  });
});
