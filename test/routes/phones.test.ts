import { describe, expect, it, onTestFinished } from "vitest";
import webpush from "web-push";
import { endpointGuard } from "../../server/adapters/endpointGuard.ts";
import { webPush } from "../../server/adapters/webPush.ts";
import type { PeopleView, PhonesView, PhoneView } from "../../server/contract/api.ts";
import { days, minutes } from "../../server/domain/instant.ts";
import { pruneOld } from "../../server/flows/outbox.ts";
import { addPhone, deliverAll, joinByInvite, requestAs, signInAgain } from "../support/people.ts";
import { startPushService } from "../support/pushService.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
const first = { endpoint: "https://push.example/one", keys, label: "Pocket" };
const renewal = { endpoint: "https://push.example/two", keys, replaces: first.endpoint };

type Headers = Record<string, string>;
const view = async (server: TestServer, headers: Headers = server.keeper): Promise<PhonesView> =>
  (await requestAs(server, "GET", "/api/v1/phones", headers)).json();
const onlyPhone = async (server: TestServer): Promise<PhoneView> => {
  const { phones } = await view(server);
  const [phone] = phones;
  if (phone === undefined || phones.length !== 1) throw new Error(`expected one phone, got ${phones.length}`);
  return phone;
};
const add = (server: TestServer, phone: object, headers: Headers = server.keeper) =>
  requestAs(server, "POST", "/api/v1/phones", headers, phone);
const renew = (server: TestServer, phone: object, headers: Headers = server.keeper) =>
  server.app.inject({ method: "PUT", url: "/api/v1/phones", headers, payload: phone });
const test = (server: TestServer) => requestAs(server, "POST", "/api/v1/phones/test", server.keeper, {});
const shown = (server: TestServer, item: string | undefined) =>
  requestAs(server, "POST", `/api/v1/notifications/${item}/display-receipt`, {}, {});

/** A server whose only phone has just been declared gone by its push service. */
async function withGonePhone(): Promise<TestServer> {
  const server = await openTestServer();
  await add(server, first);
  server.push.answer = { kind: "subscriptionGone", text: "HTTP 410" };
  await test(server);
  server.push.answer = { kind: "accepted" };
  return server;
}

describe("an endpoint that its push service has declared gone", () => {
  it("is refused by field when a browser sends it again, over a real push service", async () => {
    const service = await startPushService();
    onTestFinished(() => service.close());
    const server = await openTestServer();
    const vapid = { subject: "mailto:keeper@pieward.example", ...webpush.generateVAPIDKeys() };
    const guard = endpointGuard({ allowPrivateEndpoints: true });
    const gateway = webPush({ vapid, publicUrl: null, guard, timeoutMs: 2_000, tls: { ca: service.ca } });
    Object.assign(server.push, { send: gateway.send, checkEndpoint: gateway.checkEndpoint });
    const { endpoint, p256dh, auth } = service.subscribe();
    const phone = { endpoint, keys: { p256dh, auth }, label: "Pocket" };
    expect((await add(server, phone)).statusCode).toBe(201);
    service.unsubscribe({ ...service.subscribe(), endpoint });
    expect((await test(server)).json().outcomes).toMatchObject([{ outcome: "gone" }]);

    const again = await add(server, phone);
    expect(again.statusCode).toBe(409);
    expect(again.json().errors).toEqual([
      { field: "endpoint", problem: expect.stringMatching(/^is no longer valid: its push service reported it/) },
    ]);
    expect((await view(server)).phones).toEqual([]);
    const fresh = service.subscribe();
    const newPhone = { endpoint: fresh.endpoint, keys: { p256dh: fresh.p256dh, auth: fresh.auth }, label: "Pocket" };
    expect((await add(server, newPhone)).statusCode).toBe(201);
    expect((await test(server)).json().outcomes).toMatchObject([{ outcome: "accepted" }]);
  });

  it("is refused to every person of the server, and also as the renewal of another phone", async () => {
    const server = await withGonePhone();
    const bo = await joinByInvite(server, "Bo", "helper");
    expect((await add(server, first, bo)).statusCode).toBe(409);
    await addPhone(server, bo, "Kitchen");
    const answer = await renew(
      server,
      { endpoint: first.endpoint, keys: first.keys, replaces: "https://push.example/Kitchen" },
      bo,
    );
    expect(answer.statusCode).toBe(409);
    expect(answer.json().errors[0].field).toBe("endpoint");
  });

  it("is listed as gone for its own person, until it is replaced", async () => {
    const server = await withGonePhone();
    expect((await view(server)).gone).toEqual([
      { endpoint: first.endpoint, label: "Pocket", goneAt: "2026-01-15T09:00:00.000Z" },
    ]);
    expect((await view(server, await joinByInvite(server, "Bo", "helper"))).gone).toEqual([]);
    await add(server, { ...renewal, label: "Pocket" });
    expect((await view(server)).gone).toEqual([]);
    expect((await add(server, first)).statusCode).toBe(409); // no longer listed, and still known
  });

  it("is forgotten after half a year, and no more than 500 of a server are remembered", async () => {
    const server = await withGonePhone();
    server.clock.advance(days(179));
    await pruneOld(server.ports);
    const keeper = await signInAgain(server);
    expect((await add(server, first, keeper)).statusCode).toBe(409);
    server.clock.advance(days(2));
    await pruneOld(server.ports);
    expect((await add(server, first, keeper)).statusCode).toBe(201);
    server.push.answer = { kind: "subscriptionGone", text: "HTTP 410" };
    for (let n = 0; n < 505; n += 1) {
      await server.store.keepers.savePhone({
        ...{ id: `p-${n}`, keeper: (await requestAs(server, "GET", "/api/v1/me", keeper)).json().id },
        ...{ endpoint: `https://push.example/many/${n}`, p256dh: keys.p256dh, auth: keys.auth, label: "Many" },
        addedAt: server.clock.advance(minutes(1)),
      });
    }
    server.clock.advance(minutes(1));
    expect(
      (await server.app.inject({ method: "POST", url: "/api/v1/phones/test", headers: keeper, payload: {} }))
        .statusCode,
    ).toBe(200);
    await pruneOld(server.ports);
    expect((await view(server, keeper)).gone.length).toBeLessThanOrEqual(500);
  }, 60_000);
});

