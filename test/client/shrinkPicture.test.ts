import { describe, expect, it, vi } from "vitest";
import { fittedSize, shrinkPicture } from "../../client/state/shrinkPicture.ts";

describe("a photograph that is made smaller", () => {
  it("fits into the square, keeps its shape, and is never made larger", () => {
    expect(fittedSize(4_000, 3_000, 1_600)).toEqual({ width: 1_600, height: 1_200 });
    expect(fittedSize(3_000, 4_000, 1_600)).toEqual({ width: 1_200, height: 1_600 });
    expect(fittedSize(800, 600, 1_600)).toEqual({ width: 800, height: 600 });
    expect(fittedSize(20_000, 1, 1_600)).toEqual({ width: 1_600, height: 1 });
  });

  it("is sent as it is where this browser can't read it, unless it is too large for the server", async () => {
    vi.stubGlobal("createImageBitmap", () => Promise.reject(new Error("unknown kind")));
    vi.spyOn(console, "warn").mockImplementation(() => undefined);
    const small = new Blob(["x"]);
    expect(await shrinkPicture(small)).toBe(small);
    expect(await shrinkPicture(new Blob([new Uint8Array(8 * 1024 * 1024 + 1)]))).toBeNull();
    vi.restoreAllMocks();
    vi.unstubAllGlobals();
  });
});
