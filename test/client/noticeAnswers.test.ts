import { describe, expect, it } from "vitest";
import { memoryCupboard } from "../../client/kept/cupboard.ts";
import { keptActs, type WaitingAct } from "../../client/kept/waiting.ts";
import type { Answer } from "../../client/reach/api.ts";
import { actFrom, keepAct, type Progress, progressWords, sendKept } from "../../client/worker/answering.ts";
import type { FeederView } from "../../server/contract/api.ts";
import { alarmView, feederView } from "./cannedViews.ts";
import { problem } from "./page.tsx";

const now = Date.parse("2026-11-25T13:00:00Z");
const minute = 60_000;
const zone = "Europe/Stockholm";
const jammed = {
  title: "Larch: tray jammed",
  tag: "alarm-larch",
  data: {
    navigate: "/feeders/larch",
    item: "item-00000001",
    feeder: "larch",
    fault: "trayJammed",
    raisedAt: "2026-11-25T12:58:00.000Z",
    calledAs: "urgent" as const,
  },
};
const answered = (action: string, id = `${action}-0001`, at = now): WaitingAct => {
  const act = actFrom(action, jammed, id, at);
  if (act === null) throw new Error(`expected an act for ${action}`);
  return act;
};
const ok: Answer<FeederView> = { kind: "ok", value: feederView(now, { id: "larch" }) };
const refusal = (status: number, detail: string): Answer<FeederView> => ({
  kind: "problem",
  problem: problem(status, detail),
});

/** A server that answers as told, and what it was asked. */
function serverThat(...answers: readonly Answer<FeederView>[]) {
  const asked: { path: string; body: unknown }[] = [];
  const post = (path: string, body: unknown) => {
    const answer = answers[Math.min(asked.length, answers.length - 1)];
    asked.push({ path, body });
    return Promise.resolve(answer as Answer<FeederView>);
  };
  return { asked, post };
}

