import { describe, expect, it } from "vitest";
import type { HomeView, InviteView, PeopleView } from "../../server/contract/api.ts";
import { days } from "../../server/domain/instant.ts";
import { addPhone, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const people = async (house: TestServer, headers = house.keeper): Promise<PeopleView> =>
  (await requestAs(house, "GET", `/api/v1/yards/${house.yard}/people`, headers)).json();
const me = async (house: TestServer, headers = house.keeper) =>
  ((await people(house, headers)).people.find(({ you }) => you) as PeopleView["people"][number]).id;
const personUrl = (house: TestServer, id: string) => `/api/v1/yards/${house.yard}/people/${id}`;

describe("joining a yard", () => {
  it("takes a token that is shown once, a name and a passphrase; and works once", async () => {
    const house = await openTestServer();
    const answer = await requestAs(house, "POST", `/api/v1/yards/${house.yard}/invites`, house.keeper, {
      role: "helper",
    });
    expect(answer.statusCode).toBe(201);
    const { token, expiresAt } = answer.json() as InviteView;
    expect(Date.parse(expiresAt) - house.clock.now()).toBe(days(7));
    expect((await people(house)).invites).toMatchObject([{ role: "helper", expiresAt }]);

    const bo = { token, name: "Bo", passphrase: "birds after breakfast" };
    const joined = await requestAs(house, "POST", "/api/v1/join", {}, bo);
    expect(joined.json()).toEqual({ keeper: { name: "Bo" }, yard: { id: house.yard, name: "My yard" } });
    const cookie = { cookie: String(joined.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
    const home = (await requestAs(house, "GET", "/api/v1/home", cookie)).json() as HomeView;
    expect(home.yards).toMatchObject([{ id: house.yard, role: "helper", peopleCount: 2 }]);
    expect((await people(house)).invites).toEqual([]);
    expect((await requestAs(house, "POST", "/api/v1/join", {}, { ...bo, name: "Cilla" })).statusCode).toBe(404);
    expect((await people(house)).people.map(({ name, escalationOrder }) => `${name} ${escalationOrder}`)).toEqual([
      "Keeper 1",
      "Bo 2",
    ]);
  });

  it("is over after seven days, and unknown to whoever guesses", async () => {
    const house = await openTestServer();
    const { token } = (
      await requestAs(house, "POST", `/api/v1/yards/${house.yard}/invites`, house.keeper, { role: "keeper" })
    ).json();
    const bo = { name: "Bo", passphrase: "birds after breakfast" };
    expect((await requestAs(house, "POST", "/api/v1/join", {}, { ...bo, token: `${token}x` })).statusCode).toBe(404);
    house.clock.advance(days(7));
    expect((await requestAs(house, "POST", "/api/v1/join", {}, { ...bo, token })).statusCode).toBe(404);
    expect((await people(house)).invites).toEqual([]);
  });

  it("needs the token alone of whoever is signed in, and leaves an invitation open that would change nothing", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const invite = async () =>
      (
        await requestAs(house, "POST", `/api/v1/yards/${house.yard}/invites`, house.keeper, { role: "keeper" })
      ).json() as InviteView;
    const { token } = await invite();
    expect((await requestAs(house, "POST", "/api/v1/join", house.keeper, { token })).statusCode).toBe(200); // keeps it already
    expect((await people(house)).invites).toHaveLength(1);
    expect((await requestAs(house, "POST", "/api/v1/join", bo, { token })).statusCode).toBe(200);
    expect((await people(house, bo)).people.find(({ you }) => you)).toMatchObject({
      name: "Bo",
      role: "keeper",
      escalationOrder: 2,
    });
    expect((await people(house)).invites).toEqual([]);
    // Another site's page may make this browser send its cookie, but not our header.
    const { token: next } = await invite();
    const stranger = await requestAs(house, "POST", "/api/v1/join", { cookie: bo.cookie as string }, { token: next });
    expect(stranger.json().errors).toEqual([{ field: "name", problem: "enter a name" }]);
  });

  it("refuses a name that is somebody's by field, whether its passphrase is right or wrong, and keeps the invitation", async () => {
    const house = await openTestServer();
    await joinByInvite(house, "Bo", "helper");
    const answer = await requestAs(house, "POST", `/api/v1/yards/${house.yard}/invites`, house.keeper, {
      role: "keeper",
    });
    const said = { token: answer.json().token, name: "Bo", passphrase: "somebody else's words" };
    const refused = await requestAs(house, "POST", "/api/v1/join", {}, said);
    expect(refused.statusCode).toBe(400);
    expect(refused.json().errors[0].field).toBe("name");
    const right = await requestAs(
      house,
      "POST",
      "/api/v1/join",
      {},
      { ...said, passphrase: "three grey birds at breakfast" },
    );
    expect([right.statusCode, right.body]).toEqual([refused.statusCode, refused.body]);
    // Bo signs in and opens the same link.
    const signIn = { name: "Bo", passphrase: "three grey birds at breakfast" };
    const { headers } = await requestAs(house, "POST", "/api/v1/session", {}, signIn);
    const bo = { cookie: String(headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
    expect((await requestAs(house, "POST", "/api/v1/join", bo, { token: said.token })).statusCode).toBe(200);
    expect((await people(house)).people).toHaveLength(2);
  });

  it("lets one of two in who join at once under one new name, and names the field to the other, whose invitation stays", async () => {
    const house = await openTestServer();
    const links = [];
    for (let n = 0; n < 2; n += 1) {
      const made = await requestAs(house, "POST", `/api/v1/yards/${house.yard}/invites`, house.keeper, {
        role: "helper",
      });
      links.push(made.json().token);
    }
    const both = links.map((token, n) =>
      requestAs(house, "POST", "/api/v1/join", {}, { token, name: "Cilla", passphrase: `the window is open ${n}` }),
    );
    const answers = (await Promise.all(both)).sort((one, other) => one.statusCode - other.statusCode);
    expect(answers.map(({ statusCode }) => statusCode)).toEqual([200, 400]);
    expect(answers[1]?.json().errors[0].field).toBe("name");
    expect(await people(house)).toMatchObject({ people: [{}, { name: "Cilla" }], invites: [{}] });
  });
});

describe("a person", () => {
  it("says their own quiet hours and ways of being told, and nobody says them for them", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const [own, other] = [personUrl(house, await me(house, bo)), personUrl(house, await me(house))];
    const wish = { quietHours: { from: "22:00", to: "06:30" }, urgentBreaks: false, digestBy: "both" };
    const changed = await requestAs(house, "PATCH", own, bo, wish);
    expect((changed.json() as PeopleView).people.find(({ you }) => you)).toMatchObject(wish);
    expect((await requestAs(house, "PATCH", own, bo, { quietHours: null })).json().people[1].quietHours).toBeNull();
    expect((await requestAs(house, "PATCH", other, bo, wish)).statusCode).toBe(403);
    expect((await requestAs(house, "PATCH", own, house.keeper, wish)).statusCode).toBe(403); // not even a keeper
    const wrong = await requestAs(house, "PATCH", own, bo, { quietHours: { from: "25:00", to: "06:30" } });
    expect(wrong.json().errors[0].field).toBe("quietHours.from");
  });

  it("is given a turn and a role by keepers only; and a yard never loses its last keeper", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const [own, other] = [personUrl(house, await me(house, bo)), personUrl(house, await me(house))];
    expect((await requestAs(house, "PATCH", own, bo, { role: "keeper" })).statusCode).toBe(403);
    expect((await requestAs(house, "PATCH", other, house.keeper, { role: "helper" })).statusCode).toBe(409);
    expect((await requestAs(house, "DELETE", other, house.keeper)).statusCode).toBe(409);
    await requestAs(house, "PATCH", own, house.keeper, { role: "keeper", escalationOrder: 1 });
    expect((await people(house, bo)).people.map(({ escalationOrder, role }) => `${escalationOrder} ${role}`)).toEqual([
      "1 keeper",
      "1 keeper",
    ]);
    const stepped = (await requestAs(house, "PATCH", other, house.keeper, { role: "helper" })).json() as PeopleView;
    const roles = Object.fromEntries(stepped.people.map(({ name, role }) => [name, role])); // they share a turn
    expect(roles).toEqual({ Keeper: "helper", Bo: "keeper" });
  });

  it("leaves by themselves or is removed by a keeper, and sees and hears nothing of the yard from then on", async () => {
    const house = await openTestServer();
    const [bo, cilla] = [await joinByInvite(house, "Bo", "helper"), await joinByInvite(house, "Cilla", "helper")];
    const [ofBo, ofCilla] = [personUrl(house, await me(house, bo)), personUrl(house, await me(house, cilla))];
    expect((await requestAs(house, "DELETE", ofCilla, bo)).statusCode).toBe(403);
    expect((await requestAs(house, "DELETE", ofBo, bo)).statusCode).toBe(204);
    expect((await requestAs(house, "DELETE", ofCilla, house.keeper)).statusCode).toBe(204);
    expect((await requestAs(house, "DELETE", ofCilla, house.keeper)).statusCode).toBe(404);
    expect((await people(house)).people.map(({ name }) => name)).toEqual(["Keeper"]);
    // It was their last yard: they have no account any more.
    expect((await requestAs(house, "GET", "/api/v1/home", bo)).statusCode).toBe(401);
    expect((await requestAs(house, "GET", `/api/v1/yards/${house.yard}/people`, bo)).statusCode).toBe(401);
  });

  it("is shown to others without their mail address, and with how they can be reached", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    const mail = await requestAs(house, "PATCH", "/api/v1/me", bo, { email: "bo@alder.example" });
    expect(mail.json()).toMatchObject({ name: "Bo", email: "bo@alder.example", canEmail: true });
    await addPhone(house, house.keeper, "pocket");
    const shown = await people(house);
    expect(JSON.stringify(shown)).not.toContain("alder.example");
    expect(shown.people).toMatchObject([
      { name: "Keeper", you: true, phones: 1, hasEmail: false, reachability: { kind: "unproved" } },
      { name: "Bo", you: false, phones: 0, hasEmail: true, reachability: { kind: "unproved" } },
    ]);
    const wrong = await requestAs(house, "PATCH", "/api/v1/me", bo, { email: "bo@alder.example, eve@alder.example" });
    expect(wrong.json().errors).toEqual([{ field: "email", problem: "must be an address such as ada@example.org" }]);
    expect((await requestAs(house, "PATCH", "/api/v1/me", bo, { email: null })).json().email).toBeNull();
  });

  it("tries their letterbox, and hears in words what the mail server said", async () => {
    const house = await openTestServer();
    expect((await requestAs(house, "POST", "/api/v1/me/email/test", house.keeper)).statusCode).toBe(409);
    await requestAs(house, "PATCH", "/api/v1/me", house.keeper, { email: "ada@alder.example" });
    expect((await requestAs(house, "POST", "/api/v1/me/email/test", house.keeper)).json().outcome).toBe("accepted");
    expect(house.mail.sent).toMatchObject([{ to: "ada@alder.example", subject: "Pieward: a test" }]);
    house.mail.answer = { kind: "refused", text: "550 no such mailbox" };
    const refused = (await requestAs(house, "POST", "/api/v1/me/email/test", house.keeper)).json();
    expect(refused).toEqual({ outcome: "refused", text: "Not accepted: 550 no such mailbox" });
    expect((await requestAs(house, "POST", "/api/v1/me/email/test", house.keeper)).statusCode).toBe(429);
  });
});
