// @vitest-environment happy-dom
import { cleanup, fireEvent, screen, waitFor } from "@testing-library/preact";
import { describe, expect, it, vi } from "vitest";
import { acceptFeeder } from "../../client/state/home.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { feederViewFixture, homeViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

describe("a feeder's settings", () => {
  const refusedField = (field: string, text: string) => () => ({
    status: 400,
    body: { ...problem(400, "Not understood."), errors: [{ field, problem: text }] },
  });

  it("show the portion weight while pieces are entered, and send what was entered", async () => {
    await openPage("/feeders/rowan/settings");
    fireEvent.change(await screen.findByLabelText("Food"), { target: { value: "catKibble" } });
    fireEvent.input(screen.getByLabelText("Pieces per portion"), { target: { value: "6" } });
    expect(await screen.findByText(/6 pieces of about 0.3 g: portion weight about 1.8 g/)).toBeTruthy();
    fireEvent.input(screen.getByLabelText("Weight of ten portions"), { target: { value: "21" } });
    expect(await screen.findByText("New portion weight: 2.1 g.")).toBeTruthy();
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    const [post] = server.posts();
    expect(post).toMatchObject({ method: "PATCH", path: "/feeders/rowan" });
    expect(post?.body).toMatchObject({ foodKind: "catKibble", grainsPerPortion: 6, tenPortionsGrams: 21 });
    expect(post?.body).not.toHaveProperty("food");
    expect(post?.body).not.toHaveProperty("portionGrams"); // an estimate isn't sent back with a change of the battery
  });

  it("send only what the keeper entered, no defaults of the form", async () => {
    const rowan = feederViewFixture(Date.now());
    const { food, hopperCapacityGrams, portionGrams, battery, ...known } = rowan.settings;
    const hopper = { ...rowan.hopper, capacityAssumed: true };
    const home = homeViewFixture(Date.now());
    const unsaid = (yard: (typeof home.yards)[number]) =>
      yard.feeders.map((each) => (each.id === "rowan" ? { ...rowan, settings: known, hopper } : each));
    server.home = { ...home, yards: home.yards.map((yard) => ({ ...yard, feeders: unsaid(yard) })) };
    await openPage("/feeders/rowan/settings");
    const select = await screen.findByLabelText<HTMLSelectElement>("Food");
    expect(select.value).toBe(""); // "Choose…"
    expect(screen.getByLabelText<HTMLInputElement>("No battery: it runs from a power supply").checked).toBe(false);
    fireEvent.input(screen.getByLabelText("Report interval"), { target: { value: "120" } });
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]?.body).toEqual({ reportEverySeconds: 120 });
  });

  it("send of a new feeder's form only what was filled in", async () => {
    await openPage("/feeders/new");
    fireEvent.input(await screen.findByLabelText("Name"), { target: { value: "Larch" } });
    fireEvent.click(screen.getByRole("button", { name: "Add the feeder" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]?.body).toEqual({ name: "Larch", yard: "alder-croft" });
  });

  it("keep a food that is not on the list, and ask for its name", async () => {
    await openPage("/feeders/rowan/settings");
    expect((await screen.findByLabelText<HTMLSelectElement>("Food")).value).toBe("other");
    const own = screen.getByLabelText<HTMLInputElement>("Name of the food");
    expect(own.value).toBe("broken peanuts");
    server.replies["PATCH /feeders/rowan"] = refusedField("food", "enter a name for the food");
    fireEvent.input(own, { target: { value: "" } });
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    expect(await screen.findByText("Name of the food: enter a name for the food")).toBeTruthy();
    await waitFor(() => expect(document.activeElement).toBe(screen.getByLabelText("Name of the food")));
  });

  it("send where the feeder is, and the feeder's page shows which notifications are off", async () => {
    await openPage("/feeders/rowan/settings");
    const choice = await screen.findByLabelText<HTMLInputElement>("In storage");
    expect(screen.getByLabelText<HTMLInputElement>("In use").checked).toBe(true);
    expect(document.getElementById(choice.getAttribute("aria-describedby") ?? "")?.textContent).toMatch(/battery/);
    fireEvent.click(choice);
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await waitFor(() => expect(server.posts()[0]?.body).toMatchObject({ placement: "putAway" }));
    const rowan = feederViewFixture(Date.now());
    acceptFeeder({ ...rowan, revision: 14, settings: { ...rowan.settings, placement: "putAway" } });
    expect(await screen.findByText(/^In storage: notifications only about its battery/)).toBeTruthy();
  });

  it("show each refusal beside its own field", async () => {
    for (const [field, label] of [
      ["foodKind", "Food"],
      ["grainsPerPortion", "Pieces per portion"],
      ["tenPortionsGrams", "Weight of ten portions"],
      ["reportEverySeconds", "Report interval"],
      ["warnAheadDays", "Food warning"],
    ] as const) {
      await openPage("/feeders/rowan/settings");
      server.replies["PATCH /feeders/rowan"] = refusedField(field, "is odd");
      fireEvent.click(await screen.findByRole("button", { name: "Save" }));
      await screen.findByText(`${label}: is odd`);
      const input = screen.getByLabelText(label);
      expect(input.getAttribute("aria-invalid"), field).toBe("true");
      expect(input.getAttribute("aria-describedby"), field).toContain("problem");
      cleanup();
    }
  });

  it("show what the sensors can't detect, and where the yard is", async () => {
    const text = "Without a scale, a blind chute sensor can look like a jam.";
    const view = homeViewFixture(Date.now());
    const yards = view.yards.map((yard) => ({
      ...yard,
      feeders: yard.feeders.map((feeder) => ({ ...feeder, blindSpots: [text] })),
    }));
    server.home = { ...view, yards };
    await openPage("/feeders/rowan/settings");
    expect(await screen.findByText(text)).toBeTruthy();
    expect(screen.getByText(/Alder Croft is at 59.5° north, 17.8° east/)).toBeTruthy();
    cleanup();
    await openPage("/feeders/rowan");
    expect(await screen.findByText(text)).toBeTruthy();
    expect(screen.getByText("A portion is counted as 2.4 g (entered).")).toBeTruthy();
  });
});

describe("a yard's location", () => {
  it("of which one half is missing is sent and refused, not dropped", async () => {
    vi.stubGlobal("isSecureContext", false); // no button for the position then
    await openPage("/yards/alder-croft");
    fireEvent.input(await screen.findByLabelText("Longitude"), { target: { value: "" } });
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]?.body).toMatchObject({ place: { latitudeDegrees: 59.5 } });
  });
});
