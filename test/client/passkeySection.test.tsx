// @vitest-environment happy-dom
import { fireEvent, render, screen } from "@testing-library/preact";
import { describe, expect, it, vi } from "vitest";
import { PasskeySection } from "../../client/components/passkeySection.tsx";
import { PasskeySignIn } from "../../client/components/passkeySignIn.tsx";
import type { PasskeysView } from "../../server/contract/passkeys.ts";
import { type FakeConnection, problem, withFakeConnection } from "./page.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const view = (change: Partial<PasskeysView> = {}): PasskeysView => ({
  passkeys: [
    {
      id: "p1",
      label: "Phone",
      synced: true,
      addedAt: new Date(Date.now() - 3 * 86_400_000).toISOString(),
      lastUsedAt: null,
    },
  ],
  origin: location.origin,
  most: 10,
  ...change,
});
const shown = (passkeys: PasskeysView) => {
  server.replies["GET /me/passkeys"] = () => ({ status: 200, body: passkeys });
  render(<PasskeySection />);
};
const withPasskeys = () => vi.stubGlobal("PublicKeyCredential", () => undefined);
const passphraseNeeded = {
  status: 403,
  body: { ...problem(403, "Give it."), errors: [{ field: "passphrase", problem: "is needed again" }] },
};

describe("the passkeys of an account", () => {
  it("are listed with when each was added and used, and whether it is copied", async () => {
    shown(view());
    expect((await screen.findByText(/Added 3 days ago, not used yet\./)).textContent).toContain("other devices");
  });

  it("are removed once the passphrase was given again, and not before", async () => {
    let confirmed = false;
    server.replies["DELETE /me/passkeys/p1"] = () =>
      confirmed ? { status: 200, body: view({ passkeys: [] }) } : passphraseNeeded;
    server.replies["POST /me/confirm"] = (body) => {
      confirmed = (body as { passphrase: string }).passphrase === "birds before breakfast";
      return confirmed ? { status: 200, body: null } : passphraseNeeded;
    };
    shown(view());
    fireEvent.click(await screen.findByRole("button", { name: "Remove Phone" }));
    const field = await screen.findByLabelText("Your passphrase");
    expect(screen.queryByRole("button", { name: "Add a passkey" })).toBeNull(); // one question at a time
    fireEvent.input(field, { target: { value: "cats before breakfast" } });
    fireEvent.click(screen.getByRole("button", { name: "Continue" }));
    expect(await screen.findByText("Your passphrase: is needed again")).toBeTruthy();
    expect(screen.getByText("Phone")).toBeTruthy();
    fireEvent.input(field, { target: { value: "birds before breakfast" } });
    fireEvent.click(screen.getByRole("button", { name: "Continue" }));
    await vi.waitFor(() => expect(screen.queryByText("Phone")).toBeNull());
    expect(screen.queryByLabelText("Your passphrase")).toBeNull();
  });

  it("name the address where they work, where that is another", async () => {
    shown(view({ origin: "https://pies.example" }));
    const link = await screen.findByRole("link", { name: "https://pies.example" });
    expect(link.getAttribute("href")).toBe("https://pies.example/account");
    expect(screen.queryByRole("button", { name: "Add a passkey" })).toBeNull();
  });

  it("show what they need, where the server's address does not allow them", async () => {
    shown(view({ origin: null, passkeys: [] }));
    expect(await screen.findByText(/need an HTTPS address with a host name/)).toBeTruthy();
  });

  it("are ten at most", async () => {
    withPasskeys();
    shown(view({ most: 1 }));
    expect(await screen.findByText("You have 1 passkeys, the maximum.")).toBeTruthy();
    expect(screen.queryByRole("button", { name: "Add a passkey" })).toBeNull();
  });
});

describe("signing in with a passkey", () => {
  it("is offered where the browser supports it, and shows the server's text where it is refused", async () => {
    withPasskeys();
    const detail = "Passkeys need an address with HTTPS and a host name.";
    server.replies["POST /session/passkey/options"] = () => ({ status: 409, body: problem(409, detail) });
    render(<PasskeySignIn />);
    fireEvent.click(screen.getByRole("button", { name: "Sign in with a passkey" }));
    expect(await screen.findByText(detail)).toBeTruthy();
  });

  it("is not offered over plain HTTP: the screen shows what passkeys need", () => {
    withPasskeys();
    vi.stubGlobal("isSecureContext", false);
    render(<PasskeySignIn />);
    expect(screen.getByText(/Passkeys need HTTPS and a host name/)).toBeTruthy();
    expect(screen.queryByRole("button")).toBeNull();
  });
});
