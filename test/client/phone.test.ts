// @vitest-environment happy-dom
import { describe, expect, it } from "vitest";
import { retryDelayMs, visibleRetryMaxMs } from "../../client/api/retry.ts";
import { type BrowserSupport, fromBase64Url, guessLabel, pushAbility } from "../../client/state/ownPhone.ts";

const browser: BrowserSupport = {
  secure: true,
  hasPush: true,
  permission: "default",
  appleTouch: false,
  standalone: false,
};

describe("whether a phone can get notifications", () => {
  it("names the obstacle, the first one first", () => {
    expect(pushAbility(browser)).toBe("ready");
    expect(pushAbility({ ...browser, secure: false, hasPush: false })).toBe("insecure");
    expect(pushAbility({ ...browser, appleTouch: true, hasPush: false, permission: "none" })).toBe("homeScreenFirst");
    expect(pushAbility({ ...browser, appleTouch: true, standalone: true })).toBe("ready");
    expect(pushAbility({ ...browser, hasPush: false })).toBe("unsupported");
    expect(pushAbility({ ...browser, permission: "denied" })).toBe("denied");
  });

  it("reads the server's key from base64url (RFC 4648, section 5)", () => {
    expect([...fromBase64Url("-_8")]).toEqual([0xfb, 0xff]);
    expect([...fromBase64Url("Zm9v")]).toEqual([102, 111, 111]);
  });

  it("proposes a name that the keeper recognizes", () => {
    expect(guessLabel("Mozilla/5.0 (Linux; Android 16) Mobile")).toBe("Android phone");
    expect(guessLabel("something else")).toBe("This device");
  });
});

describe("the wait before the next try", () => {
  it("doubles from a second to the longest and no further, and spreads phones out over half of it", () => {
    expect([0, 1, 2, 3, 4, 5, 6, 99].map((failures) => retryDelayMs(failures, 0, 30_000))).toEqual([
      1_000, 2_000, 4_000, 8_000, 16_000, 30_000, 30_000, 30_000,
    ]);
    expect(retryDelayMs(6, 1, 30_000)).toBe(15_000);
  });

  it("lets a visible page see the server within 5 s of its return", () => {
    for (let failures = 0; failures < 50; failures++)
      expect(retryDelayMs(failures, 0, visibleRetryMaxMs)).toBeLessThanOrEqual(4_000);
  });

  it("is never shorter than the server requested, and spreads phones after that time", () => {
    expect(retryDelayMs(0, 0, 4_000, 20_000)).toBe(20_000);
    expect(retryDelayMs(0, 1, 4_000, 20_000)).toBe(21_000);
    expect(retryDelayMs(5, 0, 30_000, 2_000)).toBe(30_000);
    expect(retryDelayMs(0, 0, 4_000, 10 * 365 * 86_400_000)).toBe(60 * 60_000); // nobody waits for ten years
  });
});
