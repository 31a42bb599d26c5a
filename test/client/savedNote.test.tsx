// @vitest-environment happy-dom
import { act, fireEvent, screen, waitFor } from "@testing-library/preact";
import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import { dismissSaved, earlierValues, savedChange, showSaved } from "../../client/state/saved.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { peopleViewFixture } from "./peopleFixture.ts";
import { feederViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});
afterEach(dismissSaved);

const rowan = () => feederViewFixture(Date.now(), { id: "rowan" });
const bodies = () => server.posts().map(({ body }) => body);

async function saveName(name: string): Promise<void> {
  await openPage("/feeders/rowan/settings");
  fireEvent.input(await screen.findByLabelText("Name"), { target: { value: name } });
  fireEvent.click(screen.getByRole("button", { name: "Save" }));
  await screen.findByText("Settings saved.", { selector: ".saved-note *" });
}

describe("what was saved", () => {
  beforeEach(() => {
    server.replies["PATCH /feeders/rowan"] = (body) => ({ status: 200, body: { ...rowan(), ...(body as object) } });
  });

  it("is said on the page that follows, and undone there by the earlier values", async () => {
    await saveName("Ash");
    expect(location.pathname).toBe("/feeders/rowan");
    fireEvent.click(screen.getByRole("button", { name: "Undo" }));
    await screen.findByText("Undone: it is as before.", { selector: ".saved-note *" });
    expect(bodies()).toEqual([{ name: "Ash" }, { name: "Rowan" }]);
    expect(screen.queryByRole("button", { name: "Undo" })).toBeNull();
    fireEvent.click(screen.getByRole("button", { name: "Close" }));
    expect(document.querySelector(".saved-note")).toBeNull();
  });

  it("is said not to be undone where the server refuses it or can't be reached, and can be tried again", async () => {
    await saveName("Ash");
    server.replies["PATCH /feeders/rowan"] = () => ({ status: 409, body: problem(409, "Larch has that name now.") });
    fireEvent.click(screen.getByRole("button", { name: "Undo" }));
    await screen.findByText("Not undone. Larch has that name now.");
    server.offline = true;
    fireEvent.click(screen.getByRole("button", { name: "Undo" }));
    await screen.findByText(/^Not undone\. Can't reach the server/);
  });

  it("of quiet hours shows the earlier ones again in its form", async () => {
    const [first, ...others] = peopleViewFixture(Date.now()).people;
    const people = (quietHours: unknown) => ({
      ...peopleViewFixture(Date.now()),
      people: [{ ...first, you: true, quietHours }, ...others.map((person) => ({ ...person, you: false }))],
    });
    const earlier = { from: "22:00", to: "07:00" };
    server.replies["GET /yards/alder-croft/people"] = () => ({ status: 200, body: people(earlier) });
    server.replies[`PATCH /yards/alder-croft/people/${first?.id}`] = (body) => ({
      status: 200,
      body: people((body as { quietHours: unknown }).quietHours),
    });
    await openPage("/yards/alder-croft/recipients");
    const from = await screen.findByLabelText("From");
    fireEvent.input(from, { target: { value: "23:30" } });
    fireEvent.submit(from.closest("form") as HTMLFormElement);
    fireEvent.click(await screen.findByRole("button", { name: "Undo" }));
    await screen.findByText("Undone: it is as before.", { selector: ".saved-note *" });
    expect(bodies().map((body) => (body as { quietHours: unknown }).quietHours)).toEqual([
      { from: "23:30", to: "07:00" },
      earlier,
    ]);
    await waitFor(() => expect((screen.getByLabelText("From") as HTMLInputElement).value).toBe("22:00"));
  });

  it("has no undo where a value was entered for the first time: planted", () => {
    expect(earlierValues({ name: "Ash", battery: "leadAcid" }, { name: "Rowan" })).toBeNull();
    expect(earlierValues({}, { name: "Rowan" })).toBeNull();
    expect(earlierValues({ feeding: {} }, { feeding: null, name: "Rowan" })).toEqual({ feeding: null });
  });

  it("is gone after half a minute, though not while the focus is in it", async () => {
    await saveName("Ash");
    vi.useFakeTimers();
    await act(() => showSaved("Saved again.", () => Promise.resolve({ kind: "ok", value: null })));
    await act(() => screen.getByRole("button", { name: "Undo" }).focus());
    await act(() => void vi.advanceTimersByTime(30_000));
    expect(savedChange.value?.text).toBe("Saved again.");
    await act(() => screen.getByRole("button", { name: "Undo" }).blur());
    await act(() => void vi.advanceTimersByTime(30_000));
    vi.useRealTimers();
    expect(savedChange.value).toBeNull();
  });
});
