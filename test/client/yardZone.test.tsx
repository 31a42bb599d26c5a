// @vitest-environment happy-dom
import { fireEvent, screen, waitFor } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";
import { homeViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const homeWith = (change: object, role: "keeper" | "helper" = "keeper") => {
  const home = homeViewFixture(Date.now());
  const yards = home.yards.map((yard) => (yard.practice ? yard : { ...yard, role, ...change }));
  return { ...home, yards };
};

describe("the time zone of a yard", () => {
  it("is chosen from a list of the yard's own, UTC and all that the browser knows", async () => {
    await openPage("/yards/alder-croft");
    const select = await screen.findByLabelText<HTMLSelectElement>("Time zone");
    expect(select.tagName).toBe("SELECT");
    expect(select.value).toBe("Europe/Stockholm");
    const offered = [...select.options].map(({ value }) => value);
    expect(offered).toEqual(expect.arrayContaining(["UTC", ...Intl.supportedValuesOf("timeZone")]));
    expect(offered).not.toContain("IST");
    fireEvent.change(select, { target: { value: "Europe/Helsinki" } });
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]?.body).toMatchObject({ zone: "Europe/Helsinki" });
  });

  it("is chosen from the list for a new yard too, and starts with this device's own", async () => {
    await openPage("/yards/new");
    const select = await screen.findByLabelText<HTMLSelectElement>("Time zone");
    expect([select.tagName, select.value]).toEqual(["SELECT", Intl.DateTimeFormat().resolvedOptions().timeZone]);
  });

  it("keeps a usable name that the browser's list leaves out", async () => {
    server.home = homeWith({ zone: "EET" });
    await openPage("/yards/alder-croft");
    expect((await screen.findByLabelText<HTMLSelectElement>("Time zone")).value).toBe("EET");
  });

  it("that can't be used is shown on the first page and on the yard's, and none is chosen for the keeper", async () => {
    server.home = homeWith({ zone: "UTC", unusableZone: "IST" });
    await openPage("/");
    expect(await screen.findByText(/"IST" .*is not valid.*use UTC/)).toBeTruthy();
    expect(screen.getByRole("link", { name: "Choose the time zone" }).getAttribute("href")).toBe("/yards/alder-croft");
    fireEvent.click(screen.getByRole("link", { name: "Choose the time zone" }));
    expect((await screen.findByLabelText<HTMLSelectElement>("Time zone")).value).toBe("");
    expect(screen.getByText(/"IST"/)).toBeTruthy();
  });

  it("that can't be used is shown to a helper too, without a link", async () => {
    server.home = homeWith({ zone: "UTC", unusableZone: "IST" }, "helper");
    await openPage("/");
    expect(await screen.findByText(/"IST"/)).toBeTruthy();
    expect(screen.queryByRole("link", { name: "Choose the time zone" })).toBeNull();
  });
});
