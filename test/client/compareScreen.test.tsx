// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { expect, it } from "vitest";
import { historyFixture } from "./evidenceFixture.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";
import { trainingViewFixture } from "./trainingFixture.ts";
import "../../client/screens/compareScreen.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
  server.histories = (query) => historyFixture(Date.now(), query);
  server.replies["GET /yards/alder-croft/training"] = () => ({ status: 200, body: trainingViewFixture(Date.now()) });
});

it("two weeks stand beside each other, with their differences and what is not known", async () => {
  await openPage("/days/rowan/compare");
  const table = await screen.findByRole("table", { name: "" }).catch(() => screen.getAllByRole("table")[0]);
  const row = within(table as HTMLElement).getByRole("row", { name: /^Visits / });
  const [one, other, difference] = within(row)
    .getAllByRole("cell")
    .map(({ textContent }) => textContent ?? "");
  expect(Number(other) - Number(one)).toBe(7);
  expect(difference).toBe("−7");
  expect(
    within(table as HTMLElement).getByRole("row", { name: /^Food given, g not known not known not known/ }),
  ).toBeTruthy();
  expect(within(table as HTMLElement).getByRole("row", { name: /^Days known 6 of 7 6 of 7/ })).toBeTruthy();
  await waitFor(() => expect(screen.getAllByRole("img", { name: /^Deposits by day: / })).toHaveLength(2));
  expect(screen.getAllByRole("img", { name: /^Visits by hour: / })).toHaveLength(2);
});

it("another choice is another address; stages are compared, too", async () => {
  await openPage("/days/rowan/compare");
  const other = (await screen.findByLabelText("The other")) as HTMLSelectElement;
  const earlier = other.options[5]?.value ?? "";
  other.value = earlier;
  fireEvent.change(other);
  await waitFor(() => expect(location.search).toContain(`other=${earlier}`));
  fireEvent.click(screen.getByRole("link", { name: "Stages" }));
  await screen.findByText(/^Nudge a cap in, .* beside Press for food, /);
});

it("without two stages it says so", async () => {
  const none = { ...trainingViewFixture(Date.now()), periods: [] };
  server.replies["GET /yards/alder-croft/training"] = () => ({ status: 200, body: none });
  await openPage("/days/rowan/compare?of=stages");
  expect(await screen.findByText(/^The programme needs two stages/)).toBeTruthy();
});
