import { describe, expect, it } from "vitest";
import type { Notice } from "../../server/domain/facts.ts";
import { newFeeder } from "../../server/domain/feeder.ts";
import { days, hours, type Instant, instantOf, isoOf, minutes, after as past } from "../../server/domain/instant.ts";
import { type DigestPorts, sendDueDigests } from "../../server/flows/digest.ts";
import type { DayCounts, YardRow } from "../../server/ports.ts";
import { someSettings } from "../support/feeders.ts";

const morning = instantOf("2026-11-25T06:30:00Z"); // 07:30 in Stockholm
const alderCroft: YardRow = {
  id: "alder",
  name: "Alder Croft",
  zone: "Europe/Stockholm",
  place: null,
  digestTime: "07:30",
  digestWanted: true,
  practice: false,
  escalateMinutes: 15,
};

/** A house with yards, whose store keeps digests by local date and writes all of a transaction or nothing. */
function house(yards: YardRow[]) {
  const clock = { at: morning as Instant, now: () => clock.at };
  const digests = new Map<string, { readonly title: string; readonly lines: readonly string[] }>();
  const enqueued: {
    readonly yard: string;
    readonly feeder: string | null;
    readonly notice: Notice;
    readonly at: Instant;
  }[] = [];
  const tallied: { readonly feeder: string; readonly from: string; readonly to: string }[] = [];
  const faults = { enqueue: false, feedersOf: "" };
  const feeder = { addedAt: past(morning, days(-365)) }; // long ago, unless a test says otherwise
  let rings = 0;
  const counts: DayCounts = { visits: 3, presses: 0, deposits: 0, portions: 2, alarmsRaised: 0 };
  const ports: DigestPorts = {
    clock,
    bell: {
      ring() {
        rings++;
      },
    },
    store: {
      digests: {
        yardsWithDigest: async () => yards,
        async feedersOf(yard) {
          if (faults.feedersOf === yard) throw new Error("a row that can't be read");
          const state = newFeeder(someSettings(), morning);
          return [
            {
              id: `${yard}-rowan`,
              yard,
              practice: false,
              revision: 1,
              ...feeder,
              lastHeardAt: null,
              steppedAt: null,
              state,
            },
          ];
        },
        readersOf: async () => [{ person: "keeper", digestBy: "push" }],
        hasDigest: async (yard, date) => digests.has(`${yard} ${date}`),
        async tally(feeder, from, to) {
          tallied.push({ feeder, from: isoOf(from), to: isoOf(to) });
          return counts;
        },
      },
      async transaction(work) {
        const [kept, queued] = [new Map(digests), enqueued.length];
        try {
          return await work({
            async claimDigest(yard, date, _, title, lines) {
              if (digests.has(`${yard} ${date}`)) return false;
              digests.set(`${yard} ${date}`, { title, lines });
              return true;
            },
            async enqueue({ yard, feeder, notice }, at) {
              if (faults.enqueue) throw new Error("the disk is full");
              enqueued.push({ yard, feeder, notice, at });
            },
          });
        } catch (error) {
          digests.clear();
          for (const [key, digest] of kept) digests.set(key, digest);
          enqueued.length = queued;
          throw error;
        }
      },
    },
  };
  return { feeder, ports, clock, digests, enqueued, tallied, faults, rings: () => rings };
}

