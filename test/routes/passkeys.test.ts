import { describe, expect, it } from "vitest";
import type { PasskeysView } from "../../server/contract/passkeys.ts";
import { isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { type CredentialFaults, type FakePasskeyDevice, fakePasskeyDevice } from "../support/fakePasskeyDevice.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Passkeys over HTTP, with a simulated device that can send each kind of forged answer. */

type Headers = Record<string, string>;
type Answer = Awaited<ReturnType<typeof requestAs>>;

const origin = "http://localhost:8080";
const here = { host: "localhost:8080" };
const passphrase = "birds before breakfast";

const cookiesOf = ({ headers }: Answer) =>
  [headers["set-cookie"] ?? []].flat().map((cookie) => String(cookie).split(";")[0]);
const post = (server: TestServer, url: string, headers: Headers, payload: object = {}) =>
  requestAs(server, "POST", url, { ...here, ...headers }, payload);
const passkeysOf = async (server: TestServer, headers: Headers) =>
  ((await requestAs(server, "GET", "/api/v1/me/passkeys", { ...here, ...headers })).json() as PasskeysView).passkeys;

async function addPasskey(
  server: TestServer,
  headers: Headers,
  device: FakePasskeyDevice,
  label = "Phone",
  faults: CredentialFaults = {},
) {
  const options = await post(server, "/api/v1/me/passkeys/options", headers);
  if (options.statusCode !== 200) return options;
  const credential = device.create(options.json(), faults);
  return post(server, "/api/v1/me/passkeys", headers, { label, credential });
}

/** Requests a challenge as a browser that isn't signed in. */
async function signInOptionsOf(server: TestServer) {
  const options = await post(server, "/api/v1/session/passkey/options", {});
  return { options: options.json(), headers: { cookie: cookiesOf(options).join("; ") } };
}
async function signIn(server: TestServer, device: FakePasskeyDevice, faults: CredentialFaults = {}) {
  const { options, headers } = await signInOptionsOf(server);
  return post(server, "/api/v1/session/passkey", headers, { credential: device.use(options, faults) });
}

async function withPasskey(options: { counts?: boolean; firstCounter?: number } = {}) {
  const server = await openTestServer();
  const device = fakePasskeyDevice(origin, options);
  const added = await addPasskey(server, server.keeper, device);
  expect([added.statusCode, added.body]).toEqual([201, expect.stringContaining("Phone")]);
  return { server, device };
}

describe("a passkey", () => {
  it("signs its person in without a name, over the same session as a passphrase", async () => {
    const { server, device } = await withPasskey();
    const answer = await signIn(server, device);
    expect([answer.statusCode, answer.json()]).toEqual([200, { keeper: { name: "Keeper" } }]);
    const cookie = cookiesOf(answer).find((one) => one?.startsWith("pieward_session=")) as string;
    const me = await requestAs(server, "GET", "/api/v1/me", { cookie });
    expect(me.json().name).toBe("Keeper");
    expect(String(answer.headers["set-cookie"])).toMatch(/HttpOnly.*SameSite=Lax/);
    await requestAs(server, "DELETE", "/api/v1/session", { cookie });
    expect((await requestAs(server, "GET", "/api/v1/me", { cookie })).statusCode).toBe(401);
  });

  it("is used beside the passphrase, which still works when passkeys exist", async () => {
    const { server } = await withPasskey();
    expect((await post(server, "/api/v1/session", {}, { name: "Keeper", passphrase })).statusCode).toBe(200);
  });

  it("is listed, renamed and removed by its own person, and by nobody else", async () => {
    const { server, device } = await withPasskey();
    const bo = await joinByInvite(server, "Bo", "keeper");
    const [one] = await passkeysOf(server, server.keeper);
    expect(one).toEqual({
      id: expect.any(String),
      label: "Phone",
      synced: false,
      addedAt: "2026-01-15T09:00:00.000Z",
      lastUsedAt: null,
    });
    expect(await passkeysOf(server, bo)).toEqual([]);
    const path = `/api/v1/me/passkeys/${one?.id}`;
    expect((await requestAs(server, "PATCH", path, bo, { label: "Bo's" })).statusCode).toBe(404);
    expect((await requestAs(server, "DELETE", path, bo)).statusCode).toBe(404);

    const renamed = await requestAs(server, "PATCH", path, server.keeper, { label: "Key on the ring" });
    expect(renamed.json().passkeys).toMatchObject([{ label: "Key on the ring" }]);
    const wrong = await requestAs(server, "PATCH", path, server.keeper, { label: " ", name: "x" });
    expect(wrong.json().errors.map((each: { field: string }) => each.field)).toContain("label");
    expect((await requestAs(server, "DELETE", path, server.keeper)).json().passkeys).toEqual([]);
    const gone = await signIn(server, device);
    expect([gone.statusCode, gone.json().detail]).toEqual([401, expect.stringContaining("not known here")]);
  });

  it("is deleted with the account of its person", async () => {
    const { server, device } = await withPasskey();
    await server.connections.write(async (statements) => {
      await statements.keeper.deleteMany();
    });
    const answer = await signIn(server, device);
    expect([answer.statusCode, answer.json().detail]).toEqual([401, expect.stringContaining("not known here")]);
    expect(await server.connections.reader.passkey.count()).toBe(0);
  });

  it("is one person's: its credential id can't be added a second time", async () => {
    const { server, device } = await withPasskey();
    const bo = await joinByInvite(server, "Bo", "helper");
    const again = await addPasskey(server, bo, fakePasskeyDevice(origin), "Mine", {
      credentialId: device.credentialId,
    });
    expect([again.statusCode, again.json().detail]).toEqual([409, expect.stringContaining("already registered")]);
    expect((await signIn(server, device)).json().keeper.name).toBe("Keeper");
  });

  it("is one of ten at most", async () => {
    const { server } = await withPasskey();
    const [first] = await server.store.keepers.passkeysOf((await server.store.keepers.keeperNamed("Keeper"))?.id ?? "");
    if (!first) throw new Error("expected a passkey");
    const more = (number: number) =>
      server.store.keepers.addPasskey({ ...first, id: `p${number}`, credentialId: `c${number}` }, 10);
    for (let number = 2; number <= 10; number += 1) expect(await more(number)).toBe("added");
    expect(await more(11)).toBe("tooMany");
    const answer = await addPasskey(server, server.keeper, fakePasskeyDevice(origin));
    expect([answer.statusCode, answer.json().detail]).toEqual([409, expect.stringContaining("You have 10 passkeys")]);
    expect(await passkeysOf(server, server.keeper)).toHaveLength(10);
  });

  it("may belong to a device that counts beyond 31 bits, or that doesn't count", async () => {
    const far = await withPasskey({ firstCounter: 4_294_967_290 });
    expect((await signIn(far.server, far.device)).statusCode).toBe(200);
    expect((await signIn(far.server, far.device)).statusCode).toBe(200);
    const still = await withPasskey({ counts: false });
    expect((await signIn(still.server, still.device)).statusCode).toBe(200);
    expect((await signIn(still.server, still.device)).statusCode).toBe(200);
  });
});

describe("a sign-in with a passkey is refused", () => {
  const faults: Readonly<
    Record<string, readonly (readonly [how: string, faults: CredentialFaults, reason: string])[]>
  > = {
    "at a place that isn't ours": [
      ["another port", { origin: "http://localhost:9090" }, "another address"],
      ["a page that looks like ours", { origin: "https://localhost.example" }, "another address"],
      ["inside another site's page", { crossOrigin: true }, "another address"],
      ["another host name", { host: "pies.example" }, "another host name"],
    ],
    "by somebody who wasn't verified as the person": [
      ["the device didn't check", { verified: false }, "didn't check that it is you"],
      ["a wrong signature", { signature: "wrong" }, "signature is wrong"],
      ["a passkey that isn't known", { credentialId: "A".repeat(43) }, "not known here"],
      ["another person's handle", { userHandle: Buffer.from("Bo").toString("base64url") }, "another person"],
    ],
    "with something made before or for something else": [
      ["a challenge that nobody gave", { challenge: "A".repeat(43) }, "answered already"],
      ["what adds a passkey", { type: "webauthn.create" }, "another request"],
      ["a counter that didn't go on", { counter: 1 }, "counter didn't go on"],
      ["a counter that went back", { counter: 0 }, "counter didn't go on"],
    ],
  };

  it.each(Object.entries(faults))("%s, with its reason", async (_where, each) => {
    const { server, device } = await withPasskey();
    let lastUsedAt = null;
    for (const [how, fault, reason] of each) {
      const answer = await signIn(server, device, fault);
      expect([how, answer.statusCode, answer.json().detail]).toEqual([how, 401, expect.stringContaining(reason)]);
      expect(cookiesOf(answer)).toEqual([]);
      expect((await passkeysOf(server, server.keeper))[0]?.lastUsedAt).toBe(lastUsedAt);
      // Nothing of the forged answer is stored: the right device still works.
      server.clock.advance(seconds(1));
      expect((await signIn(server, device)).statusCode).toBe(200);
      lastUsedAt = isoOf(server.clock.now());
    }
  });

  it("the second time with the same answer", async () => {
    const { server, device } = await withPasskey({ counts: false });
    const { options, headers } = await signInOptionsOf(server);
    const credential = device.use(options);
    expect((await post(server, "/api/v1/session/passkey", headers, { credential })).statusCode).toBe(200);
    const replayed = await post(server, "/api/v1/session/passkey", headers, { credential });
    expect([replayed.statusCode, replayed.json().detail]).toEqual([401, expect.stringContaining("answered already")]);
  });

  it("when one answer comes twice at the same moment", async () => {
    const { server, device } = await withPasskey();
    const two = [await signInOptionsOf(server), await signInOptionsOf(server)];
    const answers = await Promise.all(
      two.map(({ options, headers }) => {
        const credential = device.use(options, { counter: 7 });
        return post(server, "/api/v1/session/passkey", headers, { credential });
      }),
    );
    expect(answers.map(({ statusCode }) => statusCode).sort()).toEqual([200, 401]);
  });

  it("by another browser than the one that requested it", async () => {
    const { server, device } = await withPasskey();
    const { options } = await signInOptionsOf(server);
    const other = await signInOptionsOf(server);
    for (const headers of [other.headers, {}, { cookie: "pieward_passkey=forged.forged" }]) {
      const credential = device.use(options);
      const answer = await post(server, "/api/v1/session/passkey", headers, { credential });
      expect([answer.statusCode, answer.json().detail]).toEqual([
        401,
        expect.stringMatching(/another request|already/),
      ]);
    }
  });

  it("five minutes after its request, and not before", async () => {
    const { server, device } = await withPasskey();
    const [late, inTime] = [await signInOptionsOf(server), await signInOptionsOf(server)];
    server.clock.advance((minutes(5) - seconds(1)) as never);
    const first = await post(server, "/api/v1/session/passkey", inTime.headers, {
      credential: device.use(inTime.options),
    });
    expect(first.statusCode).toBe(200);
    server.clock.advance(seconds(1));
    const second = await post(server, "/api/v1/session/passkey", late.headers, {
      credential: device.use(late.options),
    });
    expect([second.statusCode, second.json().detail]).toEqual([401, expect.stringContaining("older than 5 minutes")]);
  });

  it("with a challenge that was given for adding or for confirming", async () => {
    const { server, device } = await withPasskey();
    for (const path of ["/api/v1/me/passkeys/options", "/api/v1/me/confirm/options"]) {
      const other = (await post(server, path, server.keeper)).json();
      const { headers } = await signInOptionsOf(server);
      const answer = await post(server, "/api/v1/session/passkey", headers, { credential: device.use(other) });
      expect([path, answer.statusCode, answer.json().detail]).toEqual([
        path,
        401,
        expect.stringContaining("another request"),
      ]);
    }
  });

  it("naming the field where it can't be read, and never with a failure of ours", async () => {
    const { server, device } = await withPasskey();
    const { options, headers } = await signInOptionsOf(server);
    const whole = device.use(options) as { response: Record<string, string> };
    for (const [field, value] of [
      ["clientDataJSON", "@"],
      ["authenticatorData", undefined],
      ["signature", ""],
    ] as const) {
      const credential = { ...whole, response: { ...whole.response, [field]: value } };
      const answer = await post(server, "/api/v1/session/passkey", headers, { credential });
      expect([answer.statusCode, answer.json().errors?.[0]?.field]).toEqual([400, `credential.response.${field}`]);
    }
    for (const response of [
      { clientDataJSON: "bnVsbA" }, // null
      { clientDataJSON: "AAAA" },
      { authenticatorData: "AAAA" },
      { authenticatorData: Buffer.alloc(60, 0xff).toString("base64url") },
    ]) {
      const credential = { ...whole, response: { ...whole.response, ...response } };
      const answer = await post(server, "/api/v1/session/passkey", headers, { credential });
      expect([answer.statusCode, answer.json().detail]).toEqual([401, expect.stringContaining("can't be read")]);
    }
  });
});

describe("adding a passkey", () => {
  it("asks for the passphrase again where one signed in more than five minutes ago", async () => {
    const server = await openTestServer();
    server.clock.advance(minutes(6));
    const requestOptions = (payload: object) => post(server, "/api/v1/me/passkeys/options", server.keeper, payload);
    const bare = await requestOptions({});
    expect([bare.statusCode, bare.json().errors]).toEqual([
      403,
      [{ field: "passphrase", problem: "is needed again, since you signed in more than 5 minutes ago" }],
    ]);
    const wrong = await requestOptions({ passphrase: "cats before breakfast" });
    expect([wrong.statusCode, wrong.json().errors]).toEqual([403, [{ field: "passphrase", problem: "is wrong" }]]);
    expect((await requestOptions({ passphrase })).statusCode).toBe(200);
    server.clock.advance(minutes(4));
    expect((await requestOptions({})).statusCode).toBe(200); // still the same five minutes
    server.clock.advance(minutes(1));
    expect((await requestOptions({})).statusCode).toBe(403);
    expect((await requestOptions({ passphrase, pin: 1 })).json().errors).toMatchObject([{ field: expect.any(String) }]);
  });

  it("accepts another passkey of the same person instead, and of nobody else", async () => {
    const { server, device } = await withPasskey();
    const bo = await joinByInvite(server, "Bo", "helper");
    const bos = fakePasskeyDevice(origin);
    expect((await addPasskey(server, bo, bos)).statusCode).toBe(201);
    server.clock.advance(minutes(6));
    const confirmWith = async (used: FakePasskeyDevice, faults: CredentialFaults = {}) => {
      const options = (await post(server, "/api/v1/me/confirm/options", server.keeper)).json();
      return post(server, "/api/v1/me/confirm", server.keeper, { credential: used.use(options, faults) });
    };
    const other = await confirmWith(bos);
    expect([other.statusCode, other.json().detail]).toEqual([403, expect.stringContaining("another person")]);
    expect((await confirmWith(device, { verified: false })).statusCode).toBe(403);
    const added = await addPasskey(server, server.keeper, fakePasskeyDevice(origin));
    expect(added.statusCode).toBe(403);
    expect((await confirmWith(device)).statusCode).toBe(204);
    expect((await addPasskey(server, server.keeper, fakePasskeyDevice(origin), "Second")).statusCode).toBe(201);
  });

  it("is refused with its reason where the device's answer is forged", async () => {
    const server = await openTestServer();
    for (const [faults, reason] of [
      [{ origin: "https://pies.example" }, "another address"],
      [{ host: "pies.example" }, "another host name"],
      [{ verified: false }, "didn't check that it is you"],
      [{ type: "webauthn.get" }, "another request"],
      [{ certificate: true }, "certificate that was not asked for"],
    ] as const) {
      const answer = await addPasskey(server, server.keeper, fakePasskeyDevice(origin), "Phone", faults);
      const { detail, errors } = answer.json();
      expect([answer.statusCode, detail]).toEqual([400, expect.stringContaining(reason)]);
      expect(errors[0].field).toBe("credential");
    }
    expect(await passkeysOf(server, server.keeper)).toEqual([]);
  });

  it("is for the session that requested it, once, and not for another one of the same person", async () => {
    const server = await openTestServer();
    const second = await post(server, "/api/v1/session", {}, { name: "Keeper", passphrase });
    const elsewhere = { cookie: cookiesOf(second)[0] as string, "x-pieward": "1" };
    const options = (await post(server, "/api/v1/me/passkeys/options", server.keeper)).json();
    const body = { label: "Phone", credential: fakePasskeyDevice(origin).create(options) };
    expect((await post(server, "/api/v1/me/passkeys", elsewhere, body)).json().detail).toContain("another request");
    expect((await post(server, "/api/v1/me/passkeys", server.keeper, body)).json().detail).toContain(
      "answered already",
    );
  });

  it("accepts no challenge that was made for confirming, and confirming none that was made for adding", async () => {
    const { server, device } = await withPasskey();
    const toConfirm = (await post(server, "/api/v1/me/confirm/options", server.keeper)).json();
    const body = { label: "Second", credential: fakePasskeyDevice(origin).create(toConfirm) };
    expect((await post(server, "/api/v1/me/passkeys", server.keeper, body)).json().detail).toContain("another request");
    const toAdd = (await post(server, "/api/v1/me/passkeys/options", server.keeper)).json();
    const confirmed = await post(server, "/api/v1/me/confirm", server.keeper, { credential: device.use(toAdd) });
    expect([confirmed.statusCode, confirmed.json().detail]).toEqual([403, expect.stringContaining("another request")]);
    expect(await passkeysOf(server, server.keeper)).toHaveLength(1);
  });

  it("allows removing only just after a passphrase or a passkey was given", async () => {
    const { server } = await withPasskey();
    const [one] = await passkeysOf(server, server.keeper);
    server.clock.advance(minutes(6));
    const remove = () => requestAs(server, "DELETE", `/api/v1/me/passkeys/${one?.id}`, server.keeper);
    expect((await remove()).json().errors).toMatchObject([{ field: "passphrase" }]);
    expect(await passkeysOf(server, server.keeper)).toHaveLength(1);
    expect((await post(server, "/api/v1/me/confirm", server.keeper, { passphrase: "not it at all" })).statusCode).toBe(
      403,
    );
    expect((await post(server, "/api/v1/me/confirm", server.keeper, { passphrase })).statusCode).toBe(204);
    expect((await remove()).statusCode).toBe(200);
  });
});

describe("at an address where passkeys can't work", () => {
  it("the server states it and the passphrase still works", async () => {
    const server = await openTestServer();
    for (const host of ["192.168.1.20:8080", "pies.example", "[fd00::7]:8080"]) {
      const answer = await requestAs(server, "POST", "/api/v1/session/passkey/options", { host });
      expect([host, answer.statusCode, answer.json().detail]).toEqual([host, 409, expect.stringContaining("HTTPS")]);
      const view = await requestAs(server, "GET", "/api/v1/me/passkeys", { ...server.keeper, host });
      expect(view.json().origin).toBeNull();
      const add = await requestAs(server, "POST", "/api/v1/me/passkeys/options", { ...server.keeper, host }, {});
      expect([add.statusCode, add.json().detail]).toEqual([409, expect.stringContaining("PUBLIC_URL")]);
    }
  });
});
