import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { minutes, seconds } from "../../server/domain/instant.ts";
import type { Phone, PushGateway, PushOutcome } from "../../server/ports.ts";
import { addPhone, advanceTime, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";
import { jammed, notifyFirstOfJam, order, repeatJam, sensors, sentNotifications } from "./jam.ts";

/** Each phone's push service answers as set here by its label; one without an entry accepts everything. */
function answersBy(server: TestServer, answers: Record<string, PushOutcome>): void {
  const send = server.push.send.bind(server.push);
  const answered = (phone: Phone) => answers[phone.label];
  const answering: PushGateway["send"] = async (phone, ...rest) => answered(phone) ?? send(phone, ...rest);
  Object.assign(server.push, { send: answering });
}
const gone: PushOutcome = { kind: "subscriptionGone", text: "HTTP 410" };
const refused: PushOutcome = { kind: "refused", text: "HTTP 403" };
const home = async (server: TestServer): Promise<HomeView> =>
  (await requestAs(server, "GET", "/api/v1/home", server.keeper)).json();

describe("an urgent alarm that reached nobody", () => {
  it("notifies the phone that is added next at once, where the only push got 410", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Old");
    const { key } = await server.addFeeder({ sensors });
    answersBy(server, { Old: gone });
    await server.report(key, jammed);
    await advanceTime(server, minutes(1), repeatJam(server, key));
    expect((await home(server)).yards[0]?.escalations).toMatchObject([{ recipientStates: [], unreachable: true }]);
    await addPhone(server, server.keeper, "New");
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["New: Rowan: tray jammed"]);
    expect((await home(server)).yards[0]?.escalations).toMatchObject([
      { recipientStates: [{ name: "Keeper" }], unreachable: false },
    ]);
  });

  it.each([
    ["gone", gone],
    ["refused for good", refused],
  ] as const)("goes on to the next person at once, where every way of the first is %s", async (_, outcome) => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    await addPhone(server, server.keeper, "Ada 1");
    await addPhone(server, server.keeper, "Ada 2");
    await addPhone(server, bo, "Bo");
    const { key } = await server.addFeeder({ sensors });
    answersBy(server, { "Ada 1": outcome, "Ada 2": outcome });
    await server.report(key, jammed);
    for (let channels = 0; channels < 2; channels += 1) await deliverAll(server); // the failure makes the next channel due
    expect(sentNotifications(server)).toEqual(["Bo: Rowan: tray jammed"]);
  });

  it("waits for an answer in the yard's time, where one of two phones has accepted it", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    await addPhone(server, server.keeper, "Ada 1");
    await addPhone(server, server.keeper, "Ada 2");
    await addPhone(server, bo, "Bo");
    const { key } = await server.addFeeder({ sensors });
    answersBy(server, { "Ada 1": gone });
    await server.report(key, jammed);
    await advanceTime(server, minutes(14), repeatJam(server, key));
    expect(sentNotifications(server)).toEqual(["Ada 2: Rowan: tray jammed"]);
  });

  it("goes by e-mail at once where every phone has refused it for good, and to the next person where the mail server refuses too", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: "ada@alder.example" });
    await addPhone(server, server.keeper, "Ada");
    await addPhone(server, bo, "Bo");
    const { key } = await server.addFeeder({ sensors });
    answersBy(server, { Ada: refused });
    server.email.answer = { kind: "refused", text: "550 no such address" };
    await server.report(key, jammed);
    for (let channels = 0; channels < 3; channels += 1) await deliverAll(server); // each failure makes the next channel due
    expect(server.email.sent.map(({ to }) => to)).toEqual(["ada@alder.example"]);
    expect(sentNotifications(server)).toEqual(["Bo: Rowan: tray jammed"]);
    // The address was wrong: the right one gets an e-mail at once.
    server.email.answer = { kind: "accepted" };
    server.clock.advance(seconds(30));
    await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: "ada@croft.example" });
    await deliverAll(server);
    expect(server.email.sent.map(({ to }) => to)).toEqual(["ada@alder.example", "ada@croft.example"]);
  });
});

