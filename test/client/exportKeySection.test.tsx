// @vitest-environment happy-dom
import { fireEvent, render, screen } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { ExportKeySection } from "../../client/components/exportKeySection.tsx";
import type { ExportKeysView } from "../../server/contract/api.ts";
import { type FakeConnection, problem, withFakeConnection } from "./page.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const inDays = (days: number) => new Date(Date.now() + days * 86_400_000).toISOString();
const table = { id: "k1", name: "My table", madeAt: inDays(-3), expiresAt: inDays(87), lastUsedAt: null };
const shown = (keys: ExportKeysView["keys"], most = 10) => {
  server.replies["GET /me/export-keys"] = () => ({ status: 200, body: { keys, most } });
  render(<ExportKeySection />);
};

describe("the export keys of an account", () => {
  it("are listed with when each was made and last used, and when it ends", async () => {
    shown([table, { ...table, id: "k2", lastUsedAt: inDays(-2) }, { ...table, id: "k3", expiresAt: inDays(-1) }]);
    expect(await screen.findByText(/^Made 3 days ago, not used yet\. Ends on \d+ \w+ \d{4}\.$/)).toBeTruthy();
    expect(screen.getByText(/^Made 3 days ago, last used 2 days ago\. Ends on/)).toBeTruthy();
    expect(screen.getByText(/^Ended on/)).toBeTruthy();
  });

  it("are made with a name, a life and the passphrase, and shown once", async () => {
    shown([]);
    const body = { keys: [table], most: 10, key: "pw_read_secret" };
    server.replies["POST /me/export-keys"] = () => ({ status: 201, body });
    fireEvent.click(await screen.findByText("Make a key…"));
    fireEvent.input(screen.getByLabelText(/^Name of the key/), { target: { value: "My table" } });
    fireEvent.click(screen.getByLabelText("A year"));
    fireEvent.input(screen.getByLabelText("Your passphrase"), { target: { value: "birds before breakfast" } });
    fireEvent.click(screen.getByRole("button", { name: "Make the key" }));
    expect(await screen.findByText("pw_read_secret")).toBeTruthy();
    expect(server.posts().at(-1)?.body).toEqual({ name: "My table", days: 365, passphrase: "birds before breakfast" });
    expect(screen.getByText("My table")).toBeTruthy();
  });

  it("name the field that was refused", async () => {
    shown([]);
    const errors = [{ field: "passphrase", problem: "is not correct" }];
    server.replies["POST /me/export-keys"] = () => ({ status: 400, body: { ...problem(400, "No."), errors } });
    fireEvent.click(await screen.findByText("Make a key…"));
    fireEvent.click(screen.getByRole("button", { name: "Make the key" }));
    expect(await screen.findByText("Your passphrase: is not correct")).toBeTruthy();
  });

  it("are removed at once, and ten are the maximum", async () => {
    shown([table, { ...table, id: "k2", name: "Old" }], 2);
    server.replies["DELETE /me/export-keys/k1"] = () => ({ status: 200, body: { keys: [], most: 2 } });
    expect(await screen.findByText(/^You have 2 export keys, the maximum/)).toBeTruthy();
    fireEvent.click(screen.getByRole("button", { name: "Remove My table" }));
    expect(await screen.findByText("Make a key…")).toBeTruthy();
    expect(screen.queryByText("My table")).toBeNull();
  });
});
