import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { minutes, seconds } from "../../server/domain/instant.ts";
import type { Phone, PushGateway, PushOutcome } from "../../server/ports.ts";
import { addPhone, advanceTime, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";
import { jammed, notifyFirstOfJam, order, repeatJam, sensors, sentNotifications } from "./jam.ts";

/** Each phone's push service answers as told here by its label; who isn't named takes what comes. */
function answersBy(house: TestServer, answers: Record<string, PushOutcome>): void {
  const send = house.push.send.bind(house.push);
  const answered = (phone: Phone) => answers[phone.label];
  const answering: PushGateway["send"] = async (phone, ...rest) => answered(phone) ?? send(phone, ...rest);
  Object.assign(house.push, { send: answering });
}
const gone: PushOutcome = { kind: "subscriptionGone", text: "HTTP 410" };
const refused: PushOutcome = { kind: "refused", text: "HTTP 403" };
const home = async (house: TestServer): Promise<HomeView> =>
  (await requestAs(house, "GET", "/api/v1/home", house.keeper)).json();

describe("an urgent alarm that reached nobody", () => {
  it("rings the phone that is added next at once, where the only push got 410", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Old");
    const { key } = await house.addFeeder({ sensors });
    answersBy(house, { Old: gone });
    await house.report(key, jammed);
    await advanceTime(house, minutes(1), repeatJam(house, key));
    expect((await home(house)).yards[0]?.escalations).toMatchObject([{ recipientStates: [], unreachable: true }]);
    await addPhone(house, house.keeper, "New");
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["New: Rowan: tray jammed"]);
    expect((await home(house)).yards[0]?.escalations).toMatchObject([
      { recipientStates: [{ name: "Keeper" }], unreachable: false },
    ]);
  });

  it.each([
    ["gone", gone],
    ["refused for good", refused],
  ] as const)("goes on to the next person at once, where every way of the first is %s", async (_, outcome) => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    await addPhone(house, house.keeper, "Ada 1");
    await addPhone(house, house.keeper, "Ada 2");
    await addPhone(house, bo, "Bo");
    const { key } = await house.addFeeder({ sensors });
    answersBy(house, { "Ada 1": outcome, "Ada 2": outcome });
    await house.report(key, jammed);
    for (let ways = 0; ways < 2; ways += 1) await deliverAll(house); // the failure makes the next way due
    expect(sentNotifications(house)).toEqual(["Bo: Rowan: tray jammed"]);
  });

  it("waits for an answer in the yard's time, where one of two phones has taken it", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    await addPhone(house, house.keeper, "Ada 1");
    await addPhone(house, house.keeper, "Ada 2");
    await addPhone(house, bo, "Bo");
    const { key } = await house.addFeeder({ sensors });
    answersBy(house, { "Ada 1": gone });
    await house.report(key, jammed);
    await advanceTime(house, minutes(14), repeatJam(house, key));
    expect(sentNotifications(house)).toEqual(["Ada 2: Rowan: tray jammed"]);
  });

  it("goes by mail at once where every phone has refused it for good, and on where the mail server does too", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    await requestAs(house, "PATCH", "/api/v1/me", house.keeper, { email: "ada@alder.example" });
    await addPhone(house, house.keeper, "Ada");
    await addPhone(house, bo, "Bo");
    const { key } = await house.addFeeder({ sensors });
    answersBy(house, { Ada: refused });
    house.mail.answer = { kind: "refused", text: "550 no such address" };
    await house.report(key, jammed);
    for (let ways = 0; ways < 3; ways += 1) await deliverAll(house); // each failure makes the next way due
    expect(house.mail.sent.map(({ to }) => to)).toEqual(["ada@alder.example"]);
    expect(sentNotifications(house)).toEqual(["Bo: Rowan: tray jammed"]);
    // The address was mistaken: the right one is written to at once.
    house.mail.answer = { kind: "accepted" };
    house.clock.advance(seconds(30));
    await requestAs(house, "PATCH", "/api/v1/me", house.keeper, { email: "ada@croft.example" });
    await deliverAll(house);
    expect(house.mail.sent.map(({ to }) => to)).toEqual(["ada@alder.example", "ada@croft.example"]);
  });
});

