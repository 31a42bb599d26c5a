import { describe, expect, it } from "vitest";
import type { SessionsView } from "../../server/contract/api.ts";
import { days, hours, minutes } from "../../server/domain/instant.ts";
import { makeReset } from "../../server/flows/accounts.ts";
import { passphraseProblem } from "../../server/flows/passphrase.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** The passphrase with which `openHouse` claims the house as "Keeper". */
const first = "birds before breakfast";
const better = "seven quiet winters outside";
const firefox = "Mozilla/5.0 (Android 14; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0";

const post = (house: TestServer, url: string, payload: object, headers: Record<string, string> = {}) =>
  requestAs(house, "POST", `/api/v1${url}`, headers, payload);
const signIn = (house: TestServer, passphrase: string, headers: Record<string, string> = {}, name = "Keeper") =>
  post(house, "/session", { name, passphrase }, headers);
const headersOf = (answer: { readonly headers: Record<string, unknown> }) => ({
  cookie: String(answer.headers["set-cookie"]).split(";")[0] as string,
  "x-pieward": "1",
});
const statusOf = async (house: TestServer, headers: Record<string, string>) =>
  (await requestAs(house, "GET", "/api/v1/me", headers)).statusCode;
const sessions = async (house: TestServer, headers = house.keeper) =>
  ((await requestAs(house, "GET", "/api/v1/me/sessions", headers)).json() as SessionsView).sessions;

describe("changing the passphrase", () => {
  it("asks for the old one, ends all other sessions and keeps this one", async () => {
    const house = await openTestServer();
    const other = headersOf(await signIn(house, first));
    const wrong = await post(
      house,
      "/me/passphrase",
      { old: "cats before breakfast", passphrase: better },
      house.keeper,
    );
    expect([wrong.statusCode, wrong.json().errors]).toEqual([
      400,
      [{ field: "old", problem: "is not correct" }],
    ]);
    expect(await statusOf(house, other)).toBe(200);

    const right = await post(house, "/me/passphrase", { old: first, passphrase: better }, house.keeper);
    expect([right.statusCode, right.body]).toEqual([204, ""]);
    expect(await statusOf(house, other)).toBe(401);
    expect(await statusOf(house, house.keeper)).toBe(200);
    expect((await signIn(house, first)).statusCode).toBe(401);
    expect((await signIn(house, better)).statusCode).toBe(200);
  });

  it("is done by one of two at once, and the other one is told that its old passphrase is none", async () => {
    const house = await openTestServer();
    const change = (passphrase: string) => post(house, "/me/passphrase", { old: first, passphrase }, house.keeper);
    const answers = await Promise.all([change(better), change("nine loud summers inside")]);
    expect(answers.map(({ statusCode }) => statusCode).sort()).toEqual([204, 400]);
  });

  it("can be tried ten times a minute, so that nobody guesses the old one with an open browser", async () => {
    const house = await openTestServer();
    const guess = () => post(house, "/me/passphrase", { old: "a guess", passphrase: better }, house.keeper);
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
    const house = await openTestServer();
    for (const [passphrase, problem] of bad) {
      const answer = await post(house, "/me/passphrase", { old: first, passphrase }, house.keeper);
      expect([passphrase, answer.statusCode]).toEqual([passphrase, 400]);
      expect(answer.json().errors).toEqual([{ field: "passphrase", problem: expect.stringMatching(problem) }]);
    }
    expect((await signIn(house, first)).statusCode).toBe(200);
  });

  it("is judged by the same rules when somebody joins, and the invitation stays open", async () => {
    const house = await openTestServer();
    const invite = await post(house, `/yards/${house.yard}/invites`, { role: "helper" }, house.keeper);
    const { token } = invite.json();
    const join = (passphrase: string) => post(house, "/join", { token, name: "Bo", passphrase });
    for (const passphrase of ["short one here", "passwordpassword", "the phone of Bo at home"]) {
      const answer = await join(passphrase);
      expect([passphrase, answer.statusCode, answer.json().errors?.[0].field]).toEqual([passphrase, 400, "passphrase"]);
    }
    // The letters of a short name are in many words, and say nothing there.
    expect((await join("about a bottle outside")).statusCode).toBe(200);
  });

  it("is judged by the same rules at the first claim and at a reset, whose links stay open", async () => {
    const house = await openTestServer();
    const token = await resetToken(house);
    for (const [passphrase, problem] of bad.slice(0, 4)) {
      const answer = await post(house, "/reset", { token, passphrase });
      expect([passphrase, answer.statusCode]).toEqual([passphrase, 400]);
      expect(answer.json().errors[0].problem).toMatch(problem);
    }
    expect((await post(house, "/reset", { token, passphrase: better })).statusCode).toBe(200);
    const { openFirstSignIn } = await import("../../server/flows/signIn.ts");
    await house.connections.write(async (statements) => {
      await statements.keeper.deleteMany();
    });
    const claim = { token: await openFirstSignIn(house.ports), name: "Ada", zone: "Europe/Stockholm" };
    for (const passphrase of ["passwordpassword", "here is Ada at home"]) {
      const refused = await post(house, "/first-sign-in", { ...claim, passphrase });
      expect([refused.statusCode, refused.json().errors?.[0].field]).toEqual([400, "passphrase"]);
    }
    expect((await post(house, "/first-sign-in", { ...claim, passphrase: better })).statusCode).toBe(200);
  });

  it("takes no more of the server's time when it is long and regular", async () => {
    const house = await openTestServer();
    const time = async (passphrase: string) => {
      const began = performance.now();
      await passphraseProblem(house.ports.guessEstimator, passphrase, "Ada");
      return performance.now() - began;
    };
    const regular = "ab1!x".repeat(40);
    await time(regular); // loads the lists
    const [short, long] = [await time(regular.slice(0, 48)), await time(regular)];
    expect(long).toBeLessThan(2 * short + 50); // it is the same work; without a bound more than three times as much
    const beyond = { old: first, passphrase: "x".repeat(201) };
    expect((await post(house, "/me/passphrase", beyond, house.keeper)).statusCode).toBe(400);
  });
});

