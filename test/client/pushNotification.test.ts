import { describe, expect, it } from "vitest";
import { ownPath, readPush, silentRepeat } from "../../client/worker/pushNotification.ts";
import type { PushPayload } from "../../server/contract/api.ts";

const origin = "https://feeders.example";
type Said = PushPayload["notification"];
const data = (change: Partial<Said["data"]> = {}): Said["data"] => ({
  item: "item-00000001",
  feeder: "rowan",
  fault: "trayJammed",
  priority: "urgent",
  raisedAt: "2026-11-25T13:00:00.000Z",
  actions: ["acknowledge", "pause"],
  isClosing: false,
  image: null,
  ...change,
});
const payload = (change: Partial<Said> = {}): string =>
  JSON.stringify({
    web_push: 8030,
    mutable: true,
    notification: {
      title: "Rowan: tray jammed",
      body: "Three portions ran and nothing fell.",
      navigate: `${origin}/feeders/rowan`,
      tag: "rowan-trayJammed",
      silent: false,
      lang: "en",
      data: data(),
      ...change,
    },
  } satisfies PushPayload);

describe("the notification for a push", () => {
  it("shows the server's text and opens the feeder", () => {
    const notification = readPush(payload(), origin);
    expect(notification.title).toBe("Rowan: tray jammed");
    expect(notification.options.body).toContain("nothing fell");
    expect(notification.options.tag).toBe("rowan-trayJammed");
    expect(notification.options.data.navigate).toBe("/feeders/rowan");
  });

  it("stays for an urgent alarm and is silent for good news", () => {
    expect(readPush(payload(), origin).options.requireInteraction).toBe(true);
    const quiet = readPush(payload({ silent: true, data: data({ priority: "soon" }) }), origin);
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
      const notification = readPush(text, origin);
      expect(notification.title).toBe("Pieward");
      expect(notification.options.body).not.toBe("");
      expect(notification.options.data.navigate).toBe("/");
    }
  });

  it("offers the actions that are possible at once, with our labels", () => {
    expect(readPush(payload(), origin).options.actions).toEqual([
      { action: "acknowledge", title: "Acknowledge" },
      { action: "pause", title: "Pause the feeder" },
    ]);
    const only = (change: Partial<Said["data"]>) =>
      readPush(payload({ data: data(change) }), origin).options.actions.map(({ action }) => action);
    expect(only({ actions: ["acknowledge"] })).toEqual(["acknowledge"]);
    expect(only({ actions: ["selfDestruct" as "pause"] })).toEqual([]); // of a newer server
    expect(only({ feeder: null })).toEqual([]); // nobody to pause
    expect(only({ fault: null })).toEqual(["pause"]);
  });

  it("carries the data for its actions, its display receipt and its expiry", () => {
    expect(readPush(payload(), origin).options.data).toEqual({
      navigate: "/feeders/rowan",
      item: "item-00000001",
      feeder: "rowan",
      fault: "trayJammed",
      raisedAt: "2026-11-25T13:00:00.000Z",
      notifiedPriority: "urgent",
    });
  });

  it("closes silently what needs no action any more, also where the payload does not ask for silence", () => {
    const closing = readPush(payload({ data: data({ isClosing: true }) }), origin);
    expect(closing.isClosing).toBe(true);
    expect(closing.options).toMatchObject({ silent: true, renotify: false, requireInteraction: false, actions: [] });
    expect(readPush(payload(), origin).isClosing).toBe(false);
  });

  it("makes no second sound when it is delivered twice", () => {
    const again = silentRepeat(readPush(payload(), origin));
    expect(again.options).toMatchObject({ silent: true, renotify: false, requireInteraction: true });
    expect(again.options.actions).toHaveLength(2);
  });

  it("is made from what the browser would show by itself, where there is no text", () => {
    const { notification } = JSON.parse(payload()) as { notification: unknown };
    expect(readPush(null, origin, notification)).toEqual(readPush(payload(), origin));
    expect(readPush("not JSON", origin, notification).title).toBe("Rowan: tray jammed");
  });

  it("has a picture only where it is a still of our own server", () => {
    const still = "/api/v1/yards/y1/stills/s1/picture?size=small";
    const imageOf = (image: string | null, more: Partial<Said["data"]> = {}) =>
      readPush(payload({ data: data({ image, ...more }) }), origin).image;
    expect([imageOf(still), imageOf(`${origin}${still}`)]).toEqual([still, still]);
    for (const other of [null, "", "/api/v1/session", `https://elsewhere.example${still}`, "/api/v1/yards/../x"])
      expect(imageOf(other)).toBeUndefined();
    expect(imageOf(still, { isClosing: true })).toBeUndefined();
  });

  it("never opens a page of another origin", () => {
    expect(ownPath("https://elsewhere.example/feeders/rowan", origin)).toBe("/");
    expect(ownPath("javascript:alert(1)", origin)).toBe("/");
    expect(ownPath("//elsewhere.example/", origin)).toBe("/");
    expect(ownPath("/feeders/rowan?day=2", origin)).toBe("/feeders/rowan?day=2");
    expect(ownPath(undefined, origin)).toBe("/");
  });
});
