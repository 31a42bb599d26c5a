// @vitest-environment happy-dom
import { fireEvent, screen, waitFor } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { announcement } from "../../client/state/announcement.ts";
import type { HomeView, YardView } from "../../server/contract/api.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { feederViewFixture, homeViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
  server.home = croft({});
});

const pausedRowan = () => {
  const view = feederViewFixture(Date.now(), { id: "rowan", name: "Rowan" });
  const at = new Date().toISOString();
  const order = {
    ...{ id: "notice-0001", kind: "pause", status: "confirmed", until: null, requestedAt: at, requestedBy: "Ada" },
    ...{ sentAt: at, answeredAt: at, problem: null },
  } as const;
  return { ...view, pause: { ...view.pause, order, statement: { paused: true, at }, status: { kind: "paused", at } } };
};
const croft = (change: Partial<YardView>): HomeView => {
  const view = homeViewFixture(Date.now());
  return {
    ...view,
    yards: view.yards
      .slice(0, 1)
      .map((yard) => ({ ...yard, role: "keeper", feeders: [pausedRowan() as never], ...change })),
  };
};
const notice = { at: new Date().toISOString(), by: "Ada" };
const posts = () => server.posts().filter(({ path }) => path === "/yards/alder-croft/disease-notice");
const button = (name: string) => screen.getByRole("button", { name });

describe("a notice of a bird disease", () => {
  it("is put in force in the settings of the yard, with one id for a repeated request", async () => {
    const replies = [
      { status: 409, body: problem(409, "Not just now.") },
      { status: 200, body: croft({ diseaseNotice: notice }) },
    ];
    server.replies["POST /yards/alder-croft/disease-notice"] = () => replies.shift() as never;
    await openPage("/yards/alder-croft");
    fireEvent.click(await screen.findByText("Stop feeding because of a disease…"));
    fireEvent.click(button("Stop feeding at this yard"));
    await screen.findByText("Not just now.");
    server.home = croft({ diseaseNotice: notice });
    fireEvent.click(button("Stop feeding at this yard"));
    await screen.findByText(/^Bird-disease notice in force since/);
    const sent = posts().map(({ body }) => body as { id: string; inForce: boolean });
    expect(sent.map(({ inForce }) => inForce)).toEqual([true, true]);
    expect(sent[0]?.id).toBe(sent[1]?.id);
    expect(announcement.value).toContain("Each feeder shows when it has confirmed its pause");
  });

  it("is shown with the feeders, which can't be resumed there", async () => {
    server.home = croft({ diseaseNotice: notice });
    await openPage("/");
    await screen.findByText(/^Bird-disease notice in force since .* set by Ada/);
    expect(screen.queryByRole("button", { name: /^Resume all/ })).toBeNull();
    await openPage("/feeders/rowan");
    await screen.findByText("It stays paused while the bird-disease notice is in force.");
    expect(screen.queryByRole("button", { name: /Resume/ })).toBeNull();
  });

  it("is lifted in the settings, without a resume", async () => {
    server.home = croft({ diseaseNotice: notice });
    server.replies["POST /yards/alder-croft/disease-notice"] = () => ({ status: 200, body: croft({}) });
    await openPage("/yards/alder-croft");
    await screen.findByText(/Nothing is fed until you resume each feeder/);
    server.home = croft({});
    fireEvent.click(button("Lift the notice"));
    await waitFor(() => expect(posts()).toHaveLength(1));
    await screen.findByText("Stop feeding because of a disease…");
    expect(server.posts().some(({ path }) => path.endsWith("/orders"))).toBe(false);
  });
});
