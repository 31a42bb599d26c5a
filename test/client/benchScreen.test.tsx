// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it, vi } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import type { BenchView } from "../../server/contract/benchView.ts";
import { benchRunFixture, benchViewFixture, runningBench } from "./benchFixture.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import "../../client/screens/benchScreen.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const path = "/feeders/rowan/bench";
const answer = (change: Partial<BenchView> = {}) => {
  server.replies[`GET ${path}`] = () => ({ status: 200, body: benchViewFixture(Date.now(), change) });
};
beforeEach(() => answer());

describe("the bench run's screen", () => {
  it("shows the verdict, the figures with their limits, and what they were the time before", async () => {
    await openPage(path);
    await screen.findByText("Ready to go outdoors, as far as this run shows.");
    const caps = screen.getByText("Caps missed by the detector").closest("div");
    expect(caps?.textContent).toContain("met");
    expect(caps?.textContent).toContain("Limit: at most 10 % seen, and no more than 20 % possible");
    expect(caps?.textContent).toContain("The run before: 9 of 30; may be as many as 47.9 % (not met)");
    screen.getByText(/: Not ready\.$/);
  });

  it("names what is wrong and what is not known, in this order", async () => {
    const figures = benchRunFixture(Date.now()).figures.map((figure, index) => {
      if (index === 0) return { ...figure, status: "notKnown" as const, reason: "Too few." };
      return index === 3 ? { ...figure, status: "notMet" as const, reason: "More than 10 %." } : figure;
    });
    const run = benchRunFixture(Date.now(), { verdict: "notReady", verdictText: "Not ready.", figures });
    answer({ past: [run] });
    await openPage(path);
    await screen.findByText("Not ready.");
    const reasons = [...document.querySelectorAll(".bench-reasons li")].map(({ textContent }) => textContent);
    expect(reasons).toEqual([
      "Caps missed by the detector: 0 of 30; may be as many as 10 %. More than 10 %.",
      "Motor runs: 60 of 60. Too few.",
    ]);
  });

  it("takes the weight of a portion into the settings only when the keeper says so", async () => {
    await openPage(path);
    const button = await screen.findByRole("button", { name: "Use 2.13 g a portion" });
    expect(server.posts()).toEqual([]);
    fireEvent.click(button);
    await screen.findByText(/^A portion now weighs 2\.13 g/);
    expect(server.posts()).toMatchObject([{ method: "PATCH", path: "/feeders/rowan", body: { portionGrams: 2.13 } }]);
  });

  it("offers nothing where the settings have that weight already", async () => {
    answer({ portionGrams: 2.13 });
    await openPage(path);
    await screen.findByText("The settings have this weight of a portion already.");
    expect(screen.queryByRole("button", { name: /a portion$/ })).toBeNull();
  });

  it("starts a run with what was entered, and shows its first step", async () => {
    answer({ past: [] });
    server.replies[`POST ${path}`] = () => ({
      status: 200,
      body: benchViewFixture(Date.now(), { past: [], current: runningBench(Date.now(), "portions", 0) }),
    });
    await openPage(path);
    await screen.findByText("There was no bench run yet.");
    fireEvent.input(screen.getByLabelText(/^Soak/), { target: { value: "12" } });
    fireEvent.click(screen.getByRole("button", { name: "Start" }));
    await screen.findByRole("heading", { name: "The motor runs. Keep your fingers out." });
    screen.getByText(/^Rowan has not begun yet/);
    const run = expect.stringMatching(/^[\w-]{8,50}$/);
    const what = {
      kind: "start",
      quietMinutes: 2,
      portions: 60,
      caps: 30,
      presses: 30,
      soakHours: 12,
      knownGrams: null,
    };
    expect(server.posts()).toEqual([{ method: "POST", path, body: { run, what } }]);
  });

  it("asks for no step of a sensor that isn't fitted, and says why no run can start", async () => {
    const fitted = { detector: false, button: true, scale: false };
    answer({ past: [], fitted, problem: "The feeder is paused. Resume it first." });
    await openPage(path);
    await screen.findByText("The feeder is paused. Resume it first.");
    expect(screen.queryByLabelText(/^Caps that you drop/)).toBeNull();
    expect(screen.queryByLabelText(/^A known mass/)).toBeNull();
    expect(screen.getByRole("button", { name: "Start" })).toHaveProperty("disabled", true);
  });

  it.each([
    ["quiet", "Touch nothing.", /Whatever it counts now is false/],
    ["caps", "Drop 30 caps, one by one.", "12 of 30 counted"],
    ["knownMass", "Put 500 g on the hopper.", /Wait ten seconds with nothing on it/],
    ["soak", "Leave it alone.", /You can close this page: the run goes on/],
  ] as const)("says what to do now: %s", async (at, heading, sentence) => {
    answer({ current: runningBench(Date.now(), at) });
    await openPage(path);
    await screen.findByRole("heading", { name: heading });
    screen.getByText(sentence);
    const steps = within(screen.getByRole("region", { name: "Steps" }));
    expect(steps.getByRole("listitem", { current: "step" }).textContent).toContain("now");
  });

  it("sends what was weighed, and goes on with the next step and the focus there", async () => {
    answer({ current: runningBench(Date.now(), "weigh") });
    server.replies[`POST ${path}`] = () => ({
      status: 200,
      body: benchViewFixture(Date.now(), { current: runningBench(Date.now(), "caps") }),
    });
    await openPage(path);
    fireEvent.input(await screen.findByLabelText("All portions together"), { target: { value: "127.8" } });
    fireEvent.click(screen.getByRole("button", { name: "Done" }));
    const heading = await screen.findByRole("heading", { name: "Drop 30 caps, one by one." });
    await waitFor(() => expect(document.activeElement).toBe(heading));
    const what = { kind: "next", step: "weigh", totalGrams: 127.8, emptySeen: null };
    const body = { run: "run-00000002", what };
    expect(server.posts()).toMatchObject([{ body }]);
  });

  it("asks before it stops a run", async () => {
    answer({ current: runningBench(Date.now(), "soak") });
    server.replies[`POST ${path}`] = () => ({ status: 200, body: benchViewFixture(Date.now()) });
    await openPage(path);
    fireEvent.click(await screen.findByRole("button", { name: "Stop the run" }));
    screen.getByText(/What has not been tried stays unknown/);
    expect(server.posts()).toEqual([]);
    fireEvent.click(screen.getByRole("button", { name: "Stop it" }));
    await screen.findByText("Ready to go outdoors, as far as this run shows.");
    expect(server.posts()).toMatchObject([{ body: { run: "run-00000002", what: { kind: "stop" } } }]);
  });

  it("lets a helper follow it, and change nothing", async () => {
    const yards = server.home.yards.map((yard) => ({ ...yard, role: "helper" as const }));
    server.home = { ...server.home, yards } satisfies HomeView;
    answer({ current: runningBench(Date.now(), "caps") });
    await openPage(path);
    await screen.findByText("12 of 30 counted");
    expect(screen.queryByRole("button", { name: /Done|Stop/ })).toBeNull();
    screen.getByText(/^Only keepers of/);
  });

  it("prints the result", async () => {
    const print = vi.fn();
    vi.stubGlobal("print", print);
    await openPage(path);
    fireEvent.click(await screen.findByRole("button", { name: "Print" }));
    expect(print).toHaveBeenCalledOnce();
    vi.unstubAllGlobals();
  });

  it("shows why a start was refused", async () => {
    server.replies[`POST ${path}`] = () => ({ status: 409, body: problem(409, "A bench run is under way.") });
    await openPage(path);
    fireEvent.click(await screen.findByRole("button", { name: "Start" }));
    await screen.findByText("A bench run is under way.");
  });
});