describe("a phone that is added while an alarm is active", () => {
  it("is notified at once where no phone of its person has displayed the alarm, and no other is", async () => {
    const server = await notifyFirstOfJam();
    server.clock.advance(minutes(3));
    await addPhone(server, server.keeper, "New");
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed", "New: Rowan: tray jammed"]);
  });

  it("is not notified of what another phone of its person has displayed, nor of what a person has acknowledged", async () => {
    for (const how of ["shown", "acknowledged"] as const) {
      const server = await openTestServer();
      await addPhone(server, server.keeper, "Ada");
      const { feeder, key } = await server.addFeeder({ sensors });
      await server.report(key, jammed);
      await deliverAll(server);
      const { item } = server.push.sent[0] as { item: string };
      if (how === "shown") await requestAs(server, "POST", `/api/v1/notifications/${item}/display-receipt`, {}, {});
      else await order(server, server.keeper, `/api/v1/feeders/${feeder.id}/alarms/trayJammed/acknowledge`, {});
      server.clock.advance(minutes(3));
      await addPhone(server, server.keeper, "New");
      await deliverAll(server);
      expect(sentNotifications(server).filter((text) => text.startsWith("New"))).toEqual([]);
    }
  });

  it("waits for the end of the quiet hours", async () => {
    const server = await openTestServer(); // it is 10:00 in Stockholm
    const me = (await requestAs(server, "GET", "/api/v1/me", server.keeper)).json().id;
    const quiet = { quietHours: { from: "09:30", to: "10:30" }, urgentBreaks: false };
    await addPhone(server, server.keeper, "Old");
    const { key } = await server.addFeeder({ sensors });
    answersBy(server, { Old: gone });
    await server.report(key, jammed);
    await deliverAll(server);
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}/people/${me}`, server.keeper, quiet);
    await addPhone(server, server.keeper, "New");
    const there = repeatJam(server, key);
    await advanceTime(server, minutes(25), there);
    expect(sentNotifications(server)).toEqual([]);
    await advanceTime(server, minutes(6), there);
    expect(sentNotifications(server)).toEqual(["New: Rowan: tray jammed"]);
  });

  it("also where it has a new endpoint after a push that failed, or may show notifications again", async () => {
    for (const how of ["renewed", "allowed again"] as const) {
      const server = await openTestServer();
      await addPhone(server, server.keeper, "Ada");
      const endpoint = "https://push.example/Ada";
      const { key } = await server.addFeeder({ sensors });
      if (how === "renewed") answersBy(server, {});
      await server.report(key, jammed);
      await deliverAll(server);
      server.clock.advance(minutes(3));
      if (how === "renewed") {
        const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
        const payload = { endpoint: "https://push.example/Ada2", keys, replaces: endpoint };
        await server.app.inject({ method: "PUT", url: "/api/v1/phones", headers: server.keeper, payload });
      } else {
        await requestAs(server, "POST", "/api/v1/phones/permission", server.keeper, { endpoint, allowed: false });
        server.clock.advance(minutes(1));
        await requestAs(server, "POST", "/api/v1/phones/permission", server.keeper, { endpoint, allowed: true });
      }
      await deliverAll(server);
      expect(sentNotifications(server), how).toEqual(["Ada: Rowan: tray jammed", "Ada: Rowan: tray jammed"]);
      await advanceTime(server, minutes(20), repeatJam(server, key));
      expect(sentNotifications(server), how).toHaveLength(2);
    }
  });
});

describe("a phone that may not show notifications any more", () => {
  it("is passed at once by an alarm that only it had: by e-mail, or to the next person", async () => {
    for (const mail of [null, "ada@alder.example"]) {
      const server = await notifyFirstOfJam();
      await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: mail });
      server.clock.advance(minutes(1));
      const permission = { endpoint: "https://push.example/Ada", allowed: false };
      await requestAs(server, "POST", "/api/v1/phones/permission", server.keeper, permission);
      await deliverAll(server);
      expect(server.email.sent.map(({ to }) => to)).toEqual(mail === null ? [] : [mail]);
      expect(sentNotifications(server).slice(1)).toEqual(mail === null ? ["Bo: Rowan: tray jammed"] : []);
    }
  });
});
