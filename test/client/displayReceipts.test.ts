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

describe("the proof that a notice was shown", () => {
  it("is told once and then forgotten", async () => {
    const cupboard = memoryStore();
    await storeDisplayReceipt(cupboard, report("item-1"));
    const server = serverThat(204);
    await sendDisplayReceipts(cupboard, now, server.post);
    await sendDisplayReceipts(cupboard, now, server.post);
    expect(server.asked).toEqual([report("item-1")]);
  });

  it("waits on the phone while the server can't be reached or is troubled, with the time at which it was shown", async () => {
    const cupboard = memoryStore();
    await storeDisplayReceipt(cupboard, report("item-1"));
    for (const trouble of ["cut", 503, 429, 500] as const)
      await sendDisplayReceipts(cupboard, now, serverThat(trouble).post);
    const back = serverThat(204);
    await sendDisplayReceipts(cupboard, now + 5 * hour, back.post);
    expect(back.asked).toEqual([report("item-1", now)]);
  });

  it("knocks once and not for each, where nobody opens", async () => {
    const cupboard = memoryStore();
    for (const item of ["item-1", "item-2", "item-3"]) await storeDisplayReceipt(cupboard, report(item));
    const cut = serverThat("cut");
    await sendDisplayReceipts(cupboard, now, cut.post);
    expect(cut.asked).toHaveLength(1);
    const back = serverThat(204);
    await sendDisplayReceipts(cupboard, now, back.post);
    expect(back.asked.map(({ item }) => item).sort()).toEqual(["item-1", "item-2", "item-3"]);
  });

  it("is dropped where the server doesn't know the notice any more, and after a day", async () => {
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

  it("doesn't live on by a clock that was set back", async () => {
    const cupboard = memoryStore();
    await storeDisplayReceipt(cupboard, report("item-1", now + 30 * hour));
    await sendDisplayReceipts(cupboard, now, serverThat("cut").post);
    expect(await cupboard.keys()).toEqual([]);
  });
});
