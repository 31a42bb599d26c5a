import { describe, expect, it } from "vitest";
import type { AlarmChange } from "../../server/domain/alarms/alarmStates.ts";
import type { Digest } from "../../server/domain/digest/digest.ts";
import type { DayCounts } from "../../server/domain/digest/digestFeeder.ts";
import { newFeeder } from "../../server/domain/feeder.ts";
import { initialRollups } from "../../server/domain/history/rollups.ts";
import {
  days,
  hours,
  type Instant,
  instantOf,
  isoOf,
  minutes,
  after as past,
  seconds,
} from "../../server/domain/instant.ts";
import type { OutgoingNotification } from "../../server/domain/notification/escalation.ts";
import type { Order } from "../../server/domain/orders/order.ts";
import { updateReporting } from "../../server/domain/silence/feederSilence.ts";
import { type DigestPorts, sendDueDigests } from "../../server/flows/digest.ts";
import type { RecordedEvent, YardRow } from "../../server/ports.ts";
import { feederSettings } from "../support/feederSettings.ts";

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
  diseaseNotice: null,
  stillsKeptDays: 30,
};
const ada = { person: "ada", digestBy: "push" as const };

/** A server with yards, whose store has digests by local date and writes all of a transaction or nothing. */
function server(yards: YardRow[]) {
  const clock = { at: morning as Instant, now: () => clock.at };
  const digests = new Map<string, Digest>();
  const enqueued: (OutgoingNotification & { readonly at: Instant })[] = [];
  const tallied: string[] = [];
  const faults = { enqueue: false, feedersOf: "" };
  const readers: { person: string; digestBy: "push" | "email" | "both" | "none" }[] = [ada];
  const record: { changes: AlarmChange[]; orders: Order[]; events: RecordedEvent[] } = {
    changes: [],
    orders: [],
    events: [],
  };
  const feeder = { addedAt: past(morning, days(-365)) }; // long ago, unless a test changes it
  const signals = { times: 0 };
  const counts: DayCounts = { visits: 30, presses: 0, deposits: 0, portions: 20 };
  const ports: DigestPorts = {
    clock,
    outboxSignal: {
      notify() {
        signals.times++;
      },
    },
    store: {
      records: {
        alarmChanges: async () => record.changes,
        orders: async () => record.orders,
      },
      digests: {
        yardsWithDigest: async () => yards,
        recipientsOf: async () => readers,
        async feedersOf(yard) {
          if (faults.feedersOf === yard) throw new Error("a row that can't be read");
          const fresh = newFeeder(feederSettings(), morning);
          const state = {
            ...fresh,
            reporting: updateReporting(
              fresh.reporting,
              { boot: "b", sentUptime: null, reportEvery: seconds(60) },
              morning,
            ),
            cleanedAt: morning,
          };
          const row = {
            id: `${yard}-rowan`,
            yard,
            practice: false,
            revision: 1,
            lastReportAt: null,
            lastStepAt: null,
            rebuiltAt: null,
            rollups: initialRollups(),
          };
          return [{ ...row, ...feeder, state }];
        },
        async dayCounts(feeder, spans) {
          tallied.push(...spans.map(({ from, to }) => `${feeder} ${isoOf(from)} ${isoOf(to)}`));
          return spans.map(() => counts);
        },
        paymentEvents: async (_, { from, to }) =>
          record.events.filter((event) => from <= event.recordedAt && event.recordedAt < to),
        firstReadings: async (_, spans) =>
          spans.map(({ from }) => ({ receivedAt: from, readings: JSON.stringify({ airCelsius: -6 }) })),
        dates: async (yard, most) =>
          [...digests.keys()]
            .filter((key) => key.startsWith(`${yard} `))
            .map((key) => key.slice(yard.length + 1))
            .sort()
            .reverse()
            .slice(0, most),
        digest: async (yard, localDate) => {
          const found = digests.get(`${yard} ${localDate}`);
          return found === undefined ? null : { ...found, localDate };
        },
      },
      async transaction(work) {
        const [before, queued] = [new Map(digests), enqueued.length];
        try {
          return await work({
            async claimDigest(yard, date, _, digest) {
              if (digests.has(`${yard} ${date}`)) return false;
              digests.set(`${yard} ${date}`, digest);
              return true;
            },
            async enqueue(telling, at) {
              if (faults.enqueue) throw new Error("the disk is full");
              enqueued.push({ ...telling, at });
            },
          });
        } catch (error) {
          digests.clear();
          for (const [key, digest] of before) digests.set(key, digest);
          enqueued.length = queued;
          throw error;
        }
      },
    },
  };
  return {
    feeder,
    ports,
    clock,
    digests,
    enqueued,
    tallied,
    faults,
    readers,
    record,
    signalCount: () => signals.times,
  };
}

