// @vitest-environment happy-dom
import { cleanup, fireEvent, screen, waitFor } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import { memoryStore } from "../../client/offline/localStore.ts";
import { digestError, digests, findDigest, openDigests } from "../../client/state/digests.ts";
import { shiftDate } from "../../client/text/clock.ts";
import { digestViewFixture } from "./digestFixture.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { feederViewFixture, homeViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});
beforeEach(() => {
  digests.value = [];
  digestError.value = null;
});
const path = "/yards/alder-croft/digest";
const serve = (back = 0) => {
  server.replies[`GET ${path}`] = () => ({ status: 200, body: digestViewFixture(Date.now(), back) });
};

describe("the digest screen", () => {
  it("shows the summary first, and then each section under its heading", async () => {
    serve();
    await openPage(path);
    expect(await screen.findByText("Today: 2 things to do")).toBeTruthy();
    expect(screen.getByRole("heading", { level: 1, name: "Daily digest of Alder Croft" })).toBeTruthy();
    const headings = screen.getAllByRole("heading", { level: 2 }).map(({ textContent }) => textContent);
    expect(headings).toEqual(["To do today", "Food left", "Birds", "Deposits and pay", "Wear", "Tonight", "Cleaning"]);
    const birds = screen.getByRole("region", { name: "Birds" });
    expect(birds.querySelectorAll("li")).toHaveLength(2);
    expect(screen.queryByText("This is the state of that morning.")).toBeNull();
  });

  it("links each task to the page where it is done", async () => {
    const view = digestViewFixture(Date.now(), 0);
    const lines = ["Rowan: refill today, empty by tonight.", "Clean Larch: two weeks or more have passed."];
    const links = ["/feeders/rowan/refill", "/yards/alder-croft/digest#cleaning-title"];
    const body = { ...view, sections: [{ heading: "To do today", lines, links }] };
    server.replies[`GET ${path}`] = () => ({ status: 200, body });
    await openPage(path);
    const anchors = (await screen.findByRole("region", { name: "To do today" })).querySelectorAll("a");
    expect([...anchors].map((link) => link.getAttribute("href"))).toEqual(["/feeders/rowan/refill", "#cleaning-title"]);
    expect(document.getElementById("cleaning-title")).toBeTruthy();
  });

  it("links to the other days by date, and marks an older digest with its morning", async () => {
    serve(2);
    await openPage(`${path}?date=${digestViewFixture(Date.now(), 2).date}`);
    expect(await screen.findByText("This is the state of that morning.")).toBeTruthy();
    const links = await screen.findAllByRole("link", { current: "page" });
    expect(
      links.some((link) => link.getAttribute("href") === `${path}?date=${digestViewFixture(Date.now(), 2).date}`),
    ).toBe(true);
    expect(screen.getByRole("link", { name: "Today" }).getAttribute("href")).toBe(
      `${path}?date=${digestViewFixture(Date.now()).date}`,
    );
  });

  it("can be read offline, as it was last loaded", async () => {
    const store = memoryStore();
    serve();
    await openDigests(store);
    await openPage(path, store);
    await screen.findByText("Today: 2 things to do");
    await waitFor(async () => expect(await store.get("digests")).toHaveLength(1));

    cleanup();
    digests.value = [];
    server.offline = true;
    await openDigests(store);
    await openPage(path, store);
    expect(await screen.findByText("Today: 2 things to do")).toBeTruthy();
    expect(screen.getByText("Nothing shows wear.")).toBeTruthy();
  });

  it("shows that it is not on this phone when the server can't be reached", async () => {
    const store = memoryStore();
    await store.put("home", { view: homeViewFixture(Date.now()), asOf: Date.now() });
    server.offline = true;
    await openPage(path, store);
    expect(await screen.findByText(/is not saved on this phone, and there is no connection/)).toBeTruthy();
  });

  it("shows when the first one comes where there is none yet", async () => {
    server.replies[`GET ${path}`] = () => ({ status: 404, body: problem(404, "There has been no digest yet.") });
    await openPage(path);
    expect(await screen.findByText("There has been no digest yet. The next one comes at 07:30.")).toBeTruthy();
  });

  it("shows names as text, whatever a feeder is called", async () => {
    const view = digestViewFixture(Date.now());
    const text = 'Rowan <img src=x onerror="alert(1)">: as usual.';
    server.replies[`GET ${path}`] = () => ({
      status: 200,
      body: { ...view, sections: [{ heading: "Birds", lines: [text] }] },
    });
    await openPage(path);
    expect(await screen.findByText(text)).toBeTruthy();
    expect(document.querySelector("img")).toBeNull();
  });

  it("is linked from its yard", async () => {
    await openPage("/yards/alder-croft");
    expect((await screen.findByRole("link", { name: "Daily digest" })).getAttribute("href")).toBe(path);
  });
});

describe("cleaning", () => {
  it("is entered on the digest's page with its own time, and shown", async () => {
    serve();
    server.replies["POST /feeders/rowan/cleaned"] = (body) => ({
      status: 200,
      body: { ...feederViewFixture(Date.now()), revision: 13, cleanedAt: (body as { at: string }).at },
    });
    await openPage(path);
    expect(await screen.findByText("Rowan: no cleaning entered yet.")).toBeTruthy();
    fireEvent.click(screen.getByRole("button", { name: "Mark Rowan as cleaned" }));
    expect(await screen.findByText(/^Rowan: last \d\d:\d\d\.$/)).toBeTruthy();
    expect(Date.parse(server.sent(0).at ?? "")).toBeGreaterThan(Date.now() - 60_000);
  });

  it("is queued on the phone while offline", async () => {
    serve();
    await openPage(path);
    const button = await screen.findByRole("button", { name: "Mark Larch as cleaned" });
    server.offline = true;
    fireEvent.click(button);
    expect(await screen.findByText(/Cleaned: not sent yet/)).toBeTruthy();
  });

  it("mentions official bird-flu warnings first", async () => {
    serve();
    await openPage(path);
    expect(await screen.findByText(/official bird-flu warning, follow it first/)).toBeTruthy();
  });
});

describe("digests on the phone", () => {
  it("are one for each yard and date, the newest twenty, and never mixed between yards", async () => {
    const store = memoryStore();
    const today = digestViewFixture(Date.now());
    const many = Array.from({ length: 30 }, (_, back) => ({ ...today, date: shiftDate(today.date, -back) }));
    await store.put("digests", [...many, { ...today, summary: "nothing to do" }]);
    await openDigests(store);
    expect(digests.value).toHaveLength(20);
    expect(findDigest("alder-croft", null)).toMatchObject({ date: today.date, summary: "nothing to do" });
    expect(findDigest("alder-croft", shiftDate(today.date, -19))).not.toBeNull();
    expect(findDigest("alder-croft", shiftDate(today.date, -20))).toBeNull();
    expect(findDigest("another", null)).toBeNull();
  });
});
