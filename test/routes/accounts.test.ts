import { describe, expect, it } from "vitest";
import type { SessionsView } from "../../server/contract/api.ts";
import { days, hours, minutes } from "../../server/domain/instant.ts";
import { makeReset } from "../../server/flows/accounts.ts";
import { passphraseProblem } from "../../server/flows/passphrase.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** The passphrase with which `openTestServer` makes the first account, "Keeper". */
const first = "birds before breakfast";
const better = "seven quiet winters outside";
const firefox = "Mozilla/5.0 (Android 14; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0";

const post = (server: TestServer, url: string, payload: object, headers: Record<string, string> = {}) =>
  requestAs(server, "POST", `/api/v1${url}`, headers, payload);
const signIn = (server: TestServer, passphrase: string, headers: Record<string, string> = {}, name = "Keeper") =>
  post(server, "/session", { name, passphrase }, headers);
const headersOf = (answer: { readonly headers: Record<string, unknown> }) => ({
  cookie: String(answer.headers["set-cookie"]).split(";")[0] as string,
  "x-pieward": "1",
});
const statusOf = async (server: TestServer, headers: Record<string, string>) =>
  (await requestAs(server, "GET", "/api/v1/me", headers)).statusCode;
const sessions = async (server: TestServer, headers = server.keeper) =>
  ((await requestAs(server, "GET", "/api/v1/me/sessions", headers)).json() as SessionsView).sessions;

describe("changing the passphrase", () => {
  it("asks for the old one, ends all other sessions and keeps this one", async () => {
    const server = await openTestServer();
    const other = headersOf(await signIn(server, first));
    const wrong = await post(
      server,
      "/me/passphrase",
      { old: "cats before breakfast", passphrase: better },
      server.keeper,
    );
    expect([wrong.statusCode, wrong.json().errors]).toEqual([400, [{ field: "old", problem: "is not correct" }]]);
    expect(await statusOf(server, other)).toBe(200);

    const right = await post(server, "/me/passphrase", { old: first, passphrase: better }, server.keeper);
    expect([right.statusCode, right.body]).toEqual([204, ""]);
    expect(await statusOf(server, other)).toBe(401);
    expect(await statusOf(server, server.keeper)).toBe(200);
    expect((await signIn(server, first)).statusCode).toBe(401);
    expect((await signIn(server, better)).statusCode).toBe(200);
  });

  it("is done by one of two at once, and the other one is refused since its old passphrase is wrong", async () => {
    const server = await openTestServer();
    const change = (passphrase: string) => post(server, "/me/passphrase", { old: first, passphrase }, server.keeper);
    const answers = await Promise.all([change(better), change("nine loud summers inside")]);
    expect(answers.map(({ statusCode }) => statusCode).sort()).toEqual([204, 400]);
  });

  it("can be tried ten times a minute, so that the old one can't be guessed at an open browser", async () => {
    const server = await openTestServer();
    const guess = () => post(server, "/me/passphrase", { old: "a guess", passphrase: better }, server.keeper);
    for (let tries = 0; tries < 10; tries += 1) expect((await guess()).statusCode).toBe(400);
    expect((await guess()).statusCode).toBe(429);
  });
});

describe("a new passphrase", () => {
  const bad: readonly (readonly [passphrase: string, problem: RegExp])[] = [
    ["short one here", /^must be at least 15 characters$/],
    ["my name is keeper here", /^must not contain your name$/],
    ["KEEPER-of-the-yard-52", /^must not contain your name$/],
    ["passwordpassword", /^is easy to guess: /],
    ["qwertyuiopasdfgh", /^is easy to guess: /],
    ["aaaaaaaaaaaaaaaaaaaaaa", /^is easy to guess: /],
    ["123456789012345678", /^is easy to guess: /],
  ];

  it("is refused with its reason where it is short, common or contains the name, when it is changed", async () => {
    const server = await openTestServer();
    for (const [passphrase, problem] of bad) {
      const answer = await post(server, "/me/passphrase", { old: first, passphrase }, server.keeper);
      expect([passphrase, answer.statusCode]).toEqual([passphrase, 400]);
      expect(answer.json().errors).toEqual([{ field: "passphrase", problem: expect.stringMatching(problem) }]);
    }
    expect((await signIn(server, first)).statusCode).toBe(200);
  });

  it("is checked by the same rules when a person joins, and the invitation stays open", async () => {
    const server = await openTestServer();
    const invite = await post(server, `/yards/${server.yard}/invites`, { role: "helper" }, server.keeper);
    const { token } = invite.json();
    const join = (passphrase: string) => post(server, "/join", { token, name: "Bo", passphrase });
    for (const passphrase of ["short one here", "passwordpassword", "the phone of Bo at home"]) {
      const answer = await join(passphrase);
      expect([passphrase, answer.statusCode, answer.json().errors?.[0].field]).toEqual([passphrase, 400, "passphrase"]);
    }
    // A short name is part of many words by chance.
    expect((await join("about a bottle outside")).statusCode).toBe(200);
  });

  it("is checked by the same rules at the first sign-in and at a reset, whose links stay open", async () => {
    const server = await openTestServer();
    const token = await resetToken(server);
    for (const [passphrase, problem] of bad.slice(0, 4)) {
      const answer = await post(server, "/reset", { token, passphrase });
      expect([passphrase, answer.statusCode]).toEqual([passphrase, 400]);
      expect(answer.json().errors[0].problem).toMatch(problem);
    }
    expect((await post(server, "/reset", { token, passphrase: better })).statusCode).toBe(200);
    const { openFirstSignIn } = await import("../../server/flows/signIn.ts");
    await server.connections.write(async (statements) => {
      await statements.keeper.deleteMany();
    });
    const account = { token: await openFirstSignIn(server.ports), name: "Ada", zone: "Europe/Stockholm" };
    for (const passphrase of ["passwordpassword", "here is Ada at home"]) {
      const refused = await post(server, "/first-sign-in", { ...account, passphrase });
      expect([refused.statusCode, refused.json().errors?.[0].field]).toEqual([400, "passphrase"]);
    }
    expect((await post(server, "/first-sign-in", { ...account, passphrase: better })).statusCode).toBe(200);
  });

  it("takes no more of the server's time when it is long and regular", async () => {
    const server = await openTestServer();
    const time = async (passphrase: string) => {
      const began = performance.now();
      await passphraseProblem(server.ports.guessEstimator, passphrase, "Ada");
      return performance.now() - began;
    };
    const regular = "ab1!x".repeat(40);
    await time(regular); // loads the lists
    const [short, long] = [await time(regular.slice(0, 48)), await time(regular)];
    expect(long).toBeLessThan(2 * short + 50); // the same work; without a bound it takes more than three times as long
    const beyond = { old: first, passphrase: "x".repeat(201) };
    expect((await post(server, "/me/passphrase", beyond, server.keeper)).statusCode).toBe(400);
  });
});