async function resetToken(house: TestServer, name = "Keeper"): Promise<string> {
  const made = await makeReset(house.ports, name);
  if (made.kind !== "made") throw new Error(`expected a link for ${name}, got ${made.kind}`);
  return made.token;
}

describe("the one-time link for a new passphrase", () => {
  it("sets it, ends all sessions of that person and signs this browser in", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const token = await resetToken(house);
    const answer = await post(house, "/reset", { token, passphrase: better });
    expect([answer.statusCode, answer.json()]).toEqual([200, { keeper: { name: "Keeper" } }]);
    expect(await statusOf(house, house.keeper)).toBe(401);
    expect(await statusOf(house, headersOf(answer))).toBe(200);
    expect(await statusOf(house, bo)).toBe(200);
    expect((await signIn(house, first)).statusCode).toBe(401);
    expect((await signIn(house, better)).statusCode).toBe(200);
  });

  it("works once, for an hour, and only the newest of several", async () => {
    const house = await openTestServer();
    const older = await resetToken(house);
    const newer = await resetToken(house);
    expect((await post(house, "/reset", { token: older, passphrase: better })).statusCode).toBe(401);
    expect((await post(house, "/reset", { token: newer, passphrase: better })).statusCode).toBe(200);
    expect((await post(house, "/reset", { token: newer, passphrase: first })).statusCode).toBe(401);
    const late = await resetToken(house);
    house.clock.advance(hours(1));
    expect((await post(house, "/reset", { token: late, passphrase: first })).statusCode).toBe(401);
    expect((await signIn(house, better)).statusCode).toBe(200);
  });

  it("is no longer valid once the passphrase was changed, and is made for nobody who isn't there", async () => {
    const house = await openTestServer();
    const token = await resetToken(house, "kEEPER"); // typed on a command line
    await post(house, "/me/passphrase", { old: first, passphrase: better }, house.keeper);
    expect((await post(house, "/reset", { token, passphrase: first })).statusCode).toBe(401);
    expect(await makeReset(house.ports, "Cilla")).toEqual({ kind: "noSuchPerson", known: ["Keeper"] });
  });
});

describe("signed-in devices", () => {
  it("are listed with the kind of browser and their last use, and which one asks", async () => {
    const house = await openTestServer();
    house.clock.advance(hours(2));
    const phone = headersOf(await signIn(house, first, { "user-agent": firefox }));
    house.clock.advance(minutes(30));
    await statusOf(house, phone);
    const listed = await sessions(house, phone);
    expect(listed).toMatchObject([
      {
        here: true,
        device: "Firefox on Android",
        signedInAt: "2026-01-15T11:00:00.000Z",
        lastUsedAt: "2026-01-15T11:30:00.000Z",
      },
      { here: false, signedInAt: "2026-01-15T09:00:00.000Z" },
    ]);
    expect(JSON.stringify(listed)).not.toContain(house.keeper.cookie?.split("=")[1]?.slice(0, 20));
    expect((await sessions(house, house.keeper)).map(({ here }) => here)).toContain(true);
  });

  it("are ended one by one or all but this, by their own person only", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const [second, third] = [headersOf(await signIn(house, first)), headersOf(await signIn(house, first))];
    const [theirs] = await sessions(house, bo);
    const end = (id: string) => requestAs(house, "DELETE", `/api/v1/me/sessions/${id}`, house.keeper);
    expect((await end(theirs?.id ?? "")).statusCode).toBe(404);
    const ofSecond = (await sessions(house, second)).find(({ here }) => here)?.id ?? "";
    expect((await end(ofSecond)).statusCode).toBe(200);
    expect([await statusOf(house, second), await statusOf(house, third)]).toEqual([401, 200]);
    const left = await requestAs(house, "DELETE", "/api/v1/me/sessions", house.keeper);
    expect(left.json().sessions).toMatchObject([{ here: true }]);
    expect([await statusOf(house, third), await statusOf(house, house.keeper), await statusOf(house, bo)]).toEqual([
      401, 200, 200,
    ]);
  });

  it("end after 30 days without use", async () => {
    const house = await openTestServer();
    for (let visits = 0; visits < 3; visits += 1) {
      house.clock.advance(days(29));
      expect(await statusOf(house, house.keeper)).toBe(200);
    }
    house.clock.advance(days(30));
    expect(await statusOf(house, house.keeper)).toBe(401);
  });

  it("end after 180 days however much they are used", async () => {
    const house = await openTestServer();
    for (let visits = 0; visits < 10; visits += 1) {
      house.clock.advance(days(17.9));
      expect(await statusOf(house, house.keeper)).toBe(200);
    }
    house.clock.advance(days(1));
    expect(await statusOf(house, house.keeper)).toBe(401);
  });
});

