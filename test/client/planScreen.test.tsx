// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import { firstRules } from "../../client/components/planFields.tsx";
import { acceptFeeder } from "../../client/state/home.ts";
import type { FeederView } from "../../server/contract/api.ts";
import type { FeedingRequest } from "../../server/contract/feedingRequest.ts";
import type { PlanView } from "../../server/contract/planView.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { planViewFixture } from "./planFixture.ts";
import "../../client/screens/planScreen.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const path = "/feeders/rowan/plan";
const answer = (change: Partial<PlanView> = {}) => {
  server.replies[`GET ${path}`] = () => ({ status: 200, body: planViewFixture(Date.now(), change) });
};
beforeEach(() => answer());

describe("the feeding plan's screen", () => {
  it("says that the feeder follows it, what was given so far, and shows a week of days", async () => {
    await openPage(path);
    await screen.findByText(/^Rowan follows this plan, as reported/);
    screen.getByText("Free food today: 4 portions so far, as planned.");
    const days = within(screen.getByRole("region", { name: "The next days" })).getAllByRole("listitem");
    expect(days).toHaveLength(7);
    expect(days[0]?.textContent).toContain("one portion each time, about 2 g");
    expect(days[0]?.textContent).toContain("in hard frost also");
  });

  it.each([
    [{ version: null, confirmedVersion: null, days: [] }, /^No plan yet/],
    [{ version: null, days: [] }, /^The plan is removed, but Rowan still follows it/],
    [{ confirmedVersion: null, reportedAt: null }, /has not reported yet/],
    [{ confirmedVersion: null }, /has not confirmed a plan/],
    [{ confirmedVersion: 2 }, /still follows an earlier plan/],
  ] as const)("never says more than is known: %o", async (change, sentence) => {
    answer(change);
    await openPage(path);
    await screen.findByText(sentence);
    expect(screen.queryByText(/follows this plan/)).toBeNull();
  });

  it("shows the season's one quiet line", async () => {
    answer({ seasonText: "Nestlings may be fed from now on." });
    await openPage(path);
    expect((await screen.findByText("Nestlings may be fed from now on.")).className).toBe("hint");
  });

  it("asks for the place where there is none", async () => {
    answer({ version: null, days: [], problem: "The yard has no place yet." });
    await openPage(path);
    await screen.findByText(/The yard has no place yet/);
    screen.getByRole("link", { name: "Enter the location" });
  });

  it("previews the rules as they stand in the form, and stores nothing", async () => {
    server.replies[`POST ${path}/preview`] = () => ({ status: 200, body: planViewFixture(Date.now(), { version: 4 }) });
    await openPage(path);
    await screen.findByText(/follows this plan/);
    fireEvent.input(screen.getByLabelText(/^On average every/), { target: { value: "75" } });
    fireEvent.click(screen.getByRole("button", { name: "Preview" }));
    await screen.findByRole("heading", { name: "With these rules" });
    expect(server.posts()).toHaveLength(1);
    expect(server.posts()[0]).toMatchObject({
      path: `${path}/preview`,
      body: { free: { schedule: { meanMinutes: 75 } } },
    });
  });

  it("calculates the most that a ration should be, from the birds that are counted", async () => {
    const advice = { grams: 12, text: "At most 12 g a day for these 3 birds." };
    server.replies[`POST ${path}/ration`] = () => ({ status: 200, body: advice });
    await openPage(path);
    await screen.findByText(/follows this plan/);
    fireEvent.input(screen.getByLabelText("Magpies"), { target: { value: "3" } });
    fireEvent.click(screen.getByRole("button", { name: "Calculate" }));
    await screen.findByText(advice.text);
    expect(server.posts()[0]).toMatchObject({
      path: `${path}/ration`,
      body: { birds: [{ species: "magpie", count: 3 }] },
    });
  });

  it("saves the rules, and says so", async () => {
    await openPage(path);
    await screen.findByText(/follows this plan/);
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await screen.findByText("Feeding plan saved.", { selector: ".saved-note *" });
    expect(server.posts()[0]).toMatchObject({
      method: "PATCH",
      path: "/feeders/rowan",
      body: { feeding: { rationGrams: 30 } },
    });
  });

  const withRules = (feeding: FeedingRequest) => {
    const rowan = server.home.yards[0]?.feeders.find(({ id }) => id === "rowan");
    acceptFeeder({ ...rowan, revision: 99, settings: { ...rowan?.settings, feeding } } as FeederView);
  };

  it("tapers feeding off from tomorrow over two weeks, with the caution, and keeps the other rules", async () => {
    await openPage(path);
    await screen.findByText(/follows this plan/);
    expect(screen.queryByRole("heading", { name: "Taper off" })).toBeNull(); // nothing to taper
    withRules(firstRules);
    await screen.findByText(/In hard frost birds may depend on this food/);
    const tomorrow = new Date(Date.now() + 86_400_000).toISOString().slice(0, 10);
    fireEvent.click(await screen.findByRole("button", { name: "Taper off feeding" }));
    await screen.findByText("Feeding is tapered off.");
    expect(server.posts()[0]).toMatchObject({
      method: "PATCH",
      body: { feeding: { ...firstRules, taper: { days: 14 } } },
    });
    const [sent] = server.posts() as readonly { readonly body: { readonly feeding: FeedingRequest } }[];
    const from = Date.parse(sent?.body.feeding.taper?.from ?? "");
    expect(Math.abs(from - Date.parse(tomorrow))).toBeLessThanOrEqual(86_400_000); // by the yard's clock
  });

  it("shows each day of it with its share, and withdraws it", async () => {
    const { days } = planViewFixture(Date.now());
    const share = (index: number) => Math.max(0, 1 - index / 10);
    answer({ days: days.map((day, index) => ({ ...day, share: share(index) })) });
    await openPage(path);
    await screen.findByText(/follows this plan/);
    const shown = within(screen.getByRole("region", { name: "The next days" })).getAllByRole("listitem");
    expect(shown).toHaveLength(11); // until the first one without food
    expect(shown[4]?.textContent).toContain("60 % of the usual food");
    expect(shown[10]?.textContent).toContain("no food");
    const taper = { from: days[1]?.date ?? "", days: 9 };
    withRules({ ...firstRules, taper });
    await screen.findByText(/^Less food day by day from/);
    fireEvent.click(screen.getByRole("button", { name: "Save" })); // the other rules: it goes on
    await screen.findByText("Feeding plan saved.");
    expect(server.posts()[0]).toMatchObject({ body: { feeding: { taper } } });
    withRules({ ...firstRules, taper });
    fireEvent.click(await screen.findByRole("button", { name: "Feed as before" }));
    await screen.findByText("The plan gives the usual food again.");
    expect(server.posts()[1]?.body).toEqual({ feeding: firstRules });
  });

  it("removes the plan where there is one, and says so until the feeder has heard of it", async () => {
    await openPage(path);
    await screen.findByText(/follows this plan/);
    expect(screen.queryByRole("button", { name: "Remove the plan" })).toBeNull(); // no rules, nothing to remove
    const [yard] = server.home.yards;
    const rowan = yard?.feeders.find(({ id }) => id === "rowan");
    acceptFeeder({ ...rowan, revision: 99, settings: { ...rowan?.settings, feeding: firstRules } } as FeederView);
    answer({ version: null, days: [] });
    fireEvent.click(await screen.findByRole("button", { name: "Remove the plan" }));
    await screen.findByText("Feeding plan removed.", { selector: ".saved-note *" });
    expect(server.posts()[0]).toMatchObject({ method: "PATCH", path: "/feeders/rowan", body: { feeding: null } });
    await screen.findByText(/still follows it/);
  });

  it("marks the field that was refused, and keeps what was entered", async () => {
    server.replies["PATCH /feeders/rowan"] = () => ({
      status: 400,
      body: { ...problem(400, "no"), errors: [{ field: "feeding.rationGrams", problem: "must be at most 5000 g" }] },
    });
    await openPage(path);
    await screen.findByText(/follows this plan/);
    const ration = screen.getByLabelText(/^Ration a day/);
    fireEvent.input(ration, { target: { value: "9000" } });
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await screen.findByText(/must be at most 5000 g/);
    expect((ration as HTMLInputElement).value).toBe("9000");
    await waitFor(() => expect(ration.getAttribute("aria-invalid")).toBe("true"));
  });
});