describe("an answer on the notice", () => {
  it("acknowledges the very alarm that the notice spoke of, by an id of its own", () => {
    expect(answered("acknowledge")).toMatchObject({
      kind: "acknowledge",
      path: "/feeders/larch/alarms/trayJammed/acknowledge",
      body: { id: "acknowledge-0001", raisedAt: "2026-11-25T12:58:00.000Z" },
      feederName: "Larch",
      words: "acknowledge tray jammed",
      askedAt: now,
    });
  });

  it("pauses until somebody resumes", () => {
    expect(answered("pause")).toMatchObject({
      kind: "pause",
      path: "/feeders/larch/orders",
      body: { id: "pause-0001", kind: "pause", until: null },
    });
  });

  it("asks for nothing where the notice doesn't say whom it is about", () => {
    const about = (data: Partial<(typeof jammed)["data"]> | { feeder: null } | { fault: null }) =>
      ({ ...jammed, data: { ...jammed.data, ...data } }) as typeof jammed;
    expect(actFrom("pause", about({ feeder: null }), "pause-0001", now)).toBeNull();
    expect(actFrom("acknowledge", about({ fault: null }), "ack-00001", now)).toBeNull();
    expect(actFrom("something", jammed, "some-0001", now)).toBeNull();
  });

  it("is sent once and then gone from the phone", async () => {
    const cupboard = memoryCupboard();
    const server = serverThat(ok);
    await keepAct(cupboard, answered("acknowledge"));
    const [met] = await sendKept(cupboard, now, server.post);
    expect(met?.progress).toEqual({ kind: "done" });
    expect(await sendKept(cupboard, now, server.post)).toEqual([]);
    expect(server.asked).toHaveLength(1);
  });

  it("waits without a line, and the very same goes out when there is one", async () => {
    const cupboard = memoryCupboard();
    await keepAct(cupboard, answered("acknowledge"));
    const cut = serverThat({ kind: "unreachable" });
    expect((await sendKept(cupboard, now, cut.post))[0]?.progress).toEqual({ kind: "waits" });
    expect((await sendKept(cupboard, now, serverThat(refusal(503, "Busy.")).post))[0]?.progress.kind).toBe("waits");
    const back = serverThat(ok);
    await sendKept(cupboard, now + minute, back.post);
    expect(back.asked).toEqual(cut.asked);
    expect(await keptActs(cupboard)).toEqual([]);
  });

  it("is kept for whoever signs in, and let go where the server will never take it", async () => {
    const cupboard = memoryCupboard();
    await keepAct(cupboard, answered("acknowledge"));
    const out = serverThat({ kind: "signedOut", problem: problem(401, "Sign in first.") });
    expect((await sendKept(cupboard, now, out.post))[0]?.progress).toEqual({ kind: "signedOut" });
    expect(await keptActs(cupboard)).toHaveLength(1);
    const [met] = await sendKept(cupboard, now, serverThat(refusal(409, "It was raised anew.")).post);
    expect(met?.progress).toEqual({ kind: "refused", words: "It was raised anew." });
    expect(await keptActs(cupboard)).toEqual([]);
  });

  it("is let go when the keeper would no longer mean it: a pause after ten minutes", async () => {
    const cupboard = memoryCupboard();
    await keepAct(cupboard, answered("pause"));
    const server = serverThat(ok);
    const [met] = await sendKept(cupboard, now + 10 * minute, server.post);
    expect(met?.progress).toEqual({ kind: "tooLate" });
    expect(server.asked).toEqual([]);
    expect(await keptActs(cupboard)).toEqual([]);
  });

  it("that was meant for an earlier raise is not taken for one that stands now", async () => {
    const cupboard = memoryCupboard();
    await keepAct(cupboard, answered("acknowledge"));
    const again: Answer<FeederView> = { kind: "ok", value: feederView(now, { id: "larch", alarms: [alarmView(now)] }) };
    const [met] = await sendKept(cupboard, now, serverThat(again).post);
    expect(met?.progress).toEqual({ kind: "raisedAnew" });
    expect(await keptActs(cupboard)).toEqual([]);
  });

  it("takes the place of an older order for the same feeder, and of none but that", async () => {
    const cupboard = memoryCupboard();
    await keepAct(cupboard, answered("pause", "pause-0001"));
    await keepAct(cupboard, answered("acknowledge"));
    await keepAct(cupboard, answered("pause", "pause-0002", now + minute));
    const ids = (await keptActs(cupboard)).map(({ id }) => id);
    expect(ids.sort()).toEqual(["acknowledge-0001", "pause-0002"]);
  });

  it("doesn't knock again where the first found the door shut", async () => {
    const cupboard = memoryCupboard();
    await keepAct(cupboard, answered("acknowledge"));
    await keepAct(cupboard, answered("pause", "pause-0001", now + 1));
    const cut = serverThat({ kind: "unreachable" });
    const met = await sendKept(cupboard, now + 2, cut.post);
    expect(met.map(({ progress }) => progress.kind)).toEqual(["waits", "waits"]);
    expect(cut.asked).toHaveLength(1);
  });

  it("carries out what a page left behind, but leaves bad news of it to the page", async () => {
    const cupboard = memoryCupboard();
    const { notice: _, ...asked } = answered("pause");
    await keepAct(cupboard, asked);
    await sendKept(cupboard, now, serverThat(refusal(404, "No such feeder.")).post);
    expect(await keptActs(cupboard)).toHaveLength(1);
    await sendKept(cupboard, now + 11 * minute, serverThat(ok).post);
    expect(await keptActs(cupboard)).toHaveLength(1); // too late, and the page says so
    await sendKept(cupboard, now, serverThat(ok).post);
    expect(await keptActs(cupboard)).toEqual([]);
  });
});

describe("the notice in the answered one's place", () => {
  const say = (action: string, progress: Progress) => progressWords(answered(action), progress, now, zone);

  it("says what happened, and never that a pause is confirmed", () => {
    expect(say("acknowledge", { kind: "done" })).toBe("Acknowledged.");
    expect(say("acknowledge", { kind: "byPage" })).not.toMatch(/acknowledged/i); // it doesn't know
    expect(say("pause", { kind: "done" })).toBe("Pause asked. Wait for the feeder's own word before you rely on it.");
  });

  it("says until when it waits, by the phone's clock", () => {
    expect(say("pause", { kind: "waits" })).toBe("Waits for a connection; let go at 14:10 if there is none.");
    expect(say("acknowledge", { kind: "waits" })).toContain("let go at tomorrow at 14:00");
  });

  it("says why it could not be done", () => {
    expect(say("pause", { kind: "signedOut" })).toMatch(/^Could not: sign in first\./);
    expect(say("pause", { kind: "refused", words: "It is another alarm." })).toBe("Could not: It is another alarm.");
    expect(say("pause", { kind: "refused", words: "" })).toBe("Could not: the server did not accept it.");
    expect(say("acknowledge", { kind: "raisedAnew" })).toMatch(/^Too late: .* Look at it anew\.$/);
    expect(say("pause", { kind: "tooLate" })).toMatch(/^Too late: .* let go\. Nothing has changed\.$/);
  });
});
