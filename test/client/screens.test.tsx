// @vitest-environment happy-dom
import { cleanup, fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { memoryStore } from "../../client/offline/localStore.ts";
import { failedActions, queuedActions, sendQueuedActions } from "../../client/state/actions.ts";
import { acceptFeeder, findFeeder } from "../../client/state/home.ts";
import { faultKinds, ruleOf } from "../../server/domain/faults.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { alarmViewFixture, feederViewFixture, homeViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

describe("the list of feeders", () => {
  it("shows whether all is well, then a row for each feeder, the most urgent first, practice last", async () => {
    await openPage("/");
    const links = await screen.findAllByRole("link", { name: /Rowan|Larch/ });
    expect(links.map((link) => link.getAttribute("href"))).toEqual([
      "/feeders/larch",
      "/feeders/rowan",
      "/feeders/practice-rowan",
    ]);
    expect(screen.getByText("Nothing has fallen for 17 minutes: its tray is jammed.")).toBeTruthy();
    expect(screen.getByText("urgent: act now")).toBeTruthy();
    expect(screen.getByText("1 of 2 needs you")).toBeTruthy();
  });

  it("offers the next thing to do in the row, and does it with one tap", async () => {
    const path = "/feeders/larch/alarms/trayJammed/acknowledge";
    server.replies[`POST ${path}`] = () => ({ status: 200, body: server.home.yards[0]?.feeders[1] });
    await openPage("/"); // a pause is on its way to Larch, so it isn't offered again
    fireEvent.click(await screen.findByRole("button", { name: "Acknowledge Larch" }));
    await waitFor(() => expect(server.requests).toContainEqual(expect.objectContaining({ path })));
    const rowan = screen.getAllByRole("link", { name: "Rowan" })[0]?.closest("li") as HTMLElement;
    expect(within(rowan).queryByRole("button")).toBeNull(); // it is well
  });

  it("shows a problem with the server's database, and nothing while there is none", async () => {
    const storage = "The server's database is damaged (found 2026-01-15 09:00 UTC).";
    server.home = { ...server.home, storageProblem: storage };
    await openPage("/");
    expect((await screen.findByText(storage)).getAttribute("role")).toBe("alert");
    cleanup();
    server.home = { ...server.home, storageProblem: null };
    await openPage("/");
    await screen.findAllByRole("link", { name: /Rowan|Larch/ });
    await waitFor(() => expect(screen.queryByText(storage)).toBeNull());
  });

  it("marks practice with text", async () => {
    await openPage("/");
    const yard = await screen.findByRole("heading", { level: 2, name: /Practice yard/ });
    expect(yard.textContent).toContain("practice");
  });

  it("shows the sign-in screen when the session has ended", async () => {
    server.signedOut = true;
    await openPage("/");
    expect(await screen.findByRole("heading", { name: "Sign in" })).toBeTruthy();
  });

  it("opens from the local store, and shows how old the data is", async () => {
    const store = memoryStore();
    const asOf = Date.now() - 3 * 3_600_000;
    await store.put("home", { view: homeViewFixture(asOf), asOf });
    server.offline = true;
    await openPage("/", store);
    expect(await screen.findByText("No connection to the server.")).toBeTruthy();
    expect(screen.getByText(/Data from .*3 hours ago/)).toBeTruthy();
    expect(screen.getByRole("link", { name: "Larch" })).toBeTruthy();
  });

  it("reconnects by itself after it was opened offline", async () => {
    const store = memoryStore();
    await store.put("home", { view: { ...homeViewFixture(Date.now()), yards: [] }, asOf: Date.now() });
    server.offline = true;
    await openPage("/", store);
    await screen.findByText("No connection to the server.");
    server.offline = false;
    dispatchEvent(new Event("online"));
    expect(await screen.findByRole("link", { name: "Larch" })).toBeTruthy();
    expect(screen.queryByText("No connection to the server.")).toBeNull();
  });
});

describe("one feeder", () => {
  it("shows the run-out as text, and describes the drawing", async () => {
    await openPage("/feeders/rowan");
    expect(await screen.findByText("Enough until Saturday")).toBeTruthy();
    expect(screen.getByText("80 % sure")).toBeTruthy();
    expect(screen.getByRole("img", { name: /two thirds full: about 740 g, between 650 g and 830 g/ })).toBeTruthy();
  });

  it("shows the day as a chart with its sentence", async () => {
    await openPage("/feeders/rowan");
    expect(await screen.findByRole("img", { name: /34 visits, 9 deposits/ })).toBeTruthy();
    expect(screen.getByText(/^Birds came from a little after sunrise/)).toBeTruthy();
  });

  it("sends a pause with an id of its own, and shows that it isn't confirmed yet", async () => {
    await openPage("/feeders/rowan");
    server.replies["POST /feeders/rowan/orders"] = (body) => {
      const { id } = body as { id: string };
      const order = {
        id,
        kind: "pause" as const,
        status: "requested" as const,
        until: null,
        requestedAt: new Date().toISOString(),
        requestedBy: "Keeper",
        sentAt: null,
        answeredAt: null,
        problem: null,
      };
      const feeder = feederViewFixture(Date.now());
      return { status: 200, body: { ...feeder, revision: 13, pause: { ...feeder.pause, order } } };
    };
    fireEvent.click(await screen.findByRole("button", { name: "Pause until resumed" }));
    expect(await screen.findByText("Pause until resumed: requested")).toBeTruthy();
    expect(screen.getByText(/Last reported by the feeder: feeding as usual/)).toBeTruthy();
    const [post] = server.posts();
    expect(post?.body).toMatchObject({ kind: "pause", until: null });
    expect(server.sent(0).id).toMatch(/^[A-Za-z0-9_-]{8,64}$/);
  });

  it("stores a pause that was requested offline, shows that it is not sent, and sends the same one later", async () => {
    const store = await openPage("/feeders/rowan");
    const button = await screen.findByRole("button", { name: "Pause until resumed" });
    server.offline = true;
    fireEvent.click(button);
    expect(await screen.findByText(/Pause until resumed: not sent yet/)).toBeTruthy();
    const [stored] = (await store.keys()).filter((key) => key.startsWith("queued/"));
    expect(stored).toBeDefined();

    server.offline = false;
    dispatchEvent(new Event("online"));
    await waitFor(() => expect(queuedActions.value).toEqual([]));
    const orders = server.posts().filter(({ path }) => path.endsWith("/orders"));
    expect(orders).toHaveLength(1);
    expect(`queued/${server.sent(0).id}`).toBe(stored);
    expect((await store.keys()).some((key) => key.startsWith("queued/"))).toBe(false);
  });

  it("knows from a response to an action that the connection is back, and loads what it missed", async () => {
    const store = memoryStore();
    await store.put("home", { view: homeViewFixture(Date.now()), asOf: Date.now() });
    server.offline = true;
    await openPage("/feeders/rowan", store);
    await screen.findByText("No connection to the server.");
    server.offline = false; // and the browser has no event for it
    fireEvent.click(screen.getByRole("button", { name: "Pause for 1 hour" }));
    await waitFor(() => expect(screen.queryByText("No connection to the server.")).toBeNull());
    await waitFor(() => expect(server.requests.some(({ path }) => path === "/home")).toBe(true));
  });

  it("opens from what an earlier build stored, without the newer fields", async () => {
    const store = memoryStore();
    const { foods, ...older } = homeViewFixture(Date.now());
    const yards = older.yards.map((yard) => ({
      ...yard,
      feeders: yard.feeders.map(({ blindSpots, hopper: { portionText, ...hopper }, ...feeder }) => ({
        ...feeder,
        hopper,
      })),
    }));
    await store.put("home", { view: { ...older, yards }, asOf: Date.now() });
    server.offline = true;
    await openPage("/feeders/rowan/settings", store);
    expect(await screen.findByRole("heading", { name: "Settings of Rowan" })).toBeTruthy();
    cleanup();
    await openPage("/feeders/rowan", store);
    expect(await screen.findByText("Enough until Saturday")).toBeTruthy();
  });

  it("discards a pause that could not be sent in time, and shows that", async () => {
    const store = memoryStore();
    await store.put("queued/stale-00001", {
      id: "stale-00001",
      kind: "pause",
      feeder: "rowan",
      feederName: "Rowan",
      path: "/feeders/rowan/orders",
      body: {},
      text: "pause until resumed",
      requestedAt: Date.now() - 11 * 60_000,
    });
    await openPage("/feeders/rowan", store);
    expect(
      await screen.findByText(/could not be sent in time and was discarded/, { selector: ".notice" }),
    ).toBeTruthy();
    expect(server.posts()).toEqual([]);
  });

  it("shows no failure of an action that another window has sent meanwhile", async () => {
    const store = await openPage("/feeders/rowan");
    await screen.findByText(/^Birds came from/); // all requests are done
    const button = await screen.findByRole("button", { name: "Pause until resumed" });
    server.offline = true;
    fireEvent.click(button);
    await screen.findByText(/not sent yet/, { selector: ".queued strong" });
    await screen.findByText("No connection to the server.");
    server.requests.length = 0;
    for (const key of (await store.keys()).filter((each) => each.startsWith("queued/"))) await store.remove(key);
    server.offline = false;
    sendQueuedActions(); // as when the worker has sent the queue
    await waitFor(() => expect(queuedActions.value).toEqual([]));
    expect(server.posts()).toEqual([]);
    expect(failedActions.value).toEqual([]);
    await waitFor(() => expect(server.requests.map(({ path }) => path)).toContain("/home")); // it loads the result
  });

  it("shows what the server did not accept", async () => {
    await openPage("/feeders/rowan");
    server.replies["POST /feeders/rowan/orders"] = () => ({
      status: 409,
      body: problem(409, "There is a newer order."),
    });
    fireEvent.click(await screen.findByRole("button", { name: "Pause for 1 hour" }));
    expect(await screen.findByText(/was not accepted. There is a newer order./, { selector: ".notice" })).toBeTruthy();
    expect(queuedActions.value).toEqual([]);
  });

  it("shows an alarm's reason and advice, and shelves it only with an end", async () => {
    await openPage("/feeders/larch");
    const heading = await screen.findByRole("heading", { level: 3, name: /Tray jammed/ });
    const entry = within(heading.closest("li") as HTMLElement);
    expect(entry.getByText(/Three portions ran and nothing fell/)).toBeTruthy();
    expect(entry.getByText(/Pause the feeder, then loosen the food/)).toBeTruthy();
    fireEvent.click(entry.getByRole("button", { name: "For 1 hour", hidden: true }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    const [post] = server.posts();
    expect(post?.path).toBe("/feeders/larch/alarms/trayJammed/shelve");
    const until = Date.parse(server.sent(0).until ?? "");
    expect(Math.abs(until - Date.now() - 3_600_000)).toBeLessThan(60_000);
  });

  it("shows title and advice of every kind of fault", async () => {
    await openPage("/feeders/rowan");
    const alarms = faultKinds.map((fault) => {
      const { title, priority, advice } = ruleOf(fault);
      return alarmViewFixture(Date.now(), { fault, title, priority, advice });
    });
    acceptFeeder(feederViewFixture(Date.now(), { revision: 13, alarms }));
    for (const fault of faultKinds) {
      const name = new RegExp(`^${ruleOf(fault).title}`, "i");
      const entry = (await screen.findByRole("heading", { level: 3, name })).closest("li") as HTMLElement;
      expect(within(entry).getByText(ruleOf(fault).advice), fault).toBeTruthy();
      expect(entry.querySelector("svg.priority-flag path"), fault).not.toBeNull();
    }
  });

  it("is not overwritten by an older response", async () => {
    await openPage("/feeders/rowan");
    acceptFeeder(feederViewFixture(Date.now(), { revision: 14, summary: "newer" }));
    acceptFeeder(feederViewFixture(Date.now(), { revision: 13, summary: "older" }));
    expect(findFeeder("rowan")?.feeder.summary).toBe("newer");
  });

  it("announces an alarm that is raised while the page is open", async () => {
    await openPage("/feeders/rowan");
    acceptFeeder(feederViewFixture(Date.now(), { revision: 13, alarms: [alarmViewFixture(Date.now())] }));
    expect(await screen.findByText("Rowan: Tray jammed, urgent: act now.")).toBeTruthy();
  });
});

describe("a refill", () => {
  it("is sent with its own time, so that it may arrive late", async () => {
    await openPage("/feeders/rowan/refill");
    fireEvent.click(await screen.findByLabelText("Added some food"));
    fireEvent.input(screen.getByLabelText("Food added"), { target: { value: "450" } });
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]?.body).toMatchObject({ what: { kind: "added", grams: 450 } });
    expect(Date.parse(server.sent(0).at ?? "")).toBeGreaterThan(Date.now() - 60_000);
    await waitFor(() => expect(location.pathname).toBe("/feeders/rowan"));
  });

  it("isn't sent without an amount", async () => {
    await openPage("/feeders/rowan/refill");
    fireEvent.click(await screen.findByLabelText("Added some food"));
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    expect(await screen.findByText("Food added: enter the grams")).toBeTruthy();
    expect(screen.getByLabelText("Food added").getAttribute("aria-invalid")).toBe("true");
    expect(server.posts()).toEqual([]);
  });
});

describe("adding a feeder", () => {
  it("names the refused field next to its input", async () => {
    server.replies["POST /feeders"] = () => ({
      status: 400,
      body: {
        ...problem(400, "The feeder could not be added."),
        errors: [{ field: "name", problem: "must not be empty" }],
      },
    });
    await openPage("/feeders/new");
    fireEvent.click(await screen.findByRole("button", { name: "Add the feeder" }));
    expect(await screen.findByText("Name: must not be empty")).toBeTruthy();
    expect(screen.getByLabelText("Name").getAttribute("aria-describedby")).toContain("problem");
  });

  it("shows the key once, with a first report ready to paste, and links to the safety information", async () => {
    server.replies["POST /feeders"] = (body) => ({
      status: 201,
      body: {
        feeder: feederViewFixture(Date.now(), { id: "aspen", name: (body as { name: string }).name }),
        key: "secret-key",
      },
    });
    await openPage("/feeders/new");
    expect(await screen.findByRole("link", { name: "safety information" })).toBeTruthy();
    fireEvent.input(screen.getByLabelText("Name"), { target: { value: "Aspen" } });
    fireEvent.click(screen.getByRole("button", { name: "Add the feeder" }));
    expect(await screen.findByText("secret-key")).toBeTruthy();
    expect(screen.getByText(/^curl .*\/api\/v1\/report -H 'authorization: Bearer secret-key'/)).toBeTruthy();
    expect(server.posts()[0]?.body).toMatchObject({ name: "Aspen", yard: "alder-croft" });
  });
});

describe("going from page to page", () => {
  it("moves the focus to the new page's heading and names it in the title", async () => {
    await openPage("/");
    fireEvent.click(await screen.findByRole("link", { name: "Larch" }));
    const heading = await screen.findByRole("heading", { level: 1, name: "Larch" });
    await waitFor(() => expect(document.activeElement).toBe(heading));
    expect(document.title).toBe("Larch · Pieward");
    expect(await screen.findByRole("img", { name: /34 visits/ })).toBeTruthy();
  });
});