describe("a phone that renews its subscription", () => {
  it("keeps its id, its name and the moment when it was added, and is not confirmed at first", async () => {
    const server = await openTestServer();
    await add(server, first);
    const before = await onlyPhone(server);
    await test(server);
    await shown(server, server.push.sent.at(-1)?.item);
    expect((await onlyPhone(server)).reachability.kind).toBe("confirmed");
    server.clock.advance(days(1));
    const answer = await renew(server, renewal);
    expect(answer.statusCode).toBe(200);
    expect(await onlyPhone(server)).toMatchObject({
      ...{ id: before.id, label: "Pocket", addedAt: before.addedAt, endpoint: renewal.endpoint },
      ...{ lastDisplayedAt: null, lastAcceptedAt: null, reachability: { kind: "unconfirmed" } },
    });
  });

  it("is not proved by what its screen showed under the old endpoint", async () => {
    const server = await openTestServer();
    await add(server, first);
    await test(server);
    const old = server.push.sent.at(-1)?.item;
    await renew(server, renewal);
    expect((await shown(server, old)).statusCode).toBe(204);
    expect((await onlyPhone(server)).reachability.kind).toBe("unconfirmed");
    await test(server);
    await shown(server, server.push.sent.at(-1)?.item);
    expect((await onlyPhone(server)).reachability.kind).toBe("confirmed");
  });

  it("may send it twice, since the first answer can be lost on the way", async () => {
    const server = await openTestServer();
    await add(server, first);
    await renew(server, renewal);
    expect((await renew(server, renewal)).statusCode).toBe(200);
    expect((await onlyPhone(server)).endpoint).toBe(renewal.endpoint);
  });

  it("comes back under its name where its push service had declared the old endpoint gone meanwhile", async () => {
    const server = await openTestServer();
    await add(server, first);
    const { id } = await onlyPhone(server);
    server.push.answer = { kind: "subscriptionGone", text: "HTTP 410" };
    await test(server);
    expect((await view(server)).phones).toEqual([]);
    expect((await renew(server, renewal)).statusCode).toBe(200);
    expect(await onlyPhone(server)).toMatchObject({ id, label: "Pocket", endpoint: renewal.endpoint });
  });

  it("does not come back where a person has removed it", async () => {
    const server = await openTestServer();
    await add(server, first);
    await requestAs(server, "POST", "/api/v1/phones/forget", server.keeper, { endpoint: first.endpoint });
    const answer = await renew(server, renewal);
    expect(answer.statusCode).toBe(404);
    expect(answer.json().errors).toEqual([{ field: "replaces", problem: "is not one of your phones" }]);
    expect((await view(server)).phones).toEqual([]);
  });

  it("is not redirected without a session or by another person who knows its endpoint", async () => {
    const server = await openTestServer();
    await add(server, first);
    expect((await renew(server, renewal, { "x-pieward": "1" })).statusCode).toBe(401);
    const bo = await joinByInvite(server, "Bo", "helper");
    expect((await renew(server, renewal, bo)).statusCode).toBe(404);
    // Nor by sending that very endpoint with other keys: only the browser itself knows its own.
    const taken = await add(server, { ...first, keys: { ...keys, auth: "b".repeat(22) } }, bo);
    expect(taken.statusCode).toBe(409);
    expect(taken.json().errors[0].field).toBe("endpoint");
    const phone = await onlyPhone(server);
    expect(phone.endpoint).toBe(first.endpoint);
    await test(server);
    expect(server.push.sent.at(-1)?.phone.auth).toBe(keys.auth);
  });

  it("is not lost by a 410 for the old endpoint that arrives after the renewal: what was sent goes to the new one", async () => {
    const server = await openTestServer();
    await add(server, first);
    const { key } = await server.addFeeder();
    const trouble = { seq: 1, uptimeMs: 5, kind: "trouble", words: "the lid is loose" };
    const send = server.push.send.bind(server.push);
    let renewed = false;
    Object.assign(server.push, {
      send: async (...args: Parameters<typeof send>) => {
        if (renewed) return send(...args);
        renewed = true;
        expect((await renew(server, renewal)).statusCode).toBe(200); // while the push is under way
        return { kind: "subscriptionGone", text: "HTTP 410" };
      },
    });
    await server.report(key, { boot: "b-1", sentUptimeMs: 5, events: [trouble] });
    await deliverAll(server);
    server.clock.advance(minutes(1));
    await deliverAll(server);
    expect((await onlyPhone(server)).endpoint).toBe(renewal.endpoint);
    expect(server.push.sent.map(({ phone }) => phone.endpoint)).toEqual([renewal.endpoint]);
    expect((await add(server, first)).statusCode).toBe(409);
  });
});

