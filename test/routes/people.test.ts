import { describe, expect, it } from "vitest";
import type { HomeView, InviteView, PeopleView } from "../../server/contract/api.ts";
import { days } from "../../server/domain/instant.ts";
import { addPhone, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const people = async (server: TestServer, headers = server.keeper): Promise<PeopleView> =>
  (await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, headers)).json();
const me = async (server: TestServer, headers = server.keeper) =>
  ((await people(server, headers)).people.find(({ you }) => you) as PeopleView["people"][number]).id;
const personUrl = (server: TestServer, id: string) => `/api/v1/yards/${server.yard}/people/${id}`;

describe("joining a yard", () => {
  it("needs a token that is shown once, a name and a passphrase; and works once", async () => {
    const server = await openTestServer();
    const answer = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, {
      role: "helper",
    });
    expect(answer.statusCode).toBe(201);
    const { token, expiresAt } = answer.json() as InviteView;
    expect(Date.parse(expiresAt) - server.clock.now()).toBe(days(7));
    expect((await people(server)).invites).toMatchObject([{ role: "helper", expiresAt }]);

    const bo = { token, name: "Bo", passphrase: "birds after breakfast" };
    const joined = await requestAs(server, "POST", "/api/v1/join", {}, bo);
    expect(joined.json()).toEqual({ keeper: { name: "Bo" }, yard: { id: server.yard, name: "My yard" } });
    const cookie = { cookie: String(joined.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
    const home = (await requestAs(server, "GET", "/api/v1/home", cookie)).json() as HomeView;
    expect(home.yards).toMatchObject([{ id: server.yard, role: "helper", peopleCount: 2 }]);
    expect((await people(server)).invites).toEqual([]);
    expect((await requestAs(server, "POST", "/api/v1/join", {}, { ...bo, name: "Cilla" })).statusCode).toBe(404);
    expect((await people(server)).people.map(({ name, escalationOrder }) => `${name} ${escalationOrder}`)).toEqual([
      "Keeper 1",
      "Bo 2",
    ]);
  });

  it("is invalid after seven days, and with a guessed token", async () => {
    const server = await openTestServer();
    const { token } = (
      await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, { role: "keeper" })
    ).json();
    const bo = { name: "Bo", passphrase: "birds after breakfast" };
    expect((await requestAs(server, "POST", "/api/v1/join", {}, { ...bo, token: `${token}x` })).statusCode).toBe(404);
    server.clock.advance(days(7));
    expect((await requestAs(server, "POST", "/api/v1/join", {}, { ...bo, token })).statusCode).toBe(404);
    expect((await people(server)).invites).toEqual([]);
  });

  it("needs the token alone of a signed-in person, and leaves an invitation open that would change nothing", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const invite = async () =>
      (
        await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, { role: "keeper" })
      ).json() as InviteView;
    const { token } = await invite();
    expect((await requestAs(server, "POST", "/api/v1/join", server.keeper, { token })).statusCode).toBe(200); // is its keeper already
    expect((await people(server)).invites).toHaveLength(1);
    expect((await requestAs(server, "POST", "/api/v1/join", bo, { token })).statusCode).toBe(200);
    expect((await people(server, bo)).people.find(({ you }) => you)).toMatchObject({
      name: "Bo",
      role: "keeper",
      escalationOrder: 2,
    });
    expect((await people(server)).invites).toEqual([]);
    // Another site's page may make this browser send its cookie, but not our header.
    const { token: next } = await invite();
    const withoutHeader = await requestAs(
      server,
      "POST",
      "/api/v1/join",
      { cookie: bo.cookie as string },
      { token: next },
    );
    expect(withoutHeader.json().errors).toEqual([{ field: "name", problem: "enter a name" }]);
  });

  it("refuses a name that is somebody's by field, whether its passphrase is right or wrong, and leaves the invitation open", async () => {
    const server = await openTestServer();
    await joinByInvite(server, "Bo", "helper");
    const answer = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, {
      role: "keeper",
    });
    const body = { token: answer.json().token, name: "Bo", passphrase: "somebody else's words" };
    const refused = await requestAs(server, "POST", "/api/v1/join", {}, body);
    expect(refused.statusCode).toBe(400);
    expect(refused.json().errors[0].field).toBe("name");
    const right = await requestAs(
      server,
      "POST",
      "/api/v1/join",
      {},
      { ...body, passphrase: "three grey birds at breakfast" },
    );
    expect([right.statusCode, right.body]).toEqual([refused.statusCode, refused.body]);
    // Bo signs in and opens the same link.
    const signIn = { name: "Bo", passphrase: "three grey birds at breakfast" };
    const { headers } = await requestAs(server, "POST", "/api/v1/session", {}, signIn);
    const bo = { cookie: String(headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
    expect((await requestAs(server, "POST", "/api/v1/join", bo, { token: body.token })).statusCode).toBe(200);
    expect((await people(server)).people).toHaveLength(2);
  });

  it("lets one of two in who join at once under one new name, and names the field to the other, whose invitation stays", async () => {
    const server = await openTestServer();
    const links = [];
    for (let n = 0; n < 2; n += 1) {
      const made = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, {
        role: "helper",
      });
      links.push(made.json().token);
    }
    const both = links.map((token, n) =>
      requestAs(server, "POST", "/api/v1/join", {}, { token, name: "Cilla", passphrase: `the window is open ${n}` }),
    );
    const answers = (await Promise.all(both)).sort((one, other) => one.statusCode - other.statusCode);
    expect(answers.map(({ statusCode }) => statusCode)).toEqual([200, 400]);
    expect(answers[1]?.json().errors[0].field).toBe("name");
    expect(await people(server)).toMatchObject({ people: [{}, { name: "Cilla" }], invites: [{}] });
  });
});