async function resetToken(server: TestServer, name = "Keeper"): Promise<string> {
  const made = await makeReset(server.ports, name);
  if (made.kind !== "made") throw new Error(`expected a link for ${name}, got ${made.kind}`);
  return made.token;
}

describe("the one-time link for a new passphrase", () => {
  it("sets it, ends all sessions of that person and signs this browser in", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const token = await resetToken(server);
    const answer = await post(server, "/reset", { token, passphrase: better });
    expect([answer.statusCode, answer.json()]).toEqual([200, { keeper: { name: "Keeper" } }]);
    expect(await statusOf(server, server.keeper)).toBe(401);
    expect(await statusOf(server, headersOf(answer))).toBe(200);
    expect(await statusOf(server, bo)).toBe(200);
    expect((await signIn(server, first)).statusCode).toBe(401);
    expect((await signIn(server, better)).statusCode).toBe(200);
  });

  it("works once, for an hour, and only the newest of several", async () => {
    const server = await openTestServer();
    const older = await resetToken(server);
    const newer = await resetToken(server);
    expect((await post(server, "/reset", { token: older, passphrase: better })).statusCode).toBe(401);
    expect((await post(server, "/reset", { token: newer, passphrase: better })).statusCode).toBe(200);
    expect((await post(server, "/reset", { token: newer, passphrase: first })).statusCode).toBe(401);
    const late = await resetToken(server);
    server.clock.advance(hours(1));
    expect((await post(server, "/reset", { token: late, passphrase: first })).statusCode).toBe(401);
    expect((await signIn(server, better)).statusCode).toBe(200);
  });

  it("is no longer valid once the passphrase was changed, and is not made for an unknown name", async () => {
    const server = await openTestServer();
    const token = await resetToken(server, "kEEPER"); // typed on a command line
    await post(server, "/me/passphrase", { old: first, passphrase: better }, server.keeper);
    expect((await post(server, "/reset", { token, passphrase: first })).statusCode).toBe(401);
    expect(await makeReset(server.ports, "Cilla")).toEqual({ kind: "noSuchPerson", known: ["Keeper"] });
  });
});