describe("a phone that is added while an alarm stands", () => {
  it("rings at once where no phone of its person has shown the alarm, and the others are spared", async () => {
    const house = await notifyFirstOfJam();
    house.clock.advance(minutes(3));
    await addPhone(house, house.keeper, "New");
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed", "New: Rowan: tray jammed"]);
  });

  it("rings no more for what another phone of its person has shown, nor for what somebody has acknowledged", async () => {
    for (const how of ["shown", "acknowledged"] as const) {
      const house = await openTestServer();
      await addPhone(house, house.keeper, "Ada");
      const { feeder, key } = await house.addFeeder({ sensors });
      await house.report(key, jammed);
      await deliverAll(house);
      const { item } = house.push.sent[0] as { item: string };
      if (how === "shown") await requestAs(house, "POST", `/api/v1/notifications/${item}/display-receipt`, {}, {});
      else await order(house, house.keeper, `/api/v1/feeders/${feeder.id}/alarms/trayJammed/acknowledge`, {});
      house.clock.advance(minutes(3));
      await addPhone(house, house.keeper, "New");
      await deliverAll(house);
      expect(sentNotifications(house).filter((words) => words.startsWith("New"))).toEqual([]);
    }
  });

  it("waits for the end of the quiet hours that may not be broken", async () => {
    const house = await openTestServer(); // it is 10:00 in Stockholm
    const me = (await requestAs(house, "GET", "/api/v1/me", house.keeper)).json().id;
    const quiet = { quietHours: { from: "09:30", to: "10:30" }, urgentBreaks: false };
    await addPhone(house, house.keeper, "Old");
    const { key } = await house.addFeeder({ sensors });
    answersBy(house, { Old: gone });
    await house.report(key, jammed);
    await deliverAll(house);
    await requestAs(house, "PATCH", `/api/v1/yards/${house.yard}/people/${me}`, house.keeper, quiet);
    await addPhone(house, house.keeper, "New");
    const there = repeatJam(house, key);
    await advanceTime(house, minutes(25), there);
    expect(sentNotifications(house)).toEqual([]);
    await advanceTime(house, minutes(6), there);
    expect(sentNotifications(house)).toEqual(["New: Rowan: tray jammed"]);
  });

  it("also where it is a renewal of the one that the push never reached, or was allowed again to show notices", async () => {
    for (const how of ["renewed", "allowed again"] as const) {
      const house = await openTestServer();
      await addPhone(house, house.keeper, "Ada");
      const endpoint = "https://push.example/Ada";
      const { key } = await house.addFeeder({ sensors });
      if (how === "renewed") answersBy(house, {});
      await house.report(key, jammed);
      await deliverAll(house);
      house.clock.advance(minutes(3));
      if (how === "renewed") {
        const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
        const payload = { endpoint: "https://push.example/Ada2", keys, replaces: endpoint };
        await house.app.inject({ method: "PUT", url: "/api/v1/phones", headers: house.keeper, payload });
      } else {
        await requestAs(house, "POST", "/api/v1/phones/permission", house.keeper, { endpoint, allowed: false });
        house.clock.advance(minutes(1));
        await requestAs(house, "POST", "/api/v1/phones/permission", house.keeper, { endpoint, allowed: true });
      }
      await deliverAll(house);
      expect(sentNotifications(house), how).toEqual(["Ada: Rowan: tray jammed", "Ada: Rowan: tray jammed"]);
      await advanceTime(house, minutes(20), repeatJam(house, key));
      expect(sentNotifications(house), how).toHaveLength(2);
    }
  });
});

describe("a phone that may not show notices any more", () => {
  it("is passed at once by an alarm that only it had: by mail, or to the next person", async () => {
    for (const mail of [null, "ada@alder.example"]) {
      const house = await notifyFirstOfJam();
      await requestAs(house, "PATCH", "/api/v1/me", house.keeper, { email: mail });
      house.clock.advance(minutes(1));
      const said = { endpoint: "https://push.example/Ada", allowed: false };
      await requestAs(house, "POST", "/api/v1/phones/permission", house.keeper, said);
      await deliverAll(house);
      expect(house.mail.sent.map(({ to }) => to)).toEqual(mail === null ? [] : [mail]);
      expect(sentNotifications(house).slice(1)).toEqual(mail === null ? ["Bo: Rowan: tray jammed"] : []);
    }
  });
});
