import { describe, expect, it } from "vitest";
import { findChromium } from "./chromium.ts";

const only = (there: string) => (path: string) => path === there;

describe("the browser for tests", () => {
  it("is the one that is named, or else the distribution's", () => {
    expect(findChromium({ CHROMIUM_PATH: "/opt/chromium" }, only("/opt/chromium")).path).toBe("/opt/chromium");
    expect(findChromium({ CHROMIUM_PATH: "" }, only("/usr/bin/chromium"))).toEqual({
      path: "/usr/bin/chromium",
      unlessAbsent: "",
    });
  });

  it("reports how to get one where there is none, instead of being skipped without a message", () => {
    const messages: string[] = [];
    expect(
      findChromium(
        {},
        () => false,
        (text) => messages.push(text),
      ),
    ).toEqual({
      path: null,
      unlessAbsent:
        " (skipped: no browser at /usr/bin/chromium: install Chromium (Debian: apt install chromium) or set CHROMIUM_PATH)",
    });
    expect(messages).toEqual([expect.stringContaining("Browser tests are skipped: no browser at /usr/bin/chromium")]);
  });

  it("may not be absent where it is demanded", () => {
    expect(() => findChromium({ PIEWARD_DEMAND_BROWSER: "1" }, () => false)).toThrow("no browser at /usr/bin/chromium");
    expect(findChromium({ PIEWARD_DEMAND_BROWSER: "1" }, () => true).path).toBe("/usr/bin/chromium");
  });
});
