import { afterEach, describe, expect, it, vi } from "vitest";
import { fetchImage } from "../../client/worker/notificationImage.ts";

const path = "/api/v1/yards/y1/stills/s1/picture?size=small";
const answer = (body: BodyInit, status = 200, type = "image/jpeg") =>
  vi.stubGlobal(
    "fetch",
    vi.fn(async () => new Response(body, { status, headers: { "content-type": type } })),
  );
afterEach(() => vi.unstubAllGlobals());

describe("the picture of a notification", () => {
  it("is fetched with the session's cookie, and needs no second request", async () => {
    answer(new Uint8Array([0xff, 0xd8, 0x00, 0x80]));
    expect(await fetchImage(path)).toBe("data:image/jpeg;base64,/9gAgA==");
    expect(fetch).toHaveBeenCalledWith(path, expect.objectContaining({ credentials: "same-origin" }));
  });

  it.each([
    ["signed out", () => answer("{}", 401, "application/problem+json")],
    ["deleted", () => answer("", 404)],
    ["no picture", () => answer("<html>", 200, "text/html")],
    ["too large", () => answer(new Uint8Array(256 * 1024 + 1))],
  ])("is left out: %s", async (_name, set) => {
    set();
    expect(await fetchImage(path)).toBeNull();
  });

  it("is left out without a connection, with a warning", async () => {
    const warn = vi.spyOn(console, "warn").mockImplementation(() => undefined);
    vi.stubGlobal(
      "fetch",
      vi.fn(() => Promise.reject(new TypeError("offline"))),
    );
    expect(await fetchImage(path)).toBeNull();
    expect(warn).toHaveBeenCalledOnce();
    warn.mockRestore();
  });
});
