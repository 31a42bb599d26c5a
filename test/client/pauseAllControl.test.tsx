// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { failedActions, queuedActions } from "../../client/state/actions.ts";
import { announcement } from "../../client/state/announcement.ts";
import type { FeederView, HomeView, OrderView, YardOrderView } from "../../server/contract/api.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { feederViewFixture, homeViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
  server.home = croft(feeders());
  server.replies["POST /yards/alder-croft/orders"] = (body) => ({ status: 200, body: orderView(body as Order) });
});

type Order = Pick<OrderView, "id" | "kind">;
const feeders = () => ["Rowan", "Larch"].map((name) => feederViewFixture(Date.now(), { id: name.toLowerCase(), name }));
const croft = (own: readonly FeederView[], role: "keeper" | "helper" = "keeper"): HomeView => {
  const view = homeViewFixture(Date.now());
  return { ...view, yards: view.yards.slice(0, 1).map((yard) => ({ ...yard, role, feeders: own })) };
};
const withOrder = (feeder: FeederView, order: Order, change: Partial<OrderView> = {}): FeederView => ({
  ...feeder,
  revision: feeder.revision + 1,
  pause: {
    ...feeder.pause,
    order: {
      ...{ status: "requested", until: null, requestedAt: new Date().toISOString(), requestedBy: "Ada", sentAt: null },
      ...{ answeredAt: null, problem: null },
      ...order,
      ...change,
    },
  },
});
const pausedBy = (feeder: FeederView): FeederView => {
  const at = new Date().toISOString();
  const order = { id: "order-all-1", kind: "pause" } as const;
  const view = withOrder(feeder, order, { status: "confirmed", answeredAt: at });
  return { ...view, pause: { ...view.pause, statement: { paused: true, at }, status: { kind: "paused", at } } };
};
const orderView = (order: Order): YardOrderView => ({
  feeders: feeders().map((feeder) => withOrder(feeder, order)),
  skippedFeeders: [],
});
const posts = () => server.posts().filter(({ path }) => path === "/yards/alder-croft/orders");
const button = (name: string) => screen.getByRole("button", { name });

describe("pausing all feeders of a yard", () => {
  it("takes two taps, with a question between them", async () => {
    await openPage("/");
    fireEvent.click(await screen.findByRole("button", { name: "Pause all feeders of Alder Croft" }));
    const question = screen.getByRole("group", { name: "Pause both feeders of Alder Croft?" });
    expect(document.activeElement?.textContent).toBe("Pause both feeders of Alder Croft?");
    expect(posts()).toEqual([]);
    fireEvent.click(within(question).getByRole("button", { name: "Pause all" }));
    await waitFor(() => expect(posts()).toHaveLength(1));
    expect(posts()[0]?.body).toMatchObject({ kind: "pause", until: null });
    expect(server.sent(0).id).toMatch(/^[A-Za-z0-9_-]{8,64}$/);
    expect(await screen.findByText("Paused: 0 of 2 feeders confirmed. Not confirmed: Larch, Rowan.")).toBeTruthy();
    expect(screen.getAllByText("Pause until resumed: requested")).toHaveLength(2);
    await waitFor(() => expect(screen.queryByRole("group")).toBeNull());
    await waitFor(() => expect(document.activeElement?.textContent).toMatch(/^Paused: 0 of 2/));
    expect(announcement.value).toContain("Rowan: Pause requested.");
    expect(announcement.value).toContain("Larch: Pause requested.");
  });

  it("does nothing at Cancel and at Escape, and moves the focus back to its button", async () => {
    await openPage("/");
    for (const leave of [
      () => fireEvent.click(button("Cancel")),
      () => fireEvent.keyDown(screen.getByRole("group"), { key: "Escape" }),
    ]) {
      fireEvent.click(await screen.findByRole("button", { name: "Pause all feeders of Alder Croft" }));
      leave();
      expect(screen.queryByRole("group")).toBeNull();
      expect(document.activeElement).toBe(button("Pause all feeders of Alder Croft"));
    }
    expect(posts()).toEqual([]);
  });

  it("is offered to a helper too, and not where there is no feeder", async () => {
    server.home = croft(feeders(), "helper");
    await openPage("/");
    expect(await screen.findByRole("button", { name: "Pause all feeders of Alder Croft" })).toBeTruthy();
    server.home = croft([]);
    dispatchEvent(new Event("online"));
    await screen.findByText(/No feeders yet/);
    expect(screen.queryByRole("button", { name: /all feeders/ })).toBeNull();
  });

  it("shows why it was refused", async () => {
    server.replies["POST /yards/alder-croft/orders"] = () => ({ status: 404, body: problem(404, "No such yard.") });
    await openPage("/");
    fireEvent.click(await screen.findByRole("button", { name: "Pause all feeders of Alder Croft" }));
    fireEvent.click(button("Pause all"));
    const failure = "Alder Croft: “pause all feeders” was not accepted. No such yard.";
    await waitFor(() => expect(failedActions.value.map((each) => each.text)).toEqual([failure]));
    expect(button("OK").closest("p")?.textContent).toContain(failure);
  });

  it("is queued while offline, can be cancelled, and is sent once with the same id", async () => {
    const localStore = await openPage("/");
    const pauseAll = async () => {
      fireEvent.click(await screen.findByRole("button", { name: "Pause all feeders of Alder Croft" }));
      fireEvent.click(button("Pause all"));
      await screen.findByText(/^Pause all feeders: not sent yet\.$/);
    };
    server.offline = true;
    await pauseAll();
    await waitFor(() => expect(screen.queryByRole("button", { name: "Pause all" })).toBeNull());
    fireEvent.click(button("Cancel"));
    await waitFor(() => expect(queuedActions.value).toEqual([]));
    await pauseAll();
    const stored = (await localStore.keys()).filter((key) => key.startsWith("queued/"));
    expect(stored).toHaveLength(1);
    expect(screen.queryByRole("button", { name: "Pause all feeders of Alder Croft" })).toBeNull(); // it is requested already
    server.offline = false;
    dispatchEvent(new Event("online"));
    await waitFor(() => expect(queuedActions.value).toEqual([]));
    expect(posts()).toHaveLength(1);
    expect(stored).toEqual([`queued/${server.sent(0).id}`]);
  });
});

