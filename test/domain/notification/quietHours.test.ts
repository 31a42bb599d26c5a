import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { after, type Instant, instantOf, isoOf, minutes } from "../../../server/domain/instant.ts";
import { instantOfLocal, localTimeOf } from "../../../server/domain/localTime.ts";
import { notifiableFrom, quietUntil } from "../../../server/domain/notification/quietHours.ts";

const stockholm = "Europe/Stockholm";
const night = { from: "22:00", to: "07:00" };

/** Each stretch of quiet within a span, by looking every five minutes. */
function quietSpans(quiet: { from: string; to: string }, zone: string, from: string, to: string): string[] {
  const spans: string[] = [];
  let since: Instant | null = null;
  for (let at = instantOf(from); at < instantOf(to); at = after(at, minutes(5))) {
    const until = quietUntil(quiet, zone, at);
    if (until !== null && until <= at) throw new Error("an end must lie ahead");
    if (until !== null) since ??= at;
    else if (since !== null) {
      spans.push(`${isoOf(since).slice(5, 16)} ${isoOf(at).slice(5, 16)}`);
      since = null;
    }
  }
  return spans;
}

describe("quiet hours", () => {
  it("span midnight by the yard's own clock, their first minute in and their last out", () => {
    const at = (date: string, time: string) => instantOfLocal(date, time, stockholm);
    expect(quietUntil(night, stockholm, at("2026-12-01", "21:59"))).toBeNull();
    expect(quietUntil(night, stockholm, at("2026-12-01", "22:00"))).toBe(at("2026-12-02", "07:00"));
    expect(quietUntil(night, stockholm, at("2026-12-02", "03:00"))).toBe(at("2026-12-02", "07:00"));
    expect(quietUntil(night, stockholm, at("2026-12-02", "07:00"))).toBeNull();
    const noon = { from: "12:00", to: "13:30" };
    expect(quietUntil(noon, stockholm, at("2026-12-01", "13:29"))).toBe(at("2026-12-01", "13:30"));
    expect(quietUntil(noon, stockholm, at("2026-12-01", "23:00"))).toBeNull();
  });

  it("last eight hours in the night that loses one, and ten in the night that gains one", () => {
    // Stockholm's clocks change on 2026-03-29 and 2026-10-25 at 01:00Z (tz 2025c).
    expect(quietSpans(night, stockholm, "2026-03-28T12:00Z", "2026-03-30T12:00Z")).toEqual([
      "03-28T21:00 03-29T05:00",
      "03-29T20:00 03-30T05:00",
    ]);
    expect(quietSpans(night, stockholm, "2026-10-24T12:00Z", "2026-10-26T12:00Z")).toEqual([
      "10-24T20:00 10-25T06:00",
      "10-25T21:00 10-26T06:00",
    ]);
  });

  it("end an hour later by name where their end is left out, and at its first coming where it is doubled", () => {
    const early = { from: "22:00", to: "02:30" };
    expect(quietSpans(early, stockholm, "2026-03-28T12:00Z", "2026-03-29T12:00Z")).toEqual(["03-28T21:00 03-29T01:30"]);
    expect(quietSpans(early, stockholm, "2026-10-24T12:00Z", "2026-10-25T12:00Z")).toEqual(["10-24T20:00 10-25T00:30"]);
  });

  it("begin with the day where its midnight is left out", () => {
    // Havana goes from 2026-03-08 00:00 to 01:00 (05:00Z).
    const small = { from: "00:00", to: "06:00" };
    expect(quietSpans(small, "America/Havana", "2026-03-07T12:00Z", "2026-03-08T20:00Z")).toEqual([
      "03-08T05:00 03-08T10:00",
    ]);
    const evening = { from: "20:00", to: "00:00" };
    expect(quietSpans(evening, "America/Havana", "2026-03-07T12:00Z", "2026-03-08T20:00Z")).toEqual([
      "03-08T01:00 03-08T05:00",
    ]);
  });

  it("end the same night where a whole date is left out", () => {
    // Apia had no 30 December 2011: from the 29th at 24:00 (10:00Z on the 30th) it was the 31st.
    expect(quietSpans(night, "Pacific/Apia", "2011-12-30T00:00Z", "2011-12-31T12:00Z").slice(0, 1)).toEqual([
      "12-30T08:00 12-30T17:00",
    ]);
  });

  it("agree on days without a change with the plain look at the clock on the wall", () => {
    const time = fc.integer({ min: 0, max: 1439 });
    const text = (of: number) => `${`${Math.floor(of / 60)}`.padStart(2, "0")}:${`${of % 60}`.padStart(2, "0")}`;
    const zone = fc.constantFrom(stockholm, "Atlantic/Reykjavik", "Asia/Kathmandu", "America/Havana");
    fc.assert(
      fc.property(time, time, zone, fc.integer({ min: 0, max: 9 * 1440 }), (from, to, where, minute) => {
        const at = after(instantOf("2026-01-10T00:00:00Z"), minutes(minute));
        const wall = localTimeOf(at, where);
        const [begin, end] = [text(from), text(to)];
        const inside = begin < end ? wall >= begin && wall < end : wall >= begin || wall < end;
        const until = quietUntil({ from: begin, to: end }, where, at);
        expect(until !== null).toBe(begin !== end && inside);
        if (until !== null) expect(localTimeOf(until, where)).toBe(end);
      }),
      { numRuns: 300 },
    );
  });

  it("are none where they begin when they end", () => {
    expect(quietUntil({ from: "07:00", to: "07:00" }, stockholm, instantOf("2026-12-01T06:00Z"))).toBeNull();
  });

  it("hold back what may wait, and what is urgent only where the person wants no exception", () => {
    const at = instantOfLocal("2026-12-02", "03:00", stockholm);
    const morning = instantOfLocal("2026-12-02", "07:00", stockholm);
    expect(notifiableFrom({ quietHours: night, urgentBreaks: true }, "urgent", stockholm, at)).toBe(at);
    expect(notifiableFrom({ quietHours: night, urgentBreaks: false }, "urgent", stockholm, at)).toBe(morning);
    expect(notifiableFrom({ quietHours: night, urgentBreaks: true }, "soon", stockholm, at)).toBe(morning);
    expect(notifiableFrom({ quietHours: null, urgentBreaks: false }, "soon", stockholm, at)).toBe(at);
  });

  it("say which time they can't read", () => {
    expect(() => quietUntil({ from: "late", to: "07:00" }, stockholm, instantOf("2026-12-01T06:00Z"))).toThrow(
      RangeError,
    );
  });
});
