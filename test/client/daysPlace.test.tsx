// @vitest-environment happy-dom
import { cleanup, screen, waitFor } from "@testing-library/preact";
import { expect, it } from "vitest";
import { memoryStore } from "../../client/offline/localStore.ts";
import { histories, openHistories } from "../../client/state/histories.ts";
import { daysHistoryFixture } from "./evidenceFixture.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";
import { trainingViewFixture } from "./trainingFixture.ts";
import "../../client/screens/daysPlace.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const answer = (change: object = {}) => {
  server.replies["GET /feeders/rowan/history"] = () => ({
    status: 200,
    body: { ...daysHistoryFixture(Date.now()), ...change },
  });
};

it("the days of a feeder have their pictures, with what is known of yesterday", async () => {
  answer();
  await openPage("/days/rowan");
  await screen.findByRole("heading", { level: 1, name: "Days of Rowan" });
  for (const name of ["Visits by hour", "Deposits by day", "Food in the hopper", "Air temperature", "Battery"])
    expect(await screen.findByRole("img", { name })).toBeTruthy();
  expect(screen.getByText(/visits, .* presses, .* caps? paid.* given\.$/)).toBeTruthy();
  expect(screen.getByRole("link", { name: "Larch" }).getAttribute("href")).toBe("/days/larch?span=42");
  expect(screen.getByRole("link", { name: "6 weeks" }).getAttribute("aria-current")).toBe("page");
  expect(screen.queryByRole("link", { name: /practice/i })).toBeNull();
});

it("nothing is drawn of what a feeder doesn't measure, and a damaged sum is said", async () => {
  answer({ columns: { presses: Array.from({ length: 42 }, () => 3) }, damaged: 2 });
  await openPage("/days/rowan");
  await screen.findByRole("img", { name: "Presses by day" });
  expect(screen.queryByRole("img", { name: "Battery" })).toBeNull();
  expect(screen.getByText(/^4 stored sums can't be read/)).toBeTruthy();
});

it("without a connection they are as last loaded, with their age; others are said not to be there", async () => {
  const store = memoryStore();
  await store.put("home", { view: server.home, asOf: Date.now() });
  await openHistories(store);
  answer();
  await openPage("/days/rowan", store);
  await screen.findByRole("img", { name: "Deposits by day" });
  cleanup();
  histories.value = new Map();
  await openHistories(store); // as after a start of the phone
  server.offline = true;
  await openPage("/days/rowan", store);
  await screen.findByRole("img", { name: "Deposits by day" });
  await waitFor(() => expect(screen.getByText(/^Data from .*\.$/, { selector: "main .notice" })).toBeTruthy());
  cleanup();
  await openPage("/days/rowan?span=365", store);
  await waitFor(() => expect(screen.getByText(/not saved on this phone, and there is no connection/)).toBeTruthy());
});

it("a refill, the start of a stage and what cold forbids are read out and stand in the tables", async () => {
  answer();
  server.replies["GET /yards/alder-croft/training"] = () => ({ status: 200, body: trainingViewFixture(Date.now()) });
  await openPage("/days/rowan");
  const begins = await screen.findAllByText("Press for food");
  expect(begins.map((cell) => cell.tagName)).toEqual(["TD"]);
  expect(screen.getByText("refilled with 870 g").tagName).toBe("TD");
  expect(screen.getByText("refilled, amount not entered").tagName).toBe("TD");
  expect(screen.getByText(/must not be charged below 0 °C, and not be used below −30 °C\./)).toBeTruthy();
  expect(screen.getAllByText("too cold to charge at times").length).toBeGreaterThan(3);
  expect(screen.getByText(/^124 were paid.* 3 days are not known, and left out\.$/)).toBeTruthy();
});

it("without a kind of battery it says that nothing is known of it", async () => {
  const limits = { trayFreezesBelowCelsius: -0.5, trayThawsAboveCelsius: 0.5, battery: null };
  answer({ limits });
  await openPage("/days/rowan");
  expect(await screen.findByText(/The settings name no kind of battery/)).toBeTruthy();
});
