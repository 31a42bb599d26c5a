import { describe, expect, it } from "vitest";
import type { DigestView } from "../../server/contract/api.ts";
import type { Email } from "../../server/domain/email/email.ts";
import { after, days, hours, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { sendDueDigests } from "../../server/flows/digest.ts";
import { drainOutbox } from "../../server/flows/outbox.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const digestOf = (server: TestServer, date?: string) =>
  server.app.inject({
    url: `/api/v1/yards/${server.yard}/digest${date === undefined ? "" : `?date=${date}`}`,
    headers: server.keeper,
  });

/** From ten in the morning (Stockholm) on the 15th of January until the first digest, a report an hour. */
async function aDayLater(): Promise<TestServer> {
  const server = await openTestServer();
  const { key } = await server.addFeeder({ name: "Rowan" });
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
    expect((await server.report(key, report)).status).toBe(200);
    server.clock.advance(hours(hour < 18 ? 2 : 1));
  }
  // 07:00Z on the 17th is 08:00 in Stockholm.
  expect(await sendDueDigests(server.ports)).toBe(1);
  return server;
}

describe("the digest's route", () => {
  it("states that there has been none, and answers nobody without a session", async () => {
    const server = await openTestServer();
    expect((await digestOf(server)).statusCode).toBe(404);
    expect((await digestOf(server)).json().detail).toBe("There is no daily digest yet.");
    expect((await server.app.inject({ url: `/api/v1/yards/${server.yard}/digest` })).statusCode).toBe(401);
  });

  it("shows the digest that was composed from the store, and the dates of the others", async () => {
    const server = await aDayLater();
    const answer = await digestOf(server);
    expect(answer.statusCode).toBe(200);
    const digest = answer.json() as DigestView;
    expect(digest).toMatchObject({ yard: server.yard, date: "2026-01-17", dates: ["2026-01-17"] });
    const lines = (heading: string) => digest.sections.find((each) => each.heading === heading)?.lines;
    expect(digest.title.endsWith(digest.summary)).toBe(true);
    expect(lines("Tonight")).toEqual(["Frost likely, about −6 °C."]);
    expect(lines("Deposits and portions")).toEqual(["Rowan: no deposit yesterday."]); // it was the day before
    expect((await digestOf(server, "2026-01-17")).json()).toEqual(digest);
  });

  it("finds a day's deposits with their payments, and stores one digest a date, however often it is requested", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder({ name: "Rowan" });
    const events = [
      { seq: 1, uptimeMs: 1_000, kind: "deposit", metal: true },
      { seq: 2, uptimeMs: 2_500, kind: "portion", cause: "deposit", paysFor: 1, chuteCount: 3 },
      { seq: 3, uptimeMs: 60_000, kind: "visit" },
    ];
    await server.report(key, { boot: "b-1", sentUptimeMs: 61_000, events });
    server.clock.advance(hours(22));
    expect(await sendDueDigests(server.ports)).toBe(1);
    server.clock.advance(minutes(1));
    expect(await sendDueDigests(server.ports)).toBe(0);
    const { sections } = (await digestOf(server)).json() as DigestView;
    const lines = (heading: string) => sections.find((each) => each.heading === heading)?.lines;
    expect(lines("Deposits and portions")).toEqual(["Rowan: 1 deposit, with a portion within 2 seconds."]);
    expect(lines("Birds")).toEqual([
      "Rowan: 1 visit, 1 deposit, 1 portion. Part of yesterday is missing (no reports or paused).",
    ]);
  });

  it("names the date that has none, and refuses what is no date", async () => {
    const server = await aDayLater();
    expect((await digestOf(server, "2026-01-16")).json().detail).toBe("There is no digest of 2026-01-16.");
    const refused = await digestOf(server, "yesterday");
    expect(refused.statusCode).toBe(400);
    expect(JSON.stringify(refused.json())).toContain("date");
  });

  it("lists the last eight dates", async () => {
    const server = await openTestServer();
    await server.addFeeder({ name: "Rowan" });
    for (let day = 0; day < 10; day += 1) {
      server.clock.advance(days(1));
      await sendDueDigests(server.ports);
    }
    const { dates } = (await digestOf(server)).json() as DigestView;
    expect(dates).toHaveLength(8);
    expect([...dates].sort().reverse()).toEqual(dates);
  });
});

