import { describe, expect, it } from "vitest";
import type { Digest } from "../../server/domain/digest/digest.ts";
import { addLocalDays } from "../../server/domain/localTime.ts";
import type { Reminder } from "../../server/domain/training/seasonReminders.ts";
import { dueReminders } from "../../server/flows/dueReminders.ts";
import { texts } from "../../server/text/index.ts";

/** A yard's digests by date, with only their reminders in them. */
function digestsOf() {
  const sent = new Map<string, Digest>();
  const reads = { count: 0 };
  return {
    reads,
    dates: async (_: string, most: number) => [...sent.keys()].sort().reverse().slice(0, most),
    async digest(_: string, localDate: string) {
      reads.count += 1;
      const found = sent.get(localDate);
      return found === undefined ? null : { ...found, localDate };
    },
    send(date: string, reminders: readonly Reminder[]) {
      const lines = reminders.map((reminder) => texts.season.reminders[reminder]);
      sent.set(date, { title: "", short: "", sections: [{ heading: texts.season.heading, lines }] });
    },
  };
}

const yard = { id: "alder-croft", place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 } };

async function sendDaily(from: string, to: string, isFrosty: (date: string) => boolean) {
  const digests = digestsOf();
  const said: string[] = [];
  let previous: string | null = addLocalDays(from, -1);
  for (let date = from; date <= to; date = addLocalDays(date, 1)) {
    const weather = { hardFrost: isFrosty(date), wetWarm: false };
    const due = await dueReminders(digests, yard, { date, previous, weather });
    said.push(...due.map((reminder) => `${date} ${reminder}`));
    digests.send(date, due);
    previous = date;
  }
  return { said, reads: digests.reads.count };
}

describe("the season's reminders in the daily digests", () => {
  it("name hard frost once a winter, however often it comes, and again in the next one", async () => {
    const { said } = await sendDaily("2026-10-01", "2028-01-31", (date) => /-(12|01|02)-(0[5-9]|2\d)$/.test(date));
    expect(said.filter((line) => line.endsWith("hardFrost"))).toEqual(["2026-12-05 hardFrost", "2027-12-05 hardFrost"]);
    expect(said.filter((line) => !line.endsWith("hardFrost"))).toEqual([
      "2026-12-01 salt",
      "2027-03-01 winterEnd",
      "2027-03-15 nestlings",
      "2027-12-01 salt",
    ]);
  });

  it("name hard frost anew where the last one was within a year, but of another winter", async () => {
    const { said } = await sendDaily("2027-02-01", "2027-12-31", (date) => ["2027-03-20", "2027-11-20"].includes(date));
    expect(said.filter((line) => line.endsWith("hardFrost"))).toEqual(["2027-03-20 hardFrost", "2027-11-20 hardFrost"]);
  });

  it("read no earlier digest while the weather asks for nothing", async () => {
    expect((await sendDaily("2026-10-01", "2027-09-30", () => false)).reads).toBe(0);
  });
});
