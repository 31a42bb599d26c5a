import { describe, expect, it } from "vitest";
import type { DigestView } from "../../server/contract/api.ts";
import type { Email } from "../../server/domain/email/email.ts";
import { after, days, hours, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { sendDueDigests } from "../../server/flows/digest.ts";
import { drainOutbox } from "../../server/flows/outbox.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const digestOf = (house: TestServer, date?: string) =>
  house.app.inject({
    url: `/api/v1/yards/${house.yard}/digest${date === undefined ? "" : `?date=${date}`}`,
    headers: house.keeper,
  });

/** From ten in the morning (Stockholm) on the 15th of January until the first digest, a report an hour. */
async function aDayLater(): Promise<TestServer> {
  const house = await openTestServer();
  const { key } = await house.addFeeder({ name: "Rowan" });
  for (let hour = 0; hour < 46; hour += hour < 18 ? 2 : 1) {
    const events =
      hour === 2
        ? [
            { seq: 1, uptimeMs: hour * 3_600_000, kind: "visit" },
            { seq: 2, uptimeMs: hour * 3_600_000 + 1_000, kind: "deposit", metal: true },
            {
              seq: 3,
              uptimeMs: hour * 3_600_000 + 3_000,
              kind: "portion",
              cause: "deposit",
              paysFor: 2,
              chuteCount: 3,
            },
          ]
        : [];
    const readings = { airCelsius: -6, humidityPercent: 60 };
    const report = { boot: "b-1", sentUptimeMs: hour * 3_600_000 + 5_000, readings, events };
    expect((await house.report(key, report)).status).toBe(200);
    house.clock.advance(hours(hour < 18 ? 2 : 1));
  }
  // 07:00Z on the 17th is 08:00 in Stockholm.
  expect(await sendDueDigests(house.ports)).toBe(1);
  return house;
}

describe("the digest's door", () => {
  it("says that there has been none, and opens to keepers only", async () => {
    const house = await openTestServer();
    expect((await digestOf(house)).statusCode).toBe(404);
    expect((await digestOf(house)).json().detail).toBe("There has been no digest yet.");
    expect((await house.app.inject({ url: `/api/v1/yards/${house.yard}/digest` })).statusCode).toBe(401);
  });

  it("shows what was written from the store itself, and which others there are", async () => {
    const house = await aDayLater();
    const answer = await digestOf(house);
    expect(answer.statusCode).toBe(200);
    const digest = answer.json() as DigestView;
    expect(digest).toMatchObject({ yard: house.yard, date: "2026-01-17", dates: ["2026-01-17"] });
    const lines = (heading: string) => digest.sections.find((each) => each.heading === heading)?.lines;
    expect(digest.title.endsWith(digest.summary)).toBe(true);
    expect(lines("Tonight")).toEqual(["Frost likely, about −6 °C."]);
    expect(lines("Deposits and portions")).toEqual(["Rowan: no deposit yesterday."]); // it was the day before
    expect((await digestOf(house, "2026-01-17")).json()).toEqual(digest);
  });

  it("finds a day's deposits with their pay, and keeps one a date whatever is asked", async () => {
    const house = await openTestServer();
    const { key } = await house.addFeeder({ name: "Rowan" });
    const events = [
      { seq: 1, uptimeMs: 1_000, kind: "deposit", metal: true },
      { seq: 2, uptimeMs: 2_500, kind: "portion", cause: "deposit", paysFor: 1, chuteCount: 3 },
      { seq: 3, uptimeMs: 60_000, kind: "visit" },
    ];
    await house.report(key, { boot: "b-1", sentUptimeMs: 61_000, events });
    house.clock.advance(hours(22));
    expect(await sendDueDigests(house.ports)).toBe(1);
    house.clock.advance(minutes(1));
    expect(await sendDueDigests(house.ports)).toBe(0);
    const { sections } = (await digestOf(house)).json() as DigestView;
    const lines = (heading: string) => sections.find((each) => each.heading === heading)?.lines;
    expect(lines("Deposits and portions")).toEqual(["Rowan: 1 deposit, paid, within 2 seconds."]);
    expect(lines("Birds")).toEqual([
      "Rowan: 1 visit, 1 deposit, 1 portion. Part of yesterday is missing (no reports or paused).",
    ]);
  });

  it("names the date of which there is none, and refuses what is no date", async () => {
    const house = await aDayLater();
    expect((await digestOf(house, "2026-01-16")).json().detail).toBe("There is no digest of 2026-01-16.");
    const refused = await digestOf(house, "yesterday");
    expect(refused.statusCode).toBe(400);
    expect(JSON.stringify(refused.json())).toContain("date");
  });

  it("lists the last eight dates", async () => {
    const house = await openTestServer();
    await house.addFeeder({ name: "Rowan" });
    for (let day = 0; day < 10; day += 1) {
      house.clock.advance(days(1));
      await sendDueDigests(house.ports);
    }
    const { dates } = (await digestOf(house)).json() as DigestView;
    expect(dates).toHaveLength(8);
    expect([...dates].sort().reverse()).toEqual(dates);
  });
});

describe("telling that a feeder was cleaned", () => {
  const tell = (house: TestServer, feeder: string, payload?: object) =>
    house.app.inject({
      method: "POST",
      url: `/api/v1/feeders/${feeder}/cleaned`,
      headers: house.keeper,
      ...(payload === undefined ? {} : { payload }),
    });

  it("is kept with its own time, the latest counts, and it stands in the feeder's record", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder();
    expect(feeder.cleanedAt).toBeNull();
    expect((await tell(house, feeder.id, {})).statusCode).toBe(200);
    const { cleanedAt } = await house.runPeriodicCheck(feeder.id);
    expect(Date.parse(cleanedAt ?? "") - house.clock.now()).toBeLessThan(1_000);
    house.clock.advance(days(3));
    const earlier = isoOf(after(house.clock.now(), days(-1)));
    expect((await tell(house, feeder.id, { at: earlier })).json().cleanedAt).toBe(earlier);
    const older = isoOf(after(house.clock.now(), days(-2)));
    expect((await tell(house, feeder.id, { at: older })).json().cleanedAt).toBe(earlier);
    const log = await house.app.inject({ url: `/api/v1/feeders/${feeder.id}/log`, headers: house.keeper });
    expect(log.body.match(/"cleaned":/g)).toHaveLength(3);
  });

  it("refuses a time in the future, one that lies far back, and a feeder that isn't there", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder();
    const at = (span: number) => ({ at: isoOf(after(house.clock.now(), days(span))) });
    expect((await tell(house, feeder.id, at(1))).json().errors).toEqual([
      { field: "at", problem: "lies in the future" },
    ]);
    expect((await tell(house, feeder.id, at(-31))).statusCode).toBe(400);
    expect((await tell(house, "nobody", {})).statusCode).toBe(404);
  });
});

