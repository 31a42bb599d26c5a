import { describe, expect, it } from "vitest";
import { noticeFrom, ownPath } from "../../client/worker/pushNotice.ts";
import type { PushPayload } from "../../server/contract/api.ts";

const origin = "https://feeders.example";
const payload = (change: Partial<PushPayload["notification"]> = {}): string =>
  JSON.stringify({
    web_push: 8030,
    notification: {
      title: "Rowan: tray jammed",
      body: "Three portions ran and nothing fell.",
      navigate: `${origin}/feeders/rowan`,
      tag: "rowan-trayJammed",
      silent: false,
      lang: "en",
      data: { feeder: "rowan", fault: "trayJammed", priority: "urgent" },
      ...change,
    },
  } satisfies PushPayload);

describe("a push as a notice", () => {
  it("shows the server's words and leads to the feeder", () => {
    const notice = noticeFrom(payload(), origin);
    expect(notice.title).toBe("Rowan: tray jammed");
    expect(notice.options.body).toContain("nothing fell");
    expect(notice.options.tag).toBe("rowan-trayJammed");
    expect(notice.options.data.navigate).toBe("/feeders/rowan");
  });

  it("lets an urgent one stand and good news pass without a sound", () => {
    expect(noticeFrom(payload(), origin).options.requireInteraction).toBe(true);
    const quiet = noticeFrom(
      payload({ silent: true, data: { feeder: "rowan", fault: null, priority: "soon" } }),
      origin,
    );
    expect(quiet.options).toMatchObject({ silent: true, renotify: false, requireInteraction: false });
  });

  it("is shown even if it can't be read", () => {
    for (const text of [
      null,
      "",
      "not JSON",
      "null",
      "42",
      "{}",
      '{"notification":{}}',
      '{"notification":{"title":7}}',
    ]) {
      const notice = noticeFrom(text, origin);
      expect(notice.title).toBe("Pieward");
      expect(notice.options.body).not.toBe("");
      expect(notice.options.data.navigate).toBe("/");
    }
  });

  it("never leads away from the notebook", () => {
    expect(ownPath("https://elsewhere.example/feeders/rowan", origin)).toBe("/");
    expect(ownPath("javascript:alert(1)", origin)).toBe("/");
    expect(ownPath("//elsewhere.example/", origin)).toBe("/");
    expect(ownPath("/feeders/rowan?day=2", origin)).toBe("/feeders/rowan?day=2");
    expect(ownPath(undefined, origin)).toBe("/");
  });
});
