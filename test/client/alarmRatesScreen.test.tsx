// @vitest-environment happy-dom
import { fireEvent, render, screen } from "@testing-library/preact";
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
beforeEach(() => {
  alarmRates.value = new Map();
  answers(ratesViewFixture(Date.now()));
});
const answers = (view: unknown) => {
  server.replies["GET /yards/alder-croft/alarm-rates"] = () => ({ status: 200, body: view });
};

describe("the alarms themselves", () => {
  it("are told in words first, with what to change by the very alarm", async () => {
    await openPage("/yards/alder-croft/alarm-history");
    expect(await screen.findByText(/^14 alarms in 30 days at 2 feeders/)).toBeTruthy();
    expect(screen.getByText(/^“Ice on tray and slot likely” at Rowan makes two thirds of all alarms/)).toBeTruthy();
    expect(
      screen.getByRole("img", { name: /^Over 31 days alarms came on \d+, at most 11 on one of them/ }),
    ).toBeTruthy();
  });

  it("say each number beside its ceiling, where it is over, and whose ceiling it is", async () => {
    await openPage("/yards/alder-croft/alarm-history");
    const summary = await screen.findByText("Beside the standard's ceilings");
    expect(summary.closest("details")?.open).toBe(false); // one tap away
    fireEvent.click(summary);
    expect(screen.getByText(/1\.6 – over/)).toBeTruthy();
    expect(screen.getByText("ceiling: 144 very likely acceptable, 288 at most")).toBeTruthy();
    expect(
      screen.getByText(
        "The ceilings a week are our own, the others are those of ANSI/ISA-18.2-2016, IEC 62682:2014 and EEMUA 191.",
      ),
    ).toBeTruthy();
  });

  it("say that nothing is to be changed, where that is so", async () => {
    answers(ratesViewFixture(Date.now(), { findings: [], standing: [], frequentAlarms: [] }));
    await openPage("/yards/alder-croft/alarm-history");
    expect(await screen.findByText("Nothing. They come seldom enough to be believed.")).toBeTruthy();
    expect(screen.queryByText("What has stood for more than a day")).toBeNull();
  });

  it("can be read without a line as they were last known, and say of when", async () => {
    const cupboard = memoryStore();
    const asOf = Date.now() - 26 * 3_600_000;
    await cupboard.put("rates", [["alder-croft", { view: ratesViewFixture(asOf), asOf }]]);
    await cupboard.put("home", { view: server.home, asOf });
    server.offline = true;
    await openAlarmRates(cupboard);
    await openPage("/yards/alder-croft/alarm-history", cupboard);
    expect(await screen.findByText(/^14 alarms in 30 days/)).toBeTruthy();
    expect(await screen.findByText(/^As of yesterday|^As of \w{3} \d+/)).toBeTruthy();
  });

  it("are kept on the phone once they were fetched", async () => {
    const cupboard = memoryStore();
    await openAlarmRates(cupboard);
    await openPage("/yards/alder-croft/alarm-history", cupboard);
    await screen.findByText(/^14 alarms in 30 days/);
    expect(await cupboard.get("rates")).toMatchObject([["alder-croft", { view: { yard: "alder-croft" } }]]);
  });

  it("say that they aren't on the phone where there is neither a line nor a memory", async () => {
    const cupboard = memoryStore();
    await cupboard.put("home", { view: server.home, asOf: Date.now() });
    server.offline = true;
    await openPage("/yards/alder-croft/alarm-history", cupboard);
    expect(await screen.findByText("This isn't on the phone, and there is no connection.")).toBeTruthy();
  });

  it("are reached from their yard", () => {
    const [yard] = server.home.yards;
    if (yard === undefined) throw new Error("expected a yard");
    render(<YardLinks yard={yard} />);
    const link = screen.getByRole("link", { name: "The alarms themselves" });
    expect(link.getAttribute("href")).toBe("/yards/alder-croft/alarm-history");
  });
});

describe("a month in strokes", () => {
  it("is told in words to whoever can't see it", () => {
    const day = (urgent: number, soon: number, notes: number) => ({ date: "2026-01-01", urgent, soon, notes });
    expect(alarmMonthText([day(0, 0, 0)])).toBe("Over 1 day no alarm came.");
    expect(alarmMonthText([day(1, 2, 0), day(0, 1, 1), day(0, 0, 3)])).toBe(
      "Over 3 days alarms came on 2, at most 3 on one of them, and notes on 2.",
    );
  });
});
