import type { CDPSession, Page } from "playwright-core";
import { describe, expect, it } from "vitest";
import { type RunningServer, runBuiltServer } from "../support/builtServer.ts";
import { findChromium } from "../support/chromium.ts";
import { type BrowserPhone, checkAccessibility } from "./browserPhone.ts";
import { phoneForEachTest } from "./phoneForEachTest.ts";

/** Passkeys in a real browser: the built server at http://localhost, and the browser's own virtual device. */

const { path, unlessAbsent } = findChromium();

let scratch: string;
let phone: BrowserPhone;
let page: Page;

phoneForEachTest(path, (opened) => {
  ({ phone, page, scratch } = opened);
});

const ada = { name: "Ada", passphrase: "four black feathers in the snow" };

describe.skipIf(path === null)(`passkeys in a browser${unlessAbsent}`, () => {
  it("are added, sign in, are refused where they are copies, and are removed", async () => {
    const server = runBuiltServer(scratch, { LOG_LEVEL: "info" });
    const [, port = "", token = ""] = await server.waitForOutput(/:(\d+)\/first-sign-in#(\S+)/);
    const origin = `http://localhost:${port}`;
    const device = await virtualDevice(page);

    await page.goto(`${origin}/first-sign-in#${token}`);
    await page.getByLabel("Your name").fill(ada.name);
    await page.getByLabel("Passphrase").fill(ada.passphrase);
    await page.getByRole("button", { name: "Create account" }).click();
    await page.getByRole("heading", { name: "Feeders" }).waitFor();

    // --- added within five minutes of the passphrase, so it is not requested again
    await page.goto(`${origin}/account`);
    await page.getByLabel("Name of the new passkey").fill("Phone");
    await page.getByRole("button", { name: "Add a passkey" }).click();
    await page.getByText("Added just now, not used yet.").waitFor();
    await checkAccessibility(page, "account with a passkey");
    const [credential] = await device.credentials();
    expect(credential).toMatchObject({ isResidentCredential: true, rpId: "localhost" });
    await page.getByRole("button", { name: "Add a passkey" }).click();
    await page.getByText("This device already has a passkey for you.").waitFor();

    // --- signs in without a name
    await signOut(origin);
    await checkAccessibility(page, "sign-in with a passkey");
    await usePasskey();
    await page.getByRole("heading", { name: "Feeders" }).waitFor();
    await page.goto(`${origin}/account`);
    await page.getByText("You are signed in as Ada.").waitFor();
    await page.getByText("Added just now, last used just now.").waitFor();

    // --- a copy of it that is older: its counter is behind
    await signOut(origin);
    const [used] = await device.credentials();
    await device.replace({ ...used, signCount: 0 });
    await usePasskey();
    await page.getByText("The passkey's counter didn't go on").waitFor();

    // --- a device without the passkey of the person
    await device.replace({ ...used, signCount: 50 });
    await device.verifies(false);
    await usePasskey();
    await page.getByText("No passkey was used.").waitFor();
    await device.verifies(true);

    // --- the passphrase still works
    await page.getByLabel("Your name").fill(ada.name);
    await page.getByLabel("Passphrase").fill(ada.passphrase);
    await page.getByRole("button", { name: "Sign in", exact: true }).click();
    await page.getByRole("heading", { name: "Feeders" }).waitFor();

    // --- renamed, removed; what is left on the device does not sign in
    await page.goto(`${origin}/account`);
    await page.getByRole("button", { name: "Rename Phone" }).click();
    await page.getByLabel("New name").fill("Old phone");
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByRole("button", { name: "Remove Old phone" }).click();
    await page.getByRole("button", { name: "Remove Old phone" }).waitFor({ state: "detached" });
    await signOut(origin);
    await usePasskey();
    await page.getByText("This passkey is not known here").waitFor();

    // --- at an IP address the screen shows what passkeys need, and offers the passphrase
    await page.goto(`http://127.0.0.1:${port}/`);
    await page.getByText("Passkeys need HTTPS and a host name.").waitFor();
    expect(await page.getByRole("button", { name: "Sign in with a passkey" }).count()).toBe(0);
    await checkAccessibility(page, "sign-in at a bare number");
    await page.getByLabel("Your name").fill(ada.name);
    await page.getByLabel("Passphrase").fill(ada.passphrase);
    await page.getByRole("button", { name: "Sign in", exact: true }).click();
    await page.getByRole("heading", { name: "Feeders" }).waitFor();
    await page.goto(`http://127.0.0.1:${port}/account`);
    await page.getByText("Passkeys need an HTTPS address").waitFor();

    await logsNoSecret(server, [ada.passphrase, credential?.credentialId ?? "", credential?.privateKey ?? ""]);
    expect(phone.complaints).toEqual([]);
  }, 120_000);
});

async function signOut(origin: string): Promise<void> {
  await page.goto(`${origin}/phones`);
  await page.getByRole("button", { name: "Sign out" }).click();
  await page.waitForURL(`${origin}/`); // the heading alone may come sooner, and this load would then interrupt the next step
  await page.getByRole("heading", { name: "Sign in" }).waitFor();
}

const usePasskey = () => page.getByRole("button", { name: "Sign in with a passkey" }).click();

/** Both refusals are in the log with reason and person, without what was sent and without secrets. */
async function logsNoSecret(server: RunningServer, secrets: readonly string[]): Promise<void> {
  const [log] = await server.waitForOutput(/^[\s\S]*$/);
  const events = log
    .split("\n")
    .filter((line) => line.startsWith("{"))
    .map((line) => JSON.parse(line) as { readonly event?: string; readonly why?: string });
  expect(events.flatMap(({ event, why }) => (event === "passkeyRefused" ? [why] : []))).toEqual(["counter", "unknown"]);
  for (const event of ["passkeyAdded", "passkeyRemoved"]) {
    expect(events.filter((each) => each.event === event)).toHaveLength(1);
  }
  for (const secret of secrets) {
    expect(secret.length).toBeGreaterThan(8);
    const urlSafe = secret.replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
    expect(log.includes(secret) || log.includes(urlSafe)).toBe(false);
  }
  expect(log).not.toMatch(/challenge|clientDataJSON|signature/);
}

interface Credential {
  readonly credentialId: string;
  readonly isResidentCredential: boolean;
  readonly rpId?: string;
  readonly privateKey: string;
  readonly signCount: number;
}

/** The WebAuthn domain of the DevTools protocol: https://chromedevtools.github.io/devtools-protocol/tot/WebAuthn/ */
async function virtualDevice(of: Page) {
  const session: CDPSession = await of.context().newCDPSession(of);
  await session.send("WebAuthn.enable");
  const { authenticatorId } = await session.send("WebAuthn.addVirtualAuthenticator", {
    options: {
      protocol: "ctap2",
      transport: "internal",
      hasResidentKey: true,
      hasUserVerification: true,
      isUserVerified: true,
      automaticPresenceSimulation: true,
    },
  });
  return {
    async credentials(): Promise<readonly Credential[]> {
      return (await session.send("WebAuthn.getCredentials", { authenticatorId })).credentials;
    },
    async replace(credential: Partial<Credential>) {
      const { credentialId = "" } = credential;
      await session.send("WebAuthn.removeCredential", { authenticatorId, credentialId });
      await session.send("WebAuthn.addCredential", { authenticatorId, credential: credential as Credential });
    },
    verifies: (isUserVerified: boolean) =>
      session.send("WebAuthn.setUserVerified", { authenticatorId, isUserVerified }),
  };
}