describe("a phone whose permission to show notifications was withdrawn", () => {
  const setAllowed = (server: TestServer, allowed: boolean, endpoint = first.endpoint) =>
    requestAs(server, "POST", "/api/v1/phones/permission", server.keeper, { endpoint, allowed });

  it("is shown as lost at once, on its own page and among the people, until it is allowed again", async () => {
    const server = await openTestServer();
    await add(server, first);
    await test(server);
    await shown(server, server.push.sent.at(-1)?.item);
    const people = async () =>
      ((await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, server.keeper)).json() as PeopleView)
        .people[0];
    expect((await people())?.reachability.kind).toBe("confirmed");
    expect((await setAllowed(server, false)).statusCode).toBe(200);
    expect((await onlyPhone(server)).reachability).toMatchObject({
      kind: "lost",
      text: expect.stringMatching(/blocked/),
    });
    expect(await people()).toMatchObject({ phones: 0, reachability: { kind: "lost" } });
    expect((await test(server)).json().outcomes).toMatchObject([{ label: "Pocket", outcome: "refused" }]);
    expect(server.push.sent).toHaveLength(1);

    server.clock.advance(minutes(1));
    await setAllowed(server, true);
    expect((await onlyPhone(server)).reachability.kind).toBe("unconfirmed"); // it must show something first
    expect(await people()).toMatchObject({ phones: 1 });
  });

  it("can be reported for one's own phones only", async () => {
    const server = await openTestServer();
    await add(server, first);
    const bo = await joinByInvite(server, "Bo", "helper");
    const body = { endpoint: first.endpoint, allowed: false };
    const answer = await requestAs(server, "POST", "/api/v1/phones/permission", bo, body);
    expect(answer.statusCode).toBe(404);
    expect(answer.json().errors[0].field).toBe("endpoint");
    expect((await onlyPhone(server)).reachability.kind).toBe("unconfirmed");
  });
});

describe("how many phones a person has", () => {
  const nth = (n: number) => ({ endpoint: `https://push.example/${n}`, keys, label: `Phone ${n}` });

  it("is at most ten: one more is refused with what to do, and removing one allows another", async () => {
    const server = await openTestServer();
    for (let n = 1; n <= 10; n++) expect((await add(server, nth(n))).statusCode).toBe(201);
    const refused = await add(server, nth(11));
    expect(refused.statusCode).toBe(409);
    expect(refused.json().errors).toEqual([
      { field: "endpoint", problem: expect.stringMatching(/the maximum is 10\. Remove one .*, then add this one/) },
    ]);
    expect((await view(server)).phones).toHaveLength(10);
    expect((await view(server)).phonesMax).toBe(10);

    expect((await add(server, { ...nth(3), label: "Renamed" })).statusCode).toBe(201); // it has that one already
    expect((await renew(server, { ...nth(12), label: undefined, replaces: nth(3).endpoint })).statusCode).toBe(200);
    await requestAs(server, "POST", "/api/v1/phones/forget", server.keeper, { endpoint: nth(1).endpoint });
    expect((await add(server, nth(11))).statusCode).toBe(201);
    const bo = await joinByInvite(server, "Bo", "helper");
    expect((await add(server, nth(21), bo)).statusCode).toBe(201);
  });

  it("counts one that comes back after it was gone, and one that is taken over from another person", async () => {
    const server = await withGonePhone();
    const bo = await joinByInvite(server, "Bo", "helper");
    expect((await add(server, nth(30), bo)).statusCode).toBe(201);
    for (let n = 1; n <= 10; n++) expect((await add(server, nth(n))).statusCode).toBe(201);
    expect((await renew(server, renewal)).statusCode).toBe(409);
    expect((await add(server, nth(30))).statusCode).toBe(409);
    expect((await view(server, bo)).phones).toHaveLength(1);
    await requestAs(server, "POST", "/api/v1/phones/forget", server.keeper, { endpoint: nth(1).endpoint });
    expect((await renew(server, renewal)).statusCode).toBe(200);
  });
});