describe("deleting one's account", () => {
  const remove = (house: TestServer, headers: Record<string, string>, said: object) =>
    post(house, "/me/remove", said, headers);

  it("asks for the passphrase, and takes sessions, phones and membership along", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
    await post(house, "/phones", { endpoint: "https://push.example/bo", keys }, bo);
    const wrong = await remove(house, bo, { passphrase: "not this one" });
    expect(wrong.json().errors).toEqual([{ field: "passphrase", problem: "is not correct" }]);
    expect((await remove(house, bo, { passphrase: passphraseOfBo })).statusCode).toBe(204);
    expect(await statusOf(house, bo)).toBe(401);
    expect((await signIn(house, passphraseOfBo, {}, "Bo")).statusCode).toBe(401);
    const { reader } = house.connections;
    const left = [reader.keeper.count(), reader.member.count(), reader.session.count(), reader.phone.count()];
    expect(await Promise.all(left)).toEqual([1, 1, 1, 0]);
  });

  it("tells the last keeper of a yard what that means, and changes nothing until they agree", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    await house.addFeeder();
    const told = await remove(house, house.keeper, { passphrase: first });
    expect(told.statusCode).toBe(409);
    expect(told.json().detail).toBe(
      "You are the only keeper of My yard. With your account that yard is deleted, with 1 feeder and its whole record, also for 1 other person. Make somebody else a keeper first, or agree to that.",
    );
    expect(await statusOf(house, house.keeper)).toBe(200);
    expect((await remove(house, house.keeper, { passphrase: first, withYards: true })).statusCode).toBe(204);
    expect([await statusOf(house, house.keeper), await statusOf(house, bo)]).toEqual([401, 401]);
    const { reader } = house.connections;
    expect(await Promise.all([reader.yard.count(), reader.feeder.count(), reader.keeper.count()])).toEqual([0, 0, 0]);
  });

  it("leaves a yard alone that somebody else keeps too", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "keeper");
    await house.addFeeder();
    expect((await remove(house, house.keeper, { passphrase: first })).statusCode).toBe(204);
    const home = (await requestAs(house, "GET", "/api/v1/home", bo)).json();
    expect(home.yards).toMatchObject([{ id: house.yard, peopleCount: 1, feeders: [{ name: "Rowan" }] }]);
  });
});
const passphraseOfBo = "three grey birds at breakfast";

describe("a person who was removed", () => {
  it("can't sign in any more, and the sessions that were open have ended", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const id = (await requestAs(house, "GET", "/api/v1/me", bo)).json().id;
    expect(
      (await requestAs(house, "DELETE", `/api/v1/yards/${house.yard}/people/${id}`, house.keeper)).statusCode,
    ).toBe(204);
    expect(await statusOf(house, bo)).toBe(401);
    expect((await signIn(house, passphraseOfBo, {}, "Bo")).statusCode).toBe(401);
  });

  it("keeps their account while they belong to another yard", async () => {
    const house = await openTestServer();
    const second = (await post(house, "/yards", { name: "Alder Croft", zone: "Europe/Stockholm" }, house.keeper)).json()
      .yard.id;
    const bo = await joinByInvite(house, "Bo", "helper");
    const { token } = (await post(house, `/yards/${second}/invites`, { role: "helper" }, house.keeper)).json();
    await post(house, "/join", { token }, bo);
    const id = (await requestAs(house, "GET", "/api/v1/me", bo)).json().id;
    await requestAs(house, "DELETE", `/api/v1/yards/${house.yard}/people/${id}`, house.keeper);
    expect((await requestAs(house, "GET", "/api/v1/home", bo)).json().yards).toMatchObject([{ id: second }]);
  });
});
