import { describe, expect, it } from "vitest";
import { feederSentence } from "../../client/text/feeder.ts";
import { feederViewFixture } from "./viewFixtures.ts";

const now = Date.parse("2026-11-25T13:20:00Z"); // 14:20 in Stockholm
const page = { now, asOf: now, connection: "live", zone: "Europe/Stockholm" } as const;
const rowan = feederViewFixture(now);

describe("a feeder's sentence in the list", () => {
  it("is the server's own while the page is live", () => {
    expect(feederSentence(rowan, page)).toBe("OK: very likely enough until Saturday.");
  });

  it("shows its age and not that a feeder is OK, while offline and on an old page", () => {
    const old = { ...page, asOf: now - 40 * 60_000 };
    for (const connection of ["offline", "unknown", "polling"] as const) {
      expect(feederSentence(rowan, { ...old, connection })).toBe("At 13:40: very likely enough until Saturday.");
    }
    expect(feederSentence({ ...rowan, summary: "Tray jammed since 13:20." }, { ...old, connection: "offline" })).toBe(
      "At 13:40: tray jammed since 13:20.",
    );
  });

  it("stops showing it as OK when its last report is too old, though nothing else came", () => {
    const later = { ...page, now: now + 20 * 60_000 };
    expect(feederSentence(rowan, later)).toBe("Last report 22 minutes ago. Very likely enough until Saturday.");
    expect(feederSentence({ ...rowan, summaryValidUntil: null }, page)).not.toMatch(/\bOK\b/); // a view from an earlier server
  });
});
