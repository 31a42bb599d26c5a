import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { type FeederClock, initialClock, sendingTime } from "../../server/domain/feederClock.ts";
import * as time from "../../server/domain/instant.ts";
import { hours, instantOf, isoOf, minutes, type Span, seconds } from "../../server/domain/instant.ts";

const receivedAt = instantOf("2026-01-15T08:00:00Z");

function read(clock: FeederClock, boot: string, sentUptime: Span | null, at = receivedAt) {
  return sendingTime(clock, boot, sentUptime, at);
}

describe("the feeder's clock", () => {
  it("rebuilds every moment of a boot from its uptime: received at, less what has passed since", () => {
    const { instantOf } = read(initialClock(), "b-1", hours(10));
    expect(isoOf(instantOf(hours(10)))).toBe("2026-01-15T08:00:00.000Z");
    expect(isoOf(instantOf(hours(4)))).toBe("2026-01-15T02:00:00.000Z");
  });

  it("sets nothing later than it was reported", () => {
    const { instantOf } = read(initialClock(), "b-1", hours(10));
    expect(instantOf(hours(11))).toBe(receivedAt);
  });

  it("keeps the order and the distances of what the feeder recorded", () => {
    fc.assert(
      fc.property(fc.nat(1e9), fc.nat(1e9), fc.nat(1e9), (a, b, more) => {
        const [early, late] = [Math.min(a, b), Math.max(a, b)] as [Span, Span];
        const { instantOf } = read(initialClock(), "b-1", (late + more) as Span);
        expect(instantOf(late) - instantOf(early)).toBe(late - early);
      }),
    );
  });

  it("remembers a boot id that is used again until the feeder speaks under another", () => {
    const { clock } = read(initialClock(), "b-1", hours(10));
    expect(clock.reusedBoot).toBeUndefined();
    const again = read(clock, "b-1#2", seconds(30), time.after(receivedAt, minutes(1)));
    expect(again.clock.reusedBoot).toEqual({
      boot: "b-1",
      startCount: 2,
      noticedAt: time.after(receivedAt, minutes(1)),
    });
    const goesOn = read(again.clock, "b-1#2", seconds(90), time.after(receivedAt, minutes(2)));
    expect(goesOn.clock.reusedBoot).toEqual(again.clock.reusedBoot);
    expect(read(goesOn.clock, "b-2", seconds(9), time.after(receivedAt, minutes(3))).clock).not.toHaveProperty(
      "reused",
    );
  });

  it("is not moved by a late report of a start that is over", () => {
    const first = read(initialClock(), "b-1", hours(10));
    const second = read(first.clock, "b-1#2", seconds(30), time.after(receivedAt, minutes(1)));
    const late = read(second.clock, "b-1", (hours(10) + seconds(20)) as Span, time.after(receivedAt, minutes(2)));
    expect(late.clock).toEqual(second.clock);
    expect(late.instantOf((hours(10) + seconds(20)) as Span)).toBe(time.after(receivedAt, seconds(20)));
  });

  it("takes an uptime that is a little behind for a late duplicate, which must not move the clock", () => {
    const first = read(initialClock(), "b-1", hours(10));
    const late = read(
      first.clock,
      "b-1",
      time.milliseconds(hours(10) - minutes(5)),
      time.after(receivedAt, minutes(2)),
    );
    expect(late.clock).toEqual(first.clock);
    expect(late.instantOf(hours(9))).toBe(first.instantOf(hours(9)));
  });

  it("dates what an earlier boot left behind by what that boot reported while it ran", () => {
    const { clock } = read(initialClock(), "b-1", hours(10));
    const rebooted = read(clock, "b-2", seconds(20), time.after(receivedAt, hours(1)));
    const left = read(rebooted.clock, "b-1", null, time.after(receivedAt, hours(1)));
    expect(isoOf(left.instantOf(hours(10.5) as Span))).toBe("2026-01-15T08:30:00.000Z");
    expect(left.clock).toEqual(rebooted.clock);
  });

  it("takes what a boot left behind that never reported anything as happening now, since nothing better is known", () => {
    const { instantOf } = read(initialClock(), "b-0", null);
    expect(instantOf(hours(3))).toBe(receivedAt);
  });

  it("remembers eight boots and no more, however often the feeder restarts", () => {
    let clock = initialClock();
    for (let boot = 1; boot <= 30; boot++) {
      ({ clock } = read(clock, `b-${boot}`, seconds(10), time.after(receivedAt, minutes(boot))));
    }
    expect(clock.boots.map((anchor) => anchor.boot)).toEqual([23, 24, 25, 26, 27, 28, 29, 30].map((n) => `b-${n}`));
    expect(JSON.parse(JSON.stringify(clock))).toEqual(clock);
  });
});
