// @vitest-environment happy-dom
import { screen, waitFor, within } from "@testing-library/preact";
import { expect, it } from "vitest";
import { memoryStore } from "../../client/offline/localStore.ts";
import { histories, openHistories } from "../../client/state/histories.ts";
import { historyFixture } from "./evidenceFixture.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";
import { dayViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
  server.histories = (query) => historyFixture(Date.now(), query);
  server.replies["GET /feeders/rowan/day"] = () => ({ status: 200, body: dayViewFixture("rowan", "2026-03-11") });
});

it("a month has a row for each day and each week, and its neighbours a link", async () => {
  await openPage("/feeders/rowan/days?month=2026-03");
  const table = await screen.findByRole("table", { name: "Days of the month" });
  expect(screen.getByRole("heading", { level: 2, name: "March 2026" })).toBeTruthy();
  expect(within(table).getAllByRole("link")).toHaveLength(31);
  expect(within(table).getAllByText(/ g given/)).toHaveLength(6);
  expect(within(table).getByText(/6 of 7 days known/)).toBeTruthy();
  await waitFor(() =>
    expect(within(table).getAllByRole("img", { name: /most visits from/ }).length).toBeGreaterThan(20),
  );
  const link = (name: RegExp) => screen.getByRole("link", { name }).getAttribute("href");
  expect(link(/April 2026/)).toBe("/feeders/rowan/days?month=2026-04");
  expect(within(table).getByRole("link", { name: "Wed 11" }).getAttribute("href")).toBe(
    "/feeders/rowan/days?day=2026-03-11",
  );
});

it("a day in the address is open above its month, with its neighbours", async () => {
  await openPage("/feeders/rowan/days?day=2026-03-11");
  await screen.findByText(/^Birds came/);
  expect(screen.getByRole("link", { name: "Previous day" }).getAttribute("href")).toBe(
    "/feeders/rowan/days?day=2026-03-10",
  );
  const row = await screen.findByRole("link", { name: "Wed 11" });
  expect(row.getAttribute("aria-current")).toBe("date");
});

it("an address that names no day or one to come opens the present month", async () => {
  await openPage("/feeders/rowan/days?day=2099-01-01");
  expect(await screen.findByRole("table", { name: "Days of the month" })).toBeTruthy();
  expect(screen.queryByRole("link", { name: "Next day" })).toBeNull();
  expect(screen.queryByRole("link", { name: /→/ })).toBeNull();
});

it("a month without any report says so", async () => {
  server.histories = (query) => ({ ...historyFixture(Date.now(), query), columns: {} });
  await openPage("/feeders/rowan/days?month=2026-03");
  expect(await screen.findByText("Nothing is known of this month: no report came.")).toBeTruthy();
});

it("without a connection a month that was loaded is there, with its age, and another one is not", async () => {
  const store = memoryStore();
  await openHistories(store);
  await openPage("/feeders/rowan/days?month=2026-03", store);
  await screen.findByRole("table", { name: "Days of the month" });
  await waitFor(async () => expect(await store.get("histories")).toHaveLength(4));
  const { cleanup } = await import("@testing-library/preact");
  cleanup();
  histories.value = new Map();
  await openHistories(store);
  server.offline = true;
  await openPage("/feeders/rowan/days?month=2026-03", store);
  await screen.findByRole("table", { name: "Days of the month" });
  expect(await screen.findByText(/^Data from /, { selector: "main .notice" })).toBeTruthy();
  cleanup();
  await openPage("/feeders/rowan/days?month=2026-02", store);
  expect(await screen.findByText(/not saved on this phone/)).toBeTruthy();
});