describe("the digest flow", () => {
  it("writes the digest and one silent notification for the whole yard, and signals the outbox", async () => {
    const { ports, digests, enqueued, signalCount } = server([alderCroft]);
    expect(await sendDueDigests(ports)).toBe(1);
    const digest = digests.get("alder 2026-11-25");
    expect(digest?.title).toBe("Alder Croft, today: 1 task"); // the hopper's level isn't known
    expect(enqueued).toHaveLength(1);
    expect(enqueued[0]).toMatchObject({
      yard: "alder",
      feeder: null,
      at: morning,
      person: "ada",
      channel: "push",
      content: {
        fault: null,
        priority: "note",
        silent: true,
        title: digest?.title,
        body: digest?.short,
        link: "/yards/alder/digest",
      },
    });
    expect(signalCount()).toBe(1);
  });

  it("reminds of what a season needs in the first digest of it only, and never in the push", async () => {
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    const { ports, clock, digests, enqueued } = server([{ ...alderCroft, place }]);
    const headings = (date: string) => digests.get(`alder ${date}`)?.sections.map(({ heading }) => heading);
    for (const date of ["2026-11-30", "2026-12-01", "2026-12-02"]) {
      clock.at = instantOf(`${date}T06:30:00Z`);
      await sendDueDigests(ports);
      expect(headings(date)?.includes("This season")).toBe(date === "2026-12-01");
    }
    expect(enqueued.map(({ content }) => content.body).join()).not.toContain("salt");
  });

  it("lets it expire in the evening, and gives a late one two hours", async () => {
    const { ports, enqueued, clock } = server([alderCroft, { ...alderCroft, id: "late", digestTime: "21:00" }]);
    await sendDueDigests(ports);
    clock.at = past(morning, hours(13.5)); // 21:00 in Stockholm
    await sendDueDigests(ports);
    expect(enqueued.map(({ content }) => content.timeToLive)).toEqual([hours(12.5), hours(2)]);
  });

  it("has one topic for each yard, so that a new digest replaces yesterday's", async () => {
    const { ports, enqueued, clock } = server([alderCroft, { ...alderCroft, id: "birch" }]);
    await sendDueDigests(ports);
    clock.at = past(morning, hours(24));
    await sendDueDigests(ports);
    const topics = enqueued.map(({ yard, content }) => `${yard} ${content.topic}`);
    expect(new Set(topics).size).toBe(2);
    expect(topics).toHaveLength(4);
  });

  it("sends one a date, however often it is called and however many calls run at once", async () => {
    const { ports, clock, enqueued } = server([alderCroft]);
    for (let minute = 0; minute < 500; minute++) {
      clock.at = past(morning, minutes(minute));
      await Promise.all([sendDueDigests(ports), sendDueDigests(ports)]);
    }
    expect(enqueued).toHaveLength(1);
  });

  it("notifies each person by the channel they chose, with the whole digest by e-mail and a short form by push", async () => {
    const { ports, readers, enqueued, digests } = server([alderCroft]);
    readers.splice(
      0,
      1,
      ada,
      { person: "bo", digestBy: "both" },
      { person: "cilla", digestBy: "none" },
      { person: "dag", digestBy: "email" },
    );
    expect(await sendDueDigests(ports)).toBe(1);
    expect(enqueued.map(({ person, channel }) => `${person} ${channel}`)).toEqual([
      "ada push",
      "bo push",
      "bo email",
      "dag email",
    ]);
    const sections = digests.get("alder 2026-11-25")?.sections ?? [];
    for (const { channel, content } of enqueued) {
      const headings = content.emailSections?.flatMap((part) => (part.kind === "heading" ? [part.text] : []));
      expect(headings).toEqual(channel === "email" ? sections.map(({ heading }) => heading) : undefined);
    }
  });

  it("is written for the page also where nobody wants it sent", async () => {
    const { ports, readers, enqueued, digests } = server([alderCroft]);
    readers.length = 0;
    expect(await sendDueDigests(ports)).toBe(1);
    expect(enqueued).toEqual([]);
    expect(digests.size).toBe(1);
  });

  it("counts the birds by whole local days, of 25 hours over the autumn change, also when late", async () => {
    const { ports, clock, tallied } = server([alderCroft]);
    clock.at = instantOf("2026-10-26T09:00:00Z"); // 10:00 in Stockholm, two and a half hours late
    expect(await sendDueDigests(ports)).toBe(1);
    // Offsets on both sides by check value tz-Europe/Stockholm.
    expect(tallied.slice(0, 2)).toEqual([
      "alder-rowan 2026-10-24T22:00:00.000Z 2026-10-25T23:00:00.000Z",
      "alder-rowan 2026-10-23T22:00:00.000Z 2026-10-24T22:00:00.000Z",
    ]);
    expect(tallied).toHaveLength(8);
  });

  it("reads deposits with the portions that paid them, also past midnight, and the night from the readings", async () => {
    const { ports, record, digests } = server([alderCroft]);
    const event = (seq: number, kind: string, at: string, content: object): RecordedEvent => ({
      seq,
      boot: "b",
      kind,
      recordedAt: instantOf(at),
      body: JSON.stringify({ seq, uptimeMs: 1_000 * seq, kind, ...content }),
    });
    record.events.push(
      event(1, "deposit", "2026-11-24T10:00:00Z", { metal: true }),
      event(2, "portion", "2026-11-24T10:00:02Z", { cause: "deposit", paysFor: 1, chuteCount: 3 }),
      event(3, "deposit", "2026-11-24T11:40:00Z", { metal: true }),
      event(4, "portion", "2026-11-24T11:40:02Z", { cause: "deposit", paysFor: 3, chuteCount: 0 }),
      event(5, "deposit", "2026-11-24T22:59:59Z", { metal: true }),
      event(6, "portion", "2026-11-24T23:00:01Z", { cause: "deposit", paysFor: 5, chuteCount: 3 }),
      event(7, "deposit", "2026-11-24T23:00:30Z", { metal: true }), // today's
    );
    await sendDueDigests(ports);
    const sections = digests.get("alder 2026-11-25")?.sections;
    const lines = (heading: string) => sections?.find((each) => each.heading === heading)?.lines;
    expect(lines("Deposits and portions")).toEqual([
      "Rowan: no portion for 1 of 3 deposits (12:40). The others, half of them within 2 seconds.",
    ]);
    expect(lines("Tonight")).toEqual(["Frost likely, about −6 °C."]);
    expect(lines("Birds")).toEqual(["Rowan: as usual: 30 visits, 20 portions."]);
  });

  it("compares no day on which the feeder was silent or paused for more than an hour, and expects no payment for deposits then", async () => {
    const silence = (at: string, present: boolean): AlarmChange => ({
      fault: "feederSilent",
      priority: "urgent",
      from: "normal",
      to: "unacknowledged",
      at: instantOf(at),
      reason: "",
      present,
    });
    const order = (kind: "pause" | "resume", at: string): Order => ({
      id: at,
      kind,
      until: null,
      requestedAt: instantOf(at),
      requestedBy: "Ada",
      status: "confirmed",
      sentAt: instantOf(at),
      answeredAt: instantOf(at),
      problem: null,
    });
    const birds = async (changes: AlarmChange[], orders: Order[]) => {
      const { ports, record, digests } = server([alderCroft]);
      record.changes.push(...changes);
      record.orders.push(...orders);
      await sendDueDigests(ports);
      return digests.get("alder 2026-11-25")?.sections.find(({ heading }) => heading === "Birds")?.lines[0];
    };
    const partly = /Part of yesterday is missing \(no reports or paused\)/;
    expect(await birds([], [])).toMatch(/as usual/);
    expect(await birds([silence("2026-11-24T08:00:00Z", true), silence("2026-11-24T10:00:00Z", false)], [])).toMatch(
      partly,
    );
    expect(await birds([silence("2026-11-24T08:00:00Z", true), silence("2026-11-24T08:30:00Z", false)], [])).toMatch(
      /as usual/,
    );
    expect(await birds([silence("2026-11-24T10:00:00Z", false)], [])).toMatch(partly); // silent since before the week
    expect(await birds([], [order("pause", "2026-11-10T08:00:00Z")])).toMatch(partly); // paused for a fortnight
    expect(await birds([], [order("pause", "2026-11-10T08:00:00Z"), order("resume", "2026-11-11T08:00:00Z")])).toMatch(
      /as usual/,
    );
  });

  it("sends nothing before its time, and to no yard that doesn't want it", async () => {
    const { ports, clock, enqueued, signalCount } = server([
      alderCroft,
      { ...alderCroft, id: "birch", digestWanted: false },
    ]);
    clock.at = past(morning, minutes(-1));
    expect(await sendDueDigests(ports)).toBe(0);
    clock.at = morning;
    expect(await sendDueDigests(ports)).toBe(1);
    expect(enqueued.map(({ yard }) => yard)).toEqual(["alder"]);
    expect(signalCount()).toBe(1);
  });

  it("sends no digest that another process has just written", async () => {
    const { ports, digests, enqueued, signalCount } = server([alderCroft]);
    const { dates } = ports.store.digests;
    const theirs = { title: "theirs", short: "", sections: [] };
    Object.assign(ports.store.digests, {
      async dates(yard: string, most: number) {
        const before = await dates(yard, most);
        digests.set(`${yard} 2026-11-25`, theirs);
        return before;
      },
    });
    expect(await sendDueDigests(ports)).toBe(0);
    expect(enqueued).toEqual([]);
    expect(signalCount()).toBe(0);
    expect(digests.get("alder 2026-11-25")?.title).toBe("theirs");
  });

  it("sends no digest of a day on which the yard had no feeder", async () => {
    const { ports, clock, digests, feeder } = server([alderCroft]);
    feeder.addedAt = past(morning, minutes(30)); // after digest time, within the hours in which a late one is still sent
    clock.at = past(morning, minutes(60));
    expect(await sendDueDigests(ports)).toBe(0);
    expect(digests.size).toBe(0);
    clock.at = past(morning, days(1));
    expect(await sendDueDigests(ports)).toBe(1);
  });

  it("tries again the next minute where it could not be written, and reports it", async () => {
    const { ports, clock, digests, enqueued, faults } = server([alderCroft]);
    faults.enqueue = true;
    await expect(sendDueDigests(ports)).rejects.toThrow(AggregateError);
    expect(digests.size).toBe(0);
    faults.enqueue = false;
    clock.at = past(morning, minutes(1));
    expect(await sendDueDigests(ports)).toBe(1);
    expect(enqueued).toHaveLength(1);
  });

  it("sends a yard its digest although that of another fails", async () => {
    const { ports, enqueued, faults, signalCount } = server([alderCroft, { ...alderCroft, id: "birch" }]);
    faults.feedersOf = "alder";
    await expect(sendDueDigests(ports)).rejects.toMatchObject({
      errors: [expect.objectContaining({ message: expect.stringContaining("alder") })],
    });
    expect(enqueued.map(({ yard }) => yard)).toEqual(["birch"]);
    expect(signalCount()).toBe(1);
  });
});
