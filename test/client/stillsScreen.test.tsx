// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import { memoryStore } from "../../client/offline/localStore.ts";
import { openStills, stills } from "../../client/state/stills.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { stillFixture, stillsViewFixture } from "./stillsFixture.ts";

const path = "/yards/alder-croft/stills";
const page = "/yards/alder-croft/pictures";
let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});
const answer = (request: string, view: unknown, status = 200) => {
  server.replies[`${request}`] = () => ({ status, body: view });
};
beforeEach(() => {
  stills.value = new Map();
  answer(
    `GET ${path}`,
    stillsViewFixture([
      stillFixture("a", 0),
      stillFixture("b", 30, { event: { known: false, kind: null }, payment: null }),
    ]),
  );
});

describe("the pictures of a yard", () => {
  it("are listed by day with feeder, event and payment, and each opens the large one", async () => {
    await openPage(page);
    const picture = await screen.findByAltText(/^Still of the deposit at .*, Rowan$/);
    expect(picture.getAttribute("src")).toBe(`/api/v1${path}/a/picture?size=small`);
    expect(picture.closest("a")?.getAttribute("href")).toBe(`/api/v1${path}/a/picture?size=full`);
    expect(screen.getByText(/Rowan · deposit · paid$/)).toBeTruthy();
    expect(screen.getByText(/no event known yet$/)).toBeTruthy();
    const note = screen.getByRole("link", { name: /^Add a note ?: Still of the deposit/ }).getAttribute("href") ?? "";
    expect(note).toMatch(/^\/yards\/alder-croft\/notes\?still=a&at=.*&kind=deposit&feeder=rowan$/);
    expect(screen.getByText("4: 80 %, likely 38 % to 96 %")).toBeTruthy();
    expect(screen.getByText("5 of 12 pictures have this label.")).toBeTruthy();
  });

  it("are starred, labelled with words used before, and deleted after a question", async () => {
    await openPage(page);
    const entry = (await screen.findByAltText(/^Still of the deposit/)).closest("li") as HTMLElement;
    answer(`PATCH ${path}/a`, stillsViewFixture([stillFixture("a", 0, { starred: true, who: "a jay" })]));
    fireEvent.click(within(entry).getByRole("button", { name: /Star/ }));
    await waitFor(() =>
      expect(within(entry).getByRole("button", { name: /Star/ }).getAttribute("aria-pressed")).toBe("true"),
    );
    const brought = within(entry).getByLabelText("What was brought") as HTMLInputElement;
    const offered = [...(document.getElementById(brought.getAttribute("list") ?? "")?.children ?? [])];
    expect(offered.map((option) => option.getAttribute("value"))).toEqual(["bottle cap", "twig"]);
    fireEvent.input(brought, { target: { value: "twig" } });
    fireEvent.click(within(entry).getByRole("button", { name: "Save labels" }));
    answer(`DELETE ${path}/a`, stillsViewFixture([]));
    await waitFor(() => expect(server.requests.filter(({ method }) => method === "PATCH")).toHaveLength(2));
    fireEvent.click(within(entry).getByRole("button", { name: "Delete this picture" }));
    await screen.findByText("No feeder has sent a picture yet.");
  });

  it("say when space is short, and that there are none", async () => {
    answer(`GET ${path}`, stillsViewFixture([], false, { spaceText: "The space for stills is 85 % full." }));
    await openPage(page);
    expect(await screen.findByText("No feeder has sent a picture yet.")).toBeTruthy();
    expect(screen.getByText("The space for stills is 85 % full.")).toBeTruthy();
  });

  it("say why they can't be loaded, and are read from the phone without a connection", async () => {
    answer(`GET ${path}`, problem(500, "Something went wrong."), 500);
    await openPage(page);
    expect(await screen.findByText("Something went wrong.")).toBeTruthy();
    const phone = memoryStore();
    await phone.put("stills", [["alder-croft", { view: stillsViewFixture([stillFixture("c", 2)]), asOf: Date.now() }]]);
    await openStills(phone);
    expect(await screen.findByAltText(/^Still of the deposit/)).toBeTruthy();
  });
});
