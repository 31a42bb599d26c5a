import { describe, expect, it } from "vitest";
import type { ApiResult } from "../../client/api/api.ts";
import { type QueuedAction, storedActions } from "../../client/offline/actionQueue.ts";
import { memoryStore } from "../../client/offline/localStore.ts";
import {
  type ActionProgress,
  actionFrom,
  progressText,
  sendStoredActions,
  storeAction,
} from "../../client/worker/notificationActions.ts";
import type { FeederView } from "../../server/contract/api.ts";
import { problem } from "./page.tsx";
import { alarmViewFixture, feederViewFixture } from "./viewFixtures.ts";

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
    notifiedPriority: "urgent" as const,
  },
};
const queuedAction = (action: string, id = `${action}-0001`, at = now): QueuedAction => {
  const queued = actionFrom(action, jammed, id, at);
  if (queued === null) throw new Error(`expected an action for ${action}`);
  return queued;
};
const ok: ApiResult<FeederView> = { kind: "ok", value: feederViewFixture(now, { id: "larch" }) };
const refusal = (status: number, detail: string): ApiResult<FeederView> => ({
  kind: "problem",
  problem: problem(status, detail),
});

/** A server with these results, and the requests it got. */
function serverThat(...results: readonly ApiResult<FeederView>[]) {
  const requests: { path: string; body: unknown }[] = [];
  const post = (path: string, body: unknown) => {
    const result = results[Math.min(requests.length, results.length - 1)];
    requests.push({ path, body });
    return Promise.resolve(result as ApiResult<FeederView>);
  };
  return { requests, post };
}

