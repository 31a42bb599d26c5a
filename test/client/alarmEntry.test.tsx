// @vitest-environment happy-dom
import { cleanup, fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import type { AlarmView, HomeView } from "../../server/contract/api.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";
import { alarmViewFixture, feederViewFixture, homeViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

/** A home whose Rowan has these alarms. */
const homeWith = (alarms: readonly AlarmView[], change: Partial<HomeView["yards"][0]> = {}): HomeView => {
  const home = homeViewFixture(Date.now());
  return {
    ...home,
    yards: home.yards
      .slice(0, 1)
      .map((yard) => ({ ...yard, ...change, feeders: [feederViewFixture(Date.now(), { alarms: [...alarms] })] })),
  };
};
const entryOf = async (name: RegExp) =>
  within((await screen.findByRole("heading", { level: 3, name })).closest("li") as HTMLElement);

describe("an alarm on its feeder's page", () => {
  it("is acknowledged for exactly the raise that was shown", async () => {
    const alarm = alarmViewFixture(Date.now());
    server.home = homeWith([alarm]);
    await openPage("/feeders/rowan");
    fireEvent.click((await entryOf(/Tray jammed/)).getByRole("button", { name: "Acknowledge" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]?.path).toBe("/feeders/rowan/alarms/trayJammed/acknowledge");
    expect(server.sent(0)).toMatchObject({ raisedAt: alarm.raisedAt });
    expect(server.sent(0).id).toMatch(/^[A-Za-z0-9_-]{8,64}$/);
  });

  it("offers what its advice asks for, and does it with one tap", async () => {
    server.home = homeWith([
      alarmViewFixture(Date.now()),
      alarmViewFixture(Date.now(), { fault: "foodLow", title: "food low", act: "refill" }),
    ]);
    await openPage("/feeders/rowan");
    const refill = (await entryOf(/Food low/)).getByRole("link", { name: "I refilled it" });
    expect(refill.getAttribute("href")).toBe("/feeders/rowan/refill");
    fireEvent.click((await entryOf(/Tray jammed/)).getByRole("button", { name: "Pause" }));
    await waitFor(() =>
      expect(server.posts()[0]).toMatchObject({ path: "/feeders/rowan/orders", body: { kind: "pause", until: null } }),
    );
  });

  it("offers no pause while one is on its way, nor where a notice keeps all feeders paused", async () => {
    await openPage("/feeders/larch");
    expect((await entryOf(/Tray jammed/)).queryByRole("button", { name: "Pause" })).toBeNull();
    cleanup();
    server.home = homeWith([alarmViewFixture(Date.now())], {
      diseaseNotice: { at: new Date().toISOString(), by: "Ada" },
    });
    await openPage("/feeders/rowan");
    expect((await entryOf(/Tray jammed/)).queryByRole("button", { name: "Pause" })).toBeNull();
  });

  it("that has ended but needs a check asks for it only after it was acknowledged", async () => {
    server.home = homeWith([alarmViewFixture(Date.now(), { state: "latchedUnacknowledged" })]);
    await openPage("/feeders/rowan");
    const entry = await entryOf(/Tray jammed/);
    expect(entry.getByText(/^ended, check needed/)).toBeTruthy();
    expect(entry.getByRole("button", { name: "Acknowledge" })).toBeTruthy();
    expect(entry.queryByRole("button", { name: "I have checked" })).toBeNull();
  });

  it("is reset by the person who has checked", async () => {
    server.home = homeWith([alarmViewFixture(Date.now(), { state: "latchedAcknowledged" })]);
    await openPage("/feeders/rowan");
    fireEvent.click((await entryOf(/Tray jammed/)).getByRole("button", { name: "I have checked" }));
    await waitFor(() => expect(server.posts()[0]?.path).toBe("/feeders/rowan/alarms/trayJammed/reset"));
  });

  it("is taken out of service only with a reason", async () => {
    server.home = homeWith([alarmViewFixture(Date.now())]);
    await openPage("/feeders/rowan");
    const entry = await entryOf(/Tray jammed/);
    fireEvent.click(entry.getByRole("button", { name: "Take out of service", hidden: true }));
    expect(await entry.findByText("Reason: enter a reason")).toBeTruthy();
    expect(server.posts()).toEqual([]);
    fireEvent.input(entry.getByLabelText("Reason"), { target: { value: "motor is at the mender's" } });
    fireEvent.click(entry.getByRole("button", { name: "Take out of service", hidden: true }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]).toMatchObject({
      path: "/feeders/rowan/alarms/trayJammed/out-of-service",
      body: { reason: "motor is at the mender's" },
    });
    expect(server.sent(0).id).toMatch(/^[A-Za-z0-9_-]{8,64}$/); // sent twice, it has one effect
  });

  it("that is out of service shows who, since when and why, and returns to service by one tap", async () => {
    await openPage("/feeders/larch");
    expect(await screen.findByText("Out of service: detector silent")).toBeTruthy();
    const entry = await entryOf(/Detector silent/);
    expect(entry.getByText("Out of service (Ada): “coil is broken, a new one is ordered”")).toBeTruthy();
    expect(entry.getByText(/^out of service since /)).toBeTruthy();
    expect(entry.queryByText("Later…")).toBeNull();
    fireEvent.click(entry.getByRole("button", { name: "Return to service", hidden: true }));
    await waitFor(() => expect(server.posts()[0]?.path).toBe("/feeders/larch/alarms/detectorSilent/return-to-service"));
  });

  it("is listed under its cause, and nowhere else", async () => {
    await openPage("/feeders/larch");
    const entry = await entryOf(/Tray jammed/);
    expect(entry.getByText("Also caused by this: deposit without a portion")).toBeTruthy();
    expect(entry.getByText(/Two caps were put in and nothing fell/)).toBeTruthy();
    expect(screen.queryByRole("heading", { level: 3, name: /^Deposit without a portion/ })).toBeNull();
    expect(screen.getByText("No notifications for now: scale silent")).toBeTruthy();
  });

  it("is listed among those without notifications where its cause is not on the page", async () => {
    const explained = { state: "suppressedByDesign" as const, raisedAt: null };
    server.home = homeWith([alarmViewFixture(Date.now(), { ...explained, explainedBy: null })]);
    await openPage("/feeders/rowan");
    expect(await screen.findByText("No notifications for now: tray jammed")).toBeTruthy();
  });

  it("offers a helper no button that the server would refuse", async () => {
    server.home = homeWith([alarmViewFixture(Date.now())], { role: "helper" });
    await openPage("/feeders/rowan");
    const entry = await entryOf(/Tray jammed/);
    expect(entry.getByRole("button", { name: "Acknowledge" })).toBeTruthy();
    expect(entry.getByText("Later…")).toBeTruthy();
    expect(entry.queryByText("Out of service…")).toBeNull();
    expect(screen.queryByRole("link", { name: "Settings of Rowan" })).toBeNull();
  });
});

describe("an alarm with notified recipients", () => {
  const escalation = (change: Partial<HomeView["yards"][0]["escalations"][0]>) => ({
    feeder: "rowan",
    fault: "trayJammed",
    title: "Rowan: tray jammed",
    raisedAt: new Date().toISOString(),
    recipientStates: [],
    acknowledgedBy: null,
    unreachable: false,
    ...change,
  });

  it("shows whom it has reached", async () => {
    const notified = [{ name: "Bo", lastNotifiedAt: "2026-11-25T13:00:00Z", displayedAt: null, emailedAt: null }];
    server.home = homeWith([alarmViewFixture(Date.now())], {
      escalations: [escalation({ recipientStates: notified })],
    });
    await openPage("/feeders/rowan");
    expect((await entryOf(/Tray jammed/)).getByText(/^Notified: Bo at .* \(not shown yet\)\.$/)).toBeTruthy();
  });

  it("warns where it could reach nobody, and links to the page that helps", async () => {
    server.home = homeWith([alarmViewFixture(Date.now())], { escalations: [escalation({ unreachable: true })] });
    await openPage("/feeders/rowan");
    const entry = await entryOf(/Tray jammed/);
    expect(entry.getByText(/^Nobody could be notified/)).toBeTruthy();
    expect(entry.getByRole("link", { name: "Recipients" }).getAttribute("href")).toBe("/yards/alder-croft/recipients");
  });
});

describe("feeders that stopped reporting together", () => {
  const silentHome = (second: Partial<AlarmView>, apartMs = 0): HomeView => {
    const now = Date.now();
    const silence = (change: Partial<AlarmView> = {}) =>
      alarmViewFixture(now, { fault: "feederSilent", title: "no reports", ...change });
    const lastReportAt = new Date(now - 3_600_000).toISOString();
    const home = homeViewFixture(now);
    return {
      ...home,
      yards: home.yards.slice(0, 1).map((yard) => ({
        ...yard,
        feeders: [
          feederViewFixture(now, {
            lastReportAt,
            alarms: [silence({ raisedAt: "2026-11-25T13:00:00.000Z" })],
          }),
          feederViewFixture(now, {
            id: "larch",
            name: "Larch",
            lastReportAt: new Date(Date.parse(lastReportAt) + apartMs).toISOString(),
            alarms: [silence({ raisedAt: "2026-11-25T13:01:00.000Z", ...second })],
          }),
        ],
      })),
    };
  };

  it("are one entry on the first page, and one tap acknowledges them all", async () => {
    server.home = silentHome({});
    await openPage("/");
    expect(await screen.findByRole("heading", { name: /^No reports from both feeders/ })).toBeTruthy();
    expect(screen.getAllByText("urgent: act now")).toHaveLength(1);
    fireEvent.click(screen.getByRole("button", { name: "Acknowledge" }));
    await waitFor(() => expect(server.posts()).toHaveLength(2));
    expect(server.posts().map(({ path, body }) => [path, (body as { raisedAt: string }).raisedAt])).toEqual([
      ["/feeders/rowan/alarms/feederSilent/acknowledge", "2026-11-25T13:00:00.000Z"],
      ["/feeders/larch/alarms/feederSilent/acknowledge", "2026-11-25T13:01:00.000Z"],
    ]);
  });

  it("are separate entries where one stopped half an hour later, or is shelved", async () => {
    for (const home of [silentHome({}, 30 * 60_000), silentHome({ state: "shelved" })]) {
      server.home = home;
      await openPage("/");
      await screen.findByRole("link", { name: "Larch" });
      expect(screen.queryByText(/No reports from/)).toBeNull();
      cleanup();
    }
  });
});
