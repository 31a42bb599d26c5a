// @vitest-environment happy-dom
import { screen, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import type { ReportView } from "../../server/contract/reportView.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { reportViewFixture } from "./reportFixture.ts";
import "../../client/screens/recordScreens.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const path = "/yards/alder-croft/report";
const route = "GET /yards/alder-croft/training/report";
const answer = (change: Partial<ReportView> = {}) => {
  server.replies[route] = () => ({ status: 200, body: reportViewFixture(Date.now(), change) });
};
beforeEach(() => answer());

describe("the season report", () => {
  it("has a section for each stage with its pictures, its promises, and only its own changes and notes", async () => {
    await openPage(path);
    const third = within(await screen.findByRole("region", { name: "Nudge a cap in" }));
    third.getByText(/^Stage 3 of 5 · /);
    expect(third.getAllByRole("img").map((picture) => picture.getAttribute("aria-label"))).toEqual([
      "How often they did it",
      "Promises kept by day",
      "From act to food",
      "Acts over the day",
    ]);
    third.getByText("Two jays at once.");
    third.getByText(/, Ada · caps on the dish: 3$/);
    third.getByText(/Started: Nudge a cap in\. Reason: They press at every visit \(Ada\)$/);
    const first = within(screen.getByRole("region", { name: "Come for free food" }));
    expect(first.queryByText("Two jays at once.")).toBeNull();
    expect(first.queryByText("From act to food")).toBeNull(); // nothing was promised there
  });

  it("says that nothing was started, and what is left out", async () => {
    answer({ pages: [], from: null, to: null });
    await openPage(path);
    await screen.findByText(/^No stage was started yet/);
    expect(screen.queryByRole("button", { name: "Print it" })).toBeNull();
  });

  it("says why there is none", async () => {
    server.replies[route] = () => ({ status: 404, body: problem(404, "There is no such yard.") });
    await openPage(path);
    await screen.findByText("There is no such yard.");
  });
});
