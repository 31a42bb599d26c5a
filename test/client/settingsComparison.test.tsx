// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { describe, expect, it, vi } from "vitest";
import { connectionState } from "../../client/state/home.ts";
import type { SettingsComparisonView } from "../../server/contract/api.ts";
import { settingsComparisonFixture } from "./comparisonFixture.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const path = "/feeders/rowan/settings/comparison";
const answer = (view: Partial<SettingsComparisonView> = {}) => {
  server.replies[`POST ${path}`] = () => ({ status: 200, body: { ...settingsComparisonFixture(Date.now()), ...view } });
};

/** Changes the food warning, and asks. */
async function compare() {
  await openPage("/feeders/rowan/settings");
  fireEvent.input(await screen.findByLabelText("Food warning"), { target: { value: "4" } });
  fireEvent.click(screen.getByRole("button", { name: "What would have rung?" }));
}

describe("what would have rung, on a feeder's settings", () => {
  it("is said in a sentence, and by alarm in a table, for what was changed", async () => {
    answer();
    await compare();
    await screen.findByText("In the last 30 days these settings would have rung 4 times; the present ones 6 times.");
    expect(server.posts()).toEqual([{ method: "POST", path, body: { settings: { warnAheadDays: 4 } } }]);
    const cells = screen.getAllByRole("row").map((row) => [...row.children].map(({ textContent }) => textContent));
    expect(cells).toEqual([
      ["Alarm", "Present", "Changed"],
      ["Tray jammedurgent", "2 3.5 h", "2 3.5 h"],
      ["Food low", "4 12 h", "2 4 h"],
      ["Frost inside (note)", "1 8 h", "1 8 h"],
    ]);
    const only = screen.getByText("Only with the present settings: 2").closest("details") as HTMLElement;
    expect(within(only).getAllByRole("listitem")).toHaveLength(2);
    expect(screen.queryByText(/^Only with these settings/)).toBeNull();
    expect(screen.queryByText(/^Counted from/)).toBeNull();
  });

  it("is the same, once or not at all, in words", async () => {
    const none = { urgent: 0, soon: 0, note: 0 };
    answer({ onlyPresent: [], proposed: { urgent: 2, soon: 4, note: 1 } });
    await compare();
    await screen.findByText(/would have rung 6 times, at the same times as the present ones/);
    answer({ proposed: none, present: { ...none, soon: 1 } });
    fireEvent.click(screen.getByRole("button", { name: "What would have rung?" }));
    await screen.findByText(/these settings would have rung not at all; the present ones once/);
  });

  it("says from when it counts, and what is in doubt", async () => {
    const now = Date.now();
    const from = new Date(now - 9 * 86_400_000).toISOString();
    answer({ from, readingsDroppedUntil: from, begun: "middle", isIncomplete: true });
    await compare();
    await screen.findByText(/^In the last 9 days/);
    screen.getByText(/^Counted from .*: older readings are not stored any more/);
    screen.getByText(/with nothing learnt before/);
    screen.getByText(/can't be read and was left out/);
  });

  it("asks for a change first", async () => {
    await openPage("/feeders/rowan/settings");
    fireEvent.click(await screen.findByRole("button", { name: "What would have rung?" }));
    expect((await screen.findByText(/^Change a setting first/)).getAttribute("role")).toBe("alert");
    expect(server.posts()).toEqual([]);
  });

  it("marks the setting that was refused", async () => {
    server.replies[`POST ${path}`] = () => ({
      status: 400,
      body: { ...problem(400, "no"), errors: [{ field: "settings.warnAheadDays", problem: "is odd" }] },
    });
    await compare();
    await screen.findByText("Food warning: is odd");
    screen.getByText("Correct the marked fields first.");
  });

  it("gives the server's reason where there is no answer, and says when it isn't reached", async () => {
    server.replies[`POST ${path}`] = () => ({ status: 429, body: problem(429, "Another comparison is running.") });
    await compare();
    await screen.findByText("Another comparison is running.");
    server.replies[`POST ${path}`] = () => ({ status: 502, body: {} });
    fireEvent.click(screen.getByRole("button", { name: "What would have rung?" }));
    await screen.findByText(/^Can't reach the server/);
    await waitFor(() =>
      expect(screen.getByRole("button", { name: "What would have rung?" })).toHaveProperty("disabled", true),
    );
    screen.getByText("To see what would have rung, connect to the server.");
    connectionState.value = "live";
    await waitFor(() =>
      expect(screen.getByRole("button", { name: "What would have rung?" })).toHaveProperty("disabled", false),
    );
  });

  it("shows that it works, and stops at once when it is cancelled or the screen is left", async () => {
    const signals: AbortSignal[] = [];
    const usual = server.fetch;
    vi.stubGlobal("fetch", (url: string, init: RequestInit) => {
      if (!url.endsWith("/comparison")) return usual(url, init);
      signals.push(init.signal as AbortSignal);
      return new Promise((_, reject) => init.signal?.addEventListener("abort", () => reject(new Error("aborted"))));
    });
    await compare();
    expect((await screen.findByRole("progressbar")).getAttribute("aria-labelledby")).toBeTruthy();
    fireEvent.click(screen.getByRole("button", { name: "Cancel" }));
    await waitFor(() => expect(screen.queryByRole("progressbar")).toBeNull());
    expect(signals.map(({ aborted }) => aborted)).toEqual([true]);
    expect(connectionState.value).not.toBe("offline"); // nothing is wrong with the connection
    fireEvent.click(screen.getByRole("button", { name: "What would have rung?" }));
    await screen.findByRole("progressbar");
    fireEvent.click(screen.getByRole("link", { name: /Rowan/ }));
    await waitFor(() => expect(signals.map(({ aborted }) => aborted)).toEqual([true, true]));
  });
});