describe("a person", () => {
  it("sets their own quiet hours and channels, and nobody else sets them", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const [own, other] = [personUrl(server, await me(server, bo)), personUrl(server, await me(server))];
    const wish = { quietHours: { from: "22:00", to: "06:30" }, urgentBreaks: false, digestBy: "both" };
    const changed = await requestAs(server, "PATCH", own, bo, wish);
    expect((changed.json() as PeopleView).people.find(({ you }) => you)).toMatchObject(wish);
    expect((await requestAs(server, "PATCH", own, bo, { quietHours: null })).json().people[1].quietHours).toBeNull();
    expect((await requestAs(server, "PATCH", other, bo, wish)).statusCode).toBe(403);
    expect((await requestAs(server, "PATCH", own, server.keeper, wish)).statusCode).toBe(403); // not even a keeper
    const wrong = await requestAs(server, "PATCH", own, bo, { quietHours: { from: "25:00", to: "06:30" } });
    expect(wrong.json().errors[0].field).toBe("quietHours.from");
  });

  it("gets an escalation order and a role from keepers only, and a yard never loses its last keeper", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const [own, other] = [personUrl(server, await me(server, bo)), personUrl(server, await me(server))];
    expect((await requestAs(server, "PATCH", own, bo, { role: "keeper" })).statusCode).toBe(403);
    expect((await requestAs(server, "PATCH", other, server.keeper, { role: "helper" })).statusCode).toBe(409);
    expect((await requestAs(server, "DELETE", other, server.keeper)).statusCode).toBe(409);
    await requestAs(server, "PATCH", own, server.keeper, { role: "keeper", escalationOrder: 1 });
    expect((await people(server, bo)).people.map(({ escalationOrder, role }) => `${escalationOrder} ${role}`)).toEqual([
      "1 keeper",
      "1 keeper",
    ]);
    const stepped = (await requestAs(server, "PATCH", other, server.keeper, { role: "helper" })).json() as PeopleView;
    const roles = Object.fromEntries(stepped.people.map(({ name, role }) => [name, role])); // they have the same escalation order
    expect(roles).toEqual({ Keeper: "helper", Bo: "keeper" });
  });

  it("leaves by themselves or is removed by a keeper, and gets nothing of the yard from then on", async () => {
    const server = await openTestServer();
    const [bo, cilla] = [await joinByInvite(server, "Bo", "helper"), await joinByInvite(server, "Cilla", "helper")];
    const [ofBo, ofCilla] = [personUrl(server, await me(server, bo)), personUrl(server, await me(server, cilla))];
    expect((await requestAs(server, "DELETE", ofCilla, bo)).statusCode).toBe(403);
    expect((await requestAs(server, "DELETE", ofBo, bo)).statusCode).toBe(204);
    expect((await requestAs(server, "DELETE", ofCilla, server.keeper)).statusCode).toBe(204);
    expect((await requestAs(server, "DELETE", ofCilla, server.keeper)).statusCode).toBe(404);
    expect((await people(server)).people.map(({ name }) => name)).toEqual(["Keeper"]);
    // It was their last yard: they have no account any more.
    expect((await requestAs(server, "GET", "/api/v1/home", bo)).statusCode).toBe(401);
    expect((await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, bo)).statusCode).toBe(401);
  });

  it("is shown to others without their e-mail address, and with how they can be reached", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const changed = await requestAs(server, "PATCH", "/api/v1/me", bo, { email: "bo@alder.example" });
    expect(changed.json()).toMatchObject({ name: "Bo", email: "bo@alder.example", canEmail: true });
    await addPhone(server, server.keeper, "pocket");
    const shown = await people(server);
    expect(JSON.stringify(shown)).not.toContain("alder.example");
    expect(shown.people).toMatchObject([
      { name: "Keeper", you: true, phones: 1, hasEmail: false, reachability: { kind: "unconfirmed" } },
      { name: "Bo", you: false, phones: 0, hasEmail: true, reachability: { kind: "unconfirmed" } },
    ]);
    const wrong = await requestAs(server, "PATCH", "/api/v1/me", bo, { email: "bo@alder.example, eve@alder.example" });
    expect(wrong.json().errors).toEqual([{ field: "email", problem: "must be an address such as ada@example.org" }]);
    expect((await requestAs(server, "PATCH", "/api/v1/me", bo, { email: null })).json().email).toBeNull();
  });

  it("sends a test e-mail, and gets the mail server's answer as text", async () => {
    const server = await openTestServer();
    expect((await requestAs(server, "POST", "/api/v1/me/email/test", server.keeper)).statusCode).toBe(409);
    await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: "ada@alder.example" });
    expect((await requestAs(server, "POST", "/api/v1/me/email/test", server.keeper)).json().outcome).toBe("accepted");
    expect(server.email.sent).toMatchObject([{ to: "ada@alder.example", subject: "Pieward: a test" }]);
    server.email.answer = { kind: "refused", text: "550 no such mailbox" };
    const refused = (await requestAs(server, "POST", "/api/v1/me/email/test", server.keeper)).json();
    expect(refused).toEqual({ outcome: "refused", text: "Not accepted: 550 no such mailbox" });
    expect((await requestAs(server, "POST", "/api/v1/me/email/test", server.keeper)).statusCode).toBe(429);
  });
});
