// @vitest-environment happy-dom
import { fireEvent, render, screen, within } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { YardLinks } from "../../client/components/yardLinks.tsx";
import type { PracticeProgrammeView } from "../../server/contract/api.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const lived = (phase: PracticeProgrammeView["phase"], text: string): PracticeProgrammeView => ({
  ...{ yard: "programme-1", phase, text, lived: 34 },
});

async function openWith(programme: PracticeProgrammeView | null) {
  server.home = { ...server.home, practice: { ...server.home.practice, programme } };
  await openPage("/practice");
  await screen.findByRole("heading", { name: "A whole programme" });
}

const buttons = () => screen.getAllByRole("button").map(({ textContent }) => textContent);

describe("the practice page's whole programme", () => {
  it("starts one, and then says how far it is, with links to its pages", async () => {
    await openWith(null);
    const view = {
      ...server.home,
      practice: { ...server.home.practice, programme: lived("living", "Week 3 of 8: x.") },
    };
    server.replies["POST /practice/programme"] = () => ({ status: 200, body: view });
    fireEvent.click(screen.getByRole("button", { name: "Live a whole programme" }));
    await screen.findByText("Week 3 of 8: x.");
    expect(buttons()).toContain("Stop");
    expect(buttons()).not.toContain("Delete this yard");
    expect(screen.getByRole("link", { name: "Its training" }).getAttribute("href")).toBe("/yards/programme-1/training");
  });

  it.each(["ended", "stopped", "interrupted"] as const)("offers to begin again when it has %s", async (phase) => {
    await openWith(lived(phase, "said"));
    expect(buttons()).toEqual(expect.arrayContaining(["Start again from the beginning", "Delete this yard"]));
    expect(buttons()).not.toContain("Stop");
    expect(screen.queryByRole("progressbar")).toBeNull();
  });

  it("links its yard to the training record, but not the yard of the alarm practice", async () => {
    await openWith(lived("ended", "said"));
    const [yard] = server.home.yards;
    if (yard === undefined) throw new Error("expected a yard");
    const links = render(<YardLinks yard={{ ...yard, id: "programme-1", practice: true }} />);
    expect(within(links.container as HTMLElement).queryByRole("link", { name: "Training" })).not.toBeNull();
    links.unmount();
    const others = render(<YardLinks yard={{ ...yard, practice: true }} />);
    expect(within(others.container as HTMLElement).queryByRole("link", { name: "Training" })).toBeNull();
  });
});