describe("resuming all feeders of a yard", () => {
  it("is offered once a pause is in force or on its way, and asks first", async () => {
    await openPage("/");
    await screen.findByRole("button", { name: "Pause all feeders of Alder Croft" });
    expect(screen.queryByRole("button", { name: "Resume all feeders of Alder Croft" })).toBeNull();
    server.home = croft(feeders().map(pausedBy));
    dispatchEvent(new Event("online"));
    fireEvent.click(await screen.findByRole("button", { name: "Resume all feeders of Alder Croft" }));
    const question = screen.getByRole("group", { name: "Resume both feeders of Alder Croft?" });
    fireEvent.click(within(question).getByRole("button", { name: "Resume all" }));
    await waitFor(() => expect(posts()).toHaveLength(1));
    expect(posts()[0]?.body).toMatchObject({ kind: "resume", until: null });
  });

  it("shows first which feeders are not included, and later which were skipped unexpectedly", async () => {
    const [rowan, larch] = feeders().map(pausedBy) as [FeederView, FeederView];
    const hazel = pausedBy(feederViewFixture(Date.now(), { id: "hazel", name: "Hazel" }));
    const onBench = { ...larch, settings: { ...larch.settings, placement: "onBench" as const } };
    server.home = croft([rowan, onBench, hazel]);
    server.replies["POST /yards/alder-croft/orders"] = (body) => ({
      status: 200,
      body: { feeders: [withOrder(rowan, body as Order)], skippedFeeders: ["larch", "hazel"] } satisfies YardOrderView,
    });
    await openPage("/");
    fireEvent.click(await screen.findByRole("button", { name: "Resume all feeders of Alder Croft" }));
    expect(screen.getByRole("group", { name: "Resume 2 of 3 feeders of Alder Croft?" })).toBeTruthy();
    expect(screen.getByText(/Not included: Larch \(workshop or storage\)\./)).toBeTruthy();
    fireEvent.click(button("Resume all"));
    await waitFor(() => expect(failedActions.value).toHaveLength(1));
    expect(failedActions.value[0]?.text).toMatch(/did not include Hazel,/);
    expect(failedActions.value[0]?.text).not.toMatch(/Larch/);
  });
});

describe("each feeder's entry while a yard's pause is on its way", () => {
  it("shows its own state, and the summary counts the confirmed ones", async () => {
    const [rowan, larch] = feeders() as [FeederView, FeederView];
    const order = { id: "order-all-1", kind: "pause" } as const;
    const sentAt = new Date().toISOString();
    server.home = croft([pausedBy(rowan), withOrder(larch, order, { status: "sent", sentAt })]);
    await openPage("/");
    expect(await screen.findByText("Paused: 1 of 2 feeders confirmed. Not confirmed: Larch.")).toBeTruthy();
    const entry = (name: string) => screen.getByRole("link", { name }).closest("li")?.textContent;
    expect(entry("Rowan")).toMatch(/Pause until resumed: confirmed by the feeder at \d\d:\d\d/);
    expect(entry("Larch")).toContain("Pause until resumed: sent, not yet confirmed");
  });
});