describe("signed-in devices", () => {
  it("are listed with the kind of browser and their last use, and which one is this browser", async () => {
    const server = await openTestServer();
    server.clock.advance(hours(2));
    const phone = headersOf(await signIn(server, first, { "user-agent": firefox }));
    server.clock.advance(minutes(30));
    await statusOf(server, phone);
    const listed = await sessions(server, phone);
    expect(listed).toMatchObject([
      {
        here: true,
        device: "Firefox on Android",
        signedInAt: "2026-01-15T11:00:00.000Z",
        lastUsedAt: "2026-01-15T11:30:00.000Z",
      },
      { here: false, signedInAt: "2026-01-15T09:00:00.000Z" },
    ]);
    expect(JSON.stringify(listed)).not.toContain(server.keeper.cookie?.split("=")[1]?.slice(0, 20));
    expect((await sessions(server, server.keeper)).map(({ here }) => here)).toContain(true);
  });

  it("are ended one by one or all but this, by their own person only", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const [second, third] = [headersOf(await signIn(server, first)), headersOf(await signIn(server, first))];
    const [theirs] = await sessions(server, bo);
    const end = (id: string) => requestAs(server, "DELETE", `/api/v1/me/sessions/${id}`, server.keeper);
    expect((await end(theirs?.id ?? "")).statusCode).toBe(404);
    const ofSecond = (await sessions(server, second)).find(({ here }) => here)?.id ?? "";
    expect((await end(ofSecond)).statusCode).toBe(200);
    expect([await statusOf(server, second), await statusOf(server, third)]).toEqual([401, 200]);
    const left = await requestAs(server, "DELETE", "/api/v1/me/sessions", server.keeper);
    expect(left.json().sessions).toMatchObject([{ here: true }]);
    expect([await statusOf(server, third), await statusOf(server, server.keeper), await statusOf(server, bo)]).toEqual([
      401, 200, 200,
    ]);
  });

  it("end after 30 days without use", async () => {
    const server = await openTestServer();
    for (let visits = 0; visits < 3; visits += 1) {
      server.clock.advance(days(29));
      expect(await statusOf(server, server.keeper)).toBe(200);
    }
    server.clock.advance(days(30));
    expect(await statusOf(server, server.keeper)).toBe(401);
  });

  it("end after 180 days however much they are used", async () => {
    const server = await openTestServer();
    for (let visits = 0; visits < 10; visits += 1) {
      server.clock.advance(days(17.9));
      expect(await statusOf(server, server.keeper)).toBe(200);
    }
    server.clock.advance(days(1));
    expect(await statusOf(server, server.keeper)).toBe(401);
  });
});

describe("deleting one's account", () => {
  const remove = (server: TestServer, headers: Record<string, string>, body: object) =>
    post(server, "/me/remove", body, headers);

  it("asks for the passphrase, and deletes sessions, phones and memberships", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
    await post(server, "/phones", { endpoint: "https://push.example/bo", keys }, bo);
    const wrong = await remove(server, bo, { passphrase: "not this one" });
    expect(wrong.json().errors).toEqual([{ field: "passphrase", problem: "is not correct" }]);
    expect((await remove(server, bo, { passphrase: passphraseOfBo })).statusCode).toBe(204);
    expect(await statusOf(server, bo)).toBe(401);
    expect((await signIn(server, passphraseOfBo, {}, "Bo")).statusCode).toBe(401);
    const { reader } = server.connections;
    const left = [reader.keeper.count(), reader.member.count(), reader.session.count(), reader.phone.count()];
    expect(await Promise.all(left)).toEqual([1, 1, 1, 0]);
  });

  it("warns the last keeper of a yard what is deleted, and changes nothing until they agree", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    await server.addFeeder();
    const refused = await remove(server, server.keeper, { passphrase: first });
    expect(refused.statusCode).toBe(409);
    expect(refused.json().detail).toBe(
      "You are the only keeper of My yard. With your account that yard is deleted, with 1 feeder and its whole record, also for 1 other person. Make somebody else a keeper first, or agree to that.",
    );
    expect(await statusOf(server, server.keeper)).toBe(200);
    expect((await remove(server, server.keeper, { passphrase: first, withYards: true })).statusCode).toBe(204);
    expect([await statusOf(server, server.keeper), await statusOf(server, bo)]).toEqual([401, 401]);
    const { reader } = server.connections;
    expect(await Promise.all([reader.yard.count(), reader.feeder.count(), reader.keeper.count()])).toEqual([0, 0, 0]);
  });

  it("doesn't delete a yard that has another keeper", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "keeper");
    await server.addFeeder();
    expect((await remove(server, server.keeper, { passphrase: first })).statusCode).toBe(204);
    const home = (await requestAs(server, "GET", "/api/v1/home", bo)).json();
    expect(home.yards).toMatchObject([{ id: server.yard, peopleCount: 1, feeders: [{ name: "Rowan" }] }]);
  });
});
const passphraseOfBo = "three grey birds at breakfast";

describe("a person who was removed", () => {
  it("can't sign in any more, and the sessions that were open have ended", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const id = (await requestAs(server, "GET", "/api/v1/me", bo)).json().id;
    expect(
      (await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${id}`, server.keeper)).statusCode,
    ).toBe(204);
    expect(await statusOf(server, bo)).toBe(401);
    expect((await signIn(server, passphraseOfBo, {}, "Bo")).statusCode).toBe(401);
  });

  it("keeps their account while they belong to another yard", async () => {
    const server = await openTestServer();
    const second = (
      await post(server, "/yards", { name: "Alder Croft", zone: "Europe/Stockholm" }, server.keeper)
    ).json().yard.id;
    const bo = await joinByInvite(server, "Bo", "helper");
    const { token } = (await post(server, `/yards/${second}/invites`, { role: "helper" }, server.keeper)).json();
    await post(server, "/join", { token }, bo);
    const id = (await requestAs(server, "GET", "/api/v1/me", bo)).json().id;
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${id}`, server.keeper);
    expect((await requestAs(server, "GET", "/api/v1/home", bo)).json().yards).toMatchObject([{ id: second }]);
  });
});
