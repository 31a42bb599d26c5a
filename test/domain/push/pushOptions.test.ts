import { describe, expect, it } from "vitest";
import { days, hours, instantOf, minutes, after as past, seconds } from "../../../server/domain/instant.ts";
import { isTopic, pushOptions, withRemainingTime } from "../../../server/domain/push/pushOptions.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";

const written = instantOf("2026-11-25T06:30:00Z");

describe("a delivery", () => {
  it("wakes a sleeping phone only for what is urgent (RFC 8030 section 5.3)", () => {
    const urgencyOf = (different: Parameters<typeof notificationFixture>[0]) =>
      pushOptions(notificationFixture(different)).urgency;
    expect(urgencyOf({ priority: "urgent" })).toBe("high");
    expect(urgencyOf({ priority: "soon" })).toBe("normal");
    expect(urgencyOf({ priority: "note" })).toBe("low");
    expect(urgencyOf({ priority: "urgent", silent: true })).toBe("low");
  });

  it("gives its time in whole seconds, four weeks at most", () => {
    expect(pushOptions(notificationFixture({ timeToLive: hours(12) })).ttlSeconds).toBe(43_200);
    expect(pushOptions(notificationFixture({ timeToLive: 1_999 as never })).ttlSeconds).toBe(1);
    expect(pushOptions(notificationFixture({ timeToLive: days(365) })).ttlSeconds).toBe(28 * 86_400);
  });

  it("gives the push service only the remaining time", () => {
    const notice = notificationFixture({ timeToLive: hours(12) });
    expect(withRemainingTime(notice, written, past(written, hours(5)))?.timeToLive).toBe(hours(7));
    expect(withRemainingTime(notice, written, past(written, hours(12)))?.timeToLive).toBe(0); // now or never
    expect(withRemainingTime(notice, written, past(written, seconds(12 * 3_600 + 1)))).toBeNull();
  });

  it("gives a notification no more time when the server's clock is set back", () => {
    expect(
      withRemainingTime(notificationFixture({ timeToLive: hours(1) }), written, past(written, minutes(-30)))
        ?.timeToLive,
    ).toBe(hours(1));
  });

  it("knows a valid topic (check value push-topic, RFC 8030 section 5.4, quoted from source)", () => {
    const topics = ["hopper-low_7", "a".repeat(32), "a".repeat(33), "has space", ""];
    expect(topics.map(isTopic)).toEqual([true, true, false, false, false]);
    expect(isTopic("a\n")).toBe(false);
  });
});
