// @vitest-environment happy-dom
import { render, screen, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import { alarmMonthText } from "../../client/charts/alarmMonthChart.tsx";
import { YardLinks } from "../../client/components/yardLinks.tsx";
import { memoryStore } from "../../client/offline/localStore.ts";
import { alarmRates, openAlarmRates } from "../../client/state/alarmRates.ts";
import { ratesViewFixture } from "./alarmRatesFixture.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});
beforeEach(async () => {
  await openAlarmRates(memoryStore());
  alarmRates.value = new Map();
  setRates(ratesViewFixture(Date.now()));
});
const setRates = (view: unknown) => {
  server.replies["GET /yards/alder-croft/alarm-rates"] = () => ({ status: 200, body: view });
};

describe("the alarm history", () => {
  it("starts with text, with advice that names the alarm", async () => {
    await openPage("/yards/alder-croft/alarm-history");
    expect(await screen.findByText(/^14 alarms in 30 days at 2 feeders/)).toBeTruthy();
    expect(screen.getByText(/^“Ice on tray and slot likely” at Rowan makes 9 of 14 alarms/)).toBeTruthy();
    expect(screen.getByRole("img", { name: /^Alarms on \d+ of 31 days, at most 11 on one day/ })).toBeTruthy();
  });

  it("shows the number of alarms, of urgent ones and of those acknowledged, and no figure for specialists", async () => {
    await openPage("/yards/alder-croft/alarm-history");
    const numbers = within(await screen.findByRole("region", { name: "Numbers" }));
    const row = (name: string) => numbers.getByText(name, { selector: "dt" }).nextSibling?.textContent;
    const { days } = ratesViewFixture(Date.now());
    const urgent = days.reduce((sum, day) => sum + day.urgent, 0);
    const others = days.reduce((sum, day) => sum + day.soon, 0);
    expect(row("Alarms")).toBe(`${urgent + others}`);
    expect(row("Urgent alarms")).toBe(`${urgent}`);
    expect(row("Acknowledged")).toBe(`12 of ${urgent + others}`);
    expect(document.body.textContent).not.toMatch(/a day|ten minutes|Chattering/);
  });

  it("shows that nothing is to be changed, where that is so", async () => {
    setRates(ratesViewFixture(Date.now(), { findings: [], frequentAlarms: [] }));
    await openPage("/yards/alder-croft/alarm-history");
    expect(await screen.findByText("Nothing to change.")).toBeTruthy();
    expect(screen.queryByText("Most frequent alarms")).toBeNull();
  });

  it("can be read offline as it was last loaded, and shows when that was", async () => {
    const store = memoryStore();
    const asOf = Date.now() - 26 * 3_600_000;
    await store.put("rates", [["alder-croft", { view: ratesViewFixture(asOf), asOf }]]);
    await store.put("home", { view: server.home, asOf });
    server.offline = true;
    await openAlarmRates(store);
    await openPage("/yards/alder-croft/alarm-history", store);
    expect(await screen.findByText(/^14 alarms in 30 days/)).toBeTruthy();
    expect(await screen.findByText(/^Data from (yesterday|\w{3} \d+)/, { selector: ".hint" })).toBeTruthy();
  });

  it("is stored on the phone once it is loaded", async () => {
    const store = memoryStore();
    await openAlarmRates(store);
    await openPage("/yards/alder-croft/alarm-history", store);
    await screen.findByText(/^14 alarms in 30 days/);
    expect(await store.get("rates")).toMatchObject([["alder-croft", { view: { yard: "alder-croft" } }]]);
  });

  it("shows that it is not on the phone where it is offline and nothing is stored", async () => {
    const store = memoryStore();
    await store.put("home", { view: server.home, asOf: Date.now() });
    server.offline = true;
    await openPage("/yards/alder-croft/alarm-history", store);
    expect(
      await screen.findByText("The alarm history is not saved on this phone, and there is no connection."),
    ).toBeTruthy();
  });

  it("is linked from its yard", () => {
    const [yard] = server.home.yards;
    if (yard === undefined) throw new Error("expected a yard");
    render(<YardLinks yard={yard} />);
    const link = screen.getByRole("link", { name: "Alarm history" });
    expect(link.getAttribute("href")).toBe("/yards/alder-croft/alarm-history");
  });
});

describe("the chart of a month", () => {
  it("has a description for screen readers", () => {
    const day = (urgent: number, soon: number, notes: number) => ({ date: "2026-01-01", urgent, soon, notes });
    expect(alarmMonthText([day(0, 0, 0)])).toBe("No alarms in 1 day.");
    expect(alarmMonthText([day(1, 2, 0), day(0, 1, 1), day(0, 0, 3)])).toBe(
      "Alarms on 2 of 3 days, at most 3 on one day. Notes on 2 days.",
    );
  });
});