describe("an action on a notification", () => {
  it("acknowledges exactly the alarm of the notification, with its own id", () => {
    expect(queuedAction("acknowledge")).toMatchObject({
      kind: "acknowledge",
      path: "/feeders/larch/alarms/trayJammed/acknowledge",
      body: { id: "acknowledge-0001", raisedAt: "2026-11-25T12:58:00.000Z" },
      feederName: "Larch",
      text: "acknowledge tray jammed",
      requestedAt: now,
    });
  });

  it("pauses until somebody resumes", () => {
    expect(queuedAction("pause")).toMatchObject({
      kind: "pause",
      path: "/feeders/larch/orders",
      body: { id: "pause-0001", kind: "pause", until: null },
    });
  });

  it("does nothing where the notification names no feeder", () => {
    const about = (data: Partial<(typeof jammed)["data"]> | { feeder: null } | { fault: null }) =>
      ({ ...jammed, data: { ...jammed.data, ...data } }) as typeof jammed;
    expect(actionFrom("pause", about({ feeder: null }), "pause-0001", now)).toBeNull();
    expect(actionFrom("acknowledge", about({ fault: null }), "ack-00001", now)).toBeNull();
    expect(actionFrom("something", jammed, "some-0001", now)).toBeNull();
  });

  it("is sent once and then removed from the phone", async () => {
    const localStore = memoryStore();
    const server = serverThat(ok);
    await storeAction(localStore, queuedAction("acknowledge"));
    const [met] = await sendStoredActions(localStore, now, server.post);
    expect(met?.progress).toEqual({ kind: "done" });
    expect(await sendStoredActions(localStore, now, server.post)).toEqual([]);
    expect(server.requests).toHaveLength(1);
  });

  it("is queued while offline, and the same one is sent later", async () => {
    const localStore = memoryStore();
    await storeAction(localStore, queuedAction("acknowledge"));
    const cut = serverThat({ kind: "unreachable" });
    expect((await sendStoredActions(localStore, now, cut.post))[0]?.progress).toEqual({ kind: "pending" });
    expect((await sendStoredActions(localStore, now, serverThat(refusal(503, "Busy.")).post))[0]?.progress.kind).toBe(
      "pending",
    );
    const back = serverThat(ok);
    await sendStoredActions(localStore, now + minute, back.post);
    expect(back.requests).toEqual(cut.requests);
    expect(await storedActions(localStore)).toEqual([]);
  });

  it("stays queued until a person signs in, and is removed where the server will never accept it", async () => {
    const localStore = memoryStore();
    await storeAction(localStore, queuedAction("acknowledge"));
    const out = serverThat({ kind: "signedOut", problem: problem(401, "Sign in first.") });
    expect((await sendStoredActions(localStore, now, out.post))[0]?.progress).toEqual({ kind: "signedOut" });
    expect(await storedActions(localStore)).toHaveLength(1);
    const [met] = await sendStoredActions(localStore, now, serverThat(refusal(409, "It was raised again.")).post);
    expect(met?.progress).toEqual({ kind: "refused", text: "It was raised again." });
    expect(await storedActions(localStore)).toEqual([]);
  });

  it("expires when the keeper would not want it any more: a pause after ten minutes", async () => {
    const localStore = memoryStore();
    await storeAction(localStore, queuedAction("pause"));
    const server = serverThat(ok);
    const [met] = await sendStoredActions(localStore, now + 10 * minute, server.post);
    expect(met?.progress).toEqual({ kind: "expired" });
    expect(server.requests).toEqual([]);
    expect(await storedActions(localStore)).toEqual([]);
  });

  it("for an earlier raise does not acknowledge a later one", async () => {
    const localStore = memoryStore();
    await storeAction(localStore, queuedAction("acknowledge"));
    const again: ApiResult<FeederView> = {
      kind: "ok",
      value: feederViewFixture(now, { id: "larch", alarms: [alarmViewFixture(now)] }),
    };
    const [met] = await sendStoredActions(localStore, now, serverThat(again).post);
    expect(met?.progress).toEqual({ kind: "raisedAgain" });
    expect(await storedActions(localStore)).toEqual([]);
  });

  it("replaces an older order for the same feeder, and no other", async () => {
    const localStore = memoryStore();
    await storeAction(localStore, queuedAction("pause", "pause-0001"));
    await storeAction(localStore, queuedAction("acknowledge"));
    await storeAction(localStore, queuedAction("pause", "pause-0002", now + minute));
    const ids = (await storedActions(localStore)).map(({ id }) => id);
    expect(ids.sort()).toEqual(["acknowledge-0001", "pause-0002"]);
  });

  it("stops at the first that can't be sent", async () => {
    const localStore = memoryStore();
    await storeAction(localStore, queuedAction("acknowledge"));
    await storeAction(localStore, queuedAction("pause", "pause-0001", now + 1));
    const cut = serverThat({ kind: "unreachable" });
    const met = await sendStoredActions(localStore, now + 2, cut.post);
    expect(met.map(({ progress }) => progress.kind)).toEqual(["pending", "pending"]);
    expect(cut.requests).toHaveLength(1);
  });

  it("sends what a page has queued, but leaves a failure for the page to report", async () => {
    const localStore = memoryStore();
    const { notification, ...fromPage } = queuedAction("pause");
    await storeAction(localStore, fromPage);
    await sendStoredActions(localStore, now, serverThat(refusal(404, "No such feeder.")).post);
    expect(await storedActions(localStore)).toHaveLength(1);
    await sendStoredActions(localStore, now + 11 * minute, serverThat(ok).post);
    expect(await storedActions(localStore)).toHaveLength(1); // expired: the page reports it
    await sendStoredActions(localStore, now, serverThat(ok).post);
    expect(await storedActions(localStore)).toEqual([]);
  });
});

describe("the notification that replaces the tapped one", () => {
  const textOf = (action: string, progress: ActionProgress) => progressText(queuedAction(action), progress, now, zone);

  it("shows the result, and never that a pause is confirmed", () => {
    expect(textOf("acknowledge", { kind: "done" })).toBe("Acknowledged.");
    expect(textOf("acknowledge", { kind: "sentByPage" })).not.toMatch(/acknowledged/i); // it doesn't know
    expect(textOf("pause", { kind: "done" })).toBe("Pause requested. Wait for the feeder's confirmation.");
  });

  it("shows until when it is queued, by the phone's clock", () => {
    expect(textOf("pause", { kind: "pending" })).toBe(
      "Not sent yet. It is discarded if there is no connection by 14:10.",
    );
    expect(textOf("acknowledge", { kind: "pending" })).toContain("by tomorrow at 14:00");
  });

  it("shows why it could not be done", () => {
    expect(textOf("pause", { kind: "signedOut" })).toMatch(/^Not sent: .*sign in\.$/);
    expect(textOf("pause", { kind: "refused", text: "It is another alarm." })).toBe("Not done: It is another alarm.");
    expect(textOf("pause", { kind: "refused", text: "" })).toBe("Not done: the server did not accept it.");
    expect(textOf("acknowledge", { kind: "raisedAgain" })).toMatch(/has changed since then\. Check it again\.$/);
    expect(textOf("pause", { kind: "expired" })).toMatch(/^Too late: .* discarded\. Nothing has changed\.$/);
  });
});