describe("the digest flow", () => {
  it("writes the digest and one notice for the whole yard, quietly, and rings the outbox", async () => {
    const { ports, digests, enqueued, rings } = house([alderCroft]);
    expect(await sendDueDigests(ports)).toBe(1);
    const digest = digests.get("alder 2026-11-25");
    expect(digest?.title).toBe("Alder Croft, today: nothing to do");
    expect(enqueued).toHaveLength(1);
    expect(enqueued[0]).toMatchObject({
      yard: "alder",
      feeder: null,
      at: morning,
      notice: { fault: null, priority: "note", quiet: true, title: digest?.title, body: digest?.lines.join("\n") },
    });
    expect(rings()).toBe(1);
  });

  it("lets it lapse in the evening, and gives a late one two hours", async () => {
    const { ports, enqueued, clock } = house([alderCroft, { ...alderCroft, id: "late", digestTime: "21:00" }]);
    await sendDueDigests(ports);
    clock.at = past(morning, hours(13.5)); // 21:00 in Stockholm
    await sendDueDigests(ports);
    expect(enqueued.map(({ notice }) => notice.timeToLive)).toEqual([hours(12.5), hours(2)]);
  });

  it("keeps one topic for each yard, so that a new digest replaces yesterday's", async () => {
    const { ports, enqueued, clock } = house([alderCroft, { ...alderCroft, id: "birch" }]);
    await sendDueDigests(ports);
    clock.at = past(morning, hours(24));
    await sendDueDigests(ports);
    const topics = enqueued.map(({ yard, notice }) => `${yard} ${notice.topic}`);
    expect(new Set(topics).size).toBe(2);
    expect(topics).toHaveLength(4);
  });

  it("sends one a date, however often it is asked and however many ask at once", async () => {
    const { ports, clock, enqueued } = house([alderCroft]);
    for (let minute = 0; minute < 500; minute++) {
      clock.at = past(morning, minutes(minute));
      await Promise.all([sendDueDigests(ports), sendDueDigests(ports)]);
    }
    expect(enqueued).toHaveLength(1);
  });

  it("counts the birds' day from digest time to digest time, 25 hours over the autumn change, also when late", async () => {
    const { ports, clock, tallied } = house([alderCroft]);
    clock.at = instantOf("2026-10-25T09:00:00Z"); // 10:00 in Stockholm, two and a half hours late
    expect(await sendDueDigests(ports)).toBe(1);
    // 07:30 on both dates by check value tz-Europe/Stockholm.
    expect(tallied).toEqual([
      { feeder: "alder-rowan", from: "2026-10-24T05:30:00.000Z", to: "2026-10-25T06:30:00.000Z" },
    ]);
  });

  it("sends nothing before its time, and to no yard that doesn't want it", async () => {
    const { ports, clock, enqueued, rings } = house([alderCroft, { ...alderCroft, id: "birch", digestWanted: false }]);
    clock.at = past(morning, minutes(-1));
    expect(await sendDueDigests(ports)).toBe(0);
    clock.at = morning;
    expect(await sendDueDigests(ports)).toBe(1);
    expect(enqueued.map(({ yard }) => yard)).toEqual(["alder"]);
    expect(rings()).toBe(1);
  });

  it("does without a digest that another process wrote a moment before", async () => {
    const { ports, digests, enqueued, rings } = house([alderCroft]);
    const { hasDigest } = ports.store.digests;
    Object.assign(ports.store.digests, {
      async hasDigest(yard: string, date: string) {
        const had = await hasDigest(yard, date);
        digests.set(`${yard} ${date}`, { title: "theirs", lines: [] });
        return had;
      },
    });
    expect(await sendDueDigests(ports)).toBe(0);
    expect(enqueued).toEqual([]);
    expect(rings()).toBe(0);
    expect(digests.get("alder 2026-11-25")?.title).toBe("theirs");
  });

  it("tells nothing of a day that no feeder of the yard was there for", async () => {
    const { ports, clock, digests, feeder } = house([alderCroft]);
    feeder.addedAt = past(morning, minutes(30)); // after digest time, within the hours in which a late one is still sent
    clock.at = past(morning, minutes(60));
    expect(await sendDueDigests(ports)).toBe(0);
    expect(digests.size).toBe(0);
    clock.at = past(morning, days(1));
    expect(await sendDueDigests(ports)).toBe(1);
  });

  it("tries again the next minute where it could not be written, and says so", async () => {
    const { ports, clock, digests, enqueued, faults } = house([alderCroft]);
    faults.enqueue = true;
    await expect(sendDueDigests(ports)).rejects.toThrow(AggregateError);
    expect(digests.size).toBe(0);
    faults.enqueue = false;
    clock.at = past(morning, minutes(1));
    expect(await sendDueDigests(ports)).toBe(1);
    expect(enqueued).toHaveLength(1);
  });

  it("lets no yard go without because of another's trouble", async () => {
    const { ports, enqueued, faults, rings } = house([alderCroft, { ...alderCroft, id: "birch" }]);
    faults.feedersOf = "alder";
    await expect(sendDueDigests(ports)).rejects.toMatchObject({
      errors: [expect.objectContaining({ message: expect.stringContaining("alder") })],
    });
    expect(enqueued.map(({ yard }) => yard)).toEqual(["birch"]);
    expect(rings()).toBe(1);
  });
});
