import { expect, it } from "vitest";
import { makeReset } from "../../server/flows/accounts.ts";
import { fakePasskeyDevice } from "../support/fakePasskeyDevice.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer } from "../support/testServer.ts";

const origin = "http://localhost:8080";
const here = { host: "localhost:8080" };

it("a recovery link sets a new passphrase and removes no passkey", async () => {
  const server = await openTestServer();
  const device = fakePasskeyDevice(origin);
  const mine = { ...here, ...server.keeper };
  const options = (await requestAs(server, "POST", "/api/v1/me/passkeys/options", mine, {})).json();
  const body = { label: "Phone", credential: device.create(options) };
  expect((await requestAs(server, "POST", "/api/v1/me/passkeys", mine, body)).statusCode).toBe(201);

  const made = await makeReset(server.ports, "Keeper");
  if (made.kind !== "made") throw new Error("expected a link");
  const reset = { token: made.token, passphrase: "seven rooks on a wet gate" };
  expect((await requestAs(server, "POST", "/api/v1/reset", here, reset)).statusCode).toBe(200);

  const signInOptions = await requestAs(server, "POST", "/api/v1/session/passkey/options", here);
  const cookie = String(signInOptions.headers["set-cookie"]).split(";")[0] as string;
  const credential = device.use(signInOptions.json());
  const signedIn = await requestAs(server, "POST", "/api/v1/session/passkey", { ...here, cookie }, { credential });
  expect([signedIn.statusCode, signedIn.json()]).toEqual([200, { keeper: { name: "Keeper" } }]);
});