describe("entering that a feeder was cleaned", () => {
  const enterCleaned = (server: TestServer, feeder: string, payload?: object) =>
    server.app.inject({
      method: "POST",
      url: `/api/v1/feeders/${feeder}/cleaned`,
      headers: server.keeper,
      ...(payload === undefined ? {} : { payload }),
    });

  it("is stored with its own time, the latest counts, and it is in the feeder's record", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    expect(feeder.cleanedAt).toBeNull();
    expect((await enterCleaned(server, feeder.id, {})).statusCode).toBe(200);
    const { cleanedAt } = await server.runPeriodicCheck(feeder.id);
    expect(Date.parse(cleanedAt ?? "") - server.clock.now()).toBeLessThan(1_000);
    server.clock.advance(days(3));
    const earlier = isoOf(after(server.clock.now(), days(-1)));
    expect((await enterCleaned(server, feeder.id, { at: earlier })).json().cleanedAt).toBe(earlier);
    const older = isoOf(after(server.clock.now(), days(-2)));
    expect((await enterCleaned(server, feeder.id, { at: older })).json().cleanedAt).toBe(earlier);
    const log = await server.app.inject({ url: `/api/v1/feeders/${feeder.id}/log`, headers: server.keeper });
    expect(log.body.match(/"cleaned":/g)).toHaveLength(3);
  });

  it("refuses a time in the future, one that is long past, and an unknown feeder", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const at = (span: number) => ({ at: isoOf(after(server.clock.now(), days(span))) });
    expect((await enterCleaned(server, feeder.id, at(1))).json().errors).toEqual([
      { field: "at", problem: "lies in the future" },
    ]);
    expect((await enterCleaned(server, feeder.id, at(-31))).statusCode).toBe(400);
    expect((await enterCleaned(server, "nobody", {})).statusCode).toBe(404);
  });
});

/** From here on the keeper's digest goes by e-mail. @returns the e-mails, as they are sent */
async function digestsByEmail(server: TestServer): Promise<readonly Email[]> {
  const [member] = await server.store.people.membersOf(server.yard);
  if (member === undefined) throw new Error("expected the keeper to be a member of the yard");
  await server.store.people.changeEmail(member.person.id, "ada@alder.example", server.clock.now());
  await server.store.people.changeMember(server.yard, member.person.id, { digestBy: "email" }, server.clock.now());
  const emails: Email[] = [];
  const { email: gateway } = server;
  gateway.send = async (_to, email) => {
    emails.push(email);
    return gateway.answer;
  };
  return emails;
}

describe("the digest", () => {
  it("is sent by e-mail, as text and as HTML, with its headings and nothing that could run", async () => {
    const server = await openTestServer();
    await server.addFeeder({ name: "<b>Rowan</b> & co" });
    const emails = await digestsByEmail(server);
    server.clock.advance(hours(22));
    expect(await sendDueDigests(server.ports)).toBe(1);
    const limits = {
      publicUrl: "https://pieward.example",
      attemptMax: { push: seconds(10), email: seconds(30) },
      queueMax: seconds(10),
      claimFor: minutes(1),
      most: 10,
      jitter: () => 0,
      log: { error: (_: unknown, message: string) => expect(message).toBe("") },
    };
    await drainOutbox(server.ports, limits);
    expect(emails).toHaveLength(1);
    expect(emails[0]?.text).toContain("TO DO TODAY\n\n- Nothing to do.");
    expect(emails[0]?.text).toContain("<b>Rowan</b> & co: no report yet.");
    expect(emails[0]?.html).toContain("&lt;b&gt;Rowan&lt;/b&gt; &amp; co: no report yet.");
    expect(emails[0]?.text).toContain(`https://pieward.example/yards/${server.yard}/digest`);
    expect(emails[0]?.html).not.toContain("<b>Rowan");
  });

  it("lists each thing that it counts with its page, on the page as a path and in the e-mail as an address", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    await server.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [] });
    const emails = await digestsByEmail(server);
    server.clock.advance(hours(22));
    expect(await sendDueDigests(server.ports)).toBe(1);
    const { summary, sections } = (await digestOf(server)).json() as DigestView;
    expect(summary).toBe("2 tasks");
    expect(sections[0]?.lines).toHaveLength(2);
    expect(sections[0]?.links).toEqual([`/feeders/${feeder.id}/refill`, `/feeders/${feeder.id}/settings`]);
    const limits = {
      ...{ publicUrl: "https://pieward.example/", queueMax: seconds(10), claimFor: minutes(1), most: 10 },
      ...{ attemptMax: { push: seconds(10), email: seconds(30) }, jitter: () => 0 },
      log: { error: (_: unknown, message: string) => expect(message).toBe("") },
    };
    await drainOutbox(server.ports, limits);
    for (const path of sections[0]?.links ?? []) {
      expect(emails[0]?.text).toContain(`\n  https://pieward.example${path}\n`);
      expect(emails[0]?.html).toContain(`href="https://pieward.example${path}"`);
    }
  });
});