describe("the digest", () => {
  it("goes by letter, in text and in HTML, with its headings and nothing that could run", async () => {
    const house = await openTestServer();
    await house.addFeeder({ name: "<b>Rowan</b> & co" });
    const [member] = await house.store.people.membersOf(house.yard);
    if (member === undefined) throw new Error("expected the keeper to be a member of the yard");
    await house.store.people.changeEmail(member.person.id, "ada@alder.example", house.clock.now());
    await house.store.people.changeMember(house.yard, member.person.id, { digestBy: "email" }, house.clock.now());
    const letters: Email[] = [];
    const { mail } = house;
    mail.send = async (_to, letter) => {
      letters.push(letter);
      return mail.answer;
    };
    house.clock.advance(hours(22));
    expect(await sendDueDigests(house.ports)).toBe(1);
    const limits = {
      publicUrl: "https://pieward.example",
      attemptMax: { push: seconds(10), email: seconds(30) },
      queueMax: seconds(10),
      claimFor: minutes(1),
      most: 10,
      jitter: () => 0,
      log: { error: (_: unknown, words: string) => expect(words).toBe("") },
    };
    await drainOutbox(house.ports, limits);
    expect(letters).toHaveLength(1);
    expect(letters[0]?.text).toContain("TO DO TODAY\n\n- Nothing to do.");
    expect(letters[0]?.text).toContain("<b>Rowan</b> & co: no report yet.");
    expect(letters[0]?.html).toContain("&lt;b&gt;Rowan&lt;/b&gt; &amp; co: no report yet.");
    expect(letters[0]?.text).toContain(`https://pieward.example/yards/${house.yard}/digest`);
    expect(letters[0]?.html).not.toContain("<b>Rowan");
  });

  it("lists each thing that it counts with its page, on the page as a path and in the letter as an address", async () => {
    const house = await openTestServer();
    const { feeder, key } = await house.addFeeder({ name: "Rowan" });
    await house.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [] });
    const [member] = await house.store.people.membersOf(house.yard);
    if (member === undefined) throw new Error("expected the keeper to be a member of the yard");
    await house.store.people.changeEmail(member.person.id, "ada@alder.example", house.clock.now());
    await house.store.people.changeMember(house.yard, member.person.id, { digestBy: "email" }, house.clock.now());
    const letters: Email[] = [];
    const { mail } = house;
    mail.send = async (_to, letter) => {
      letters.push(letter);
      return mail.answer;
    };
    house.clock.advance(hours(22));
    expect(await sendDueDigests(house.ports)).toBe(1);
    const { summary, sections } = (await digestOf(house)).json() as DigestView;
    expect(summary).toBe("2 things to do");
    expect(sections[0]?.lines).toHaveLength(2);
    expect(sections[0]?.links).toEqual([`/feeders/${feeder.id}/refill`, `/feeders/${feeder.id}/settings`]);
    const limits = {
      ...{ publicUrl: "https://pieward.example/", queueMax: seconds(10), claimFor: minutes(1), most: 10 },
      ...{ attemptMax: { push: seconds(10), email: seconds(30) }, jitter: () => 0 },
      log: { error: (_: unknown, words: string) => expect(words).toBe("") },
    };
    await drainOutbox(house.ports, limits);
    for (const path of sections[0]?.links ?? []) {
      expect(letters[0]?.text).toContain(`\n  https://pieward.example${path}\n`);
      expect(letters[0]?.html).toContain(`href="https://pieward.example${path}"`);
    }
  });
});
