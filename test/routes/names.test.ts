import { describe, expect, it } from "vitest";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const join = async (house: TestServer, name: string) => {
  const url = `/api/v1/yards/${house.yard}/invites`;
  const { token } = (await requestAs(house, "POST", url, house.keeper, { role: "helper" })).json();
  return requestAs(house, "POST", "/api/v1/join", {}, { token, name, passphrase: "a chair beside the window" });
};
const signIn = (house: TestServer, name: string) =>
  requestAs(house, "POST", "/api/v1/session", {}, { name, passphrase: "three grey birds at breakfast" });

describe("a person's name", () => {
  it("is taken in every spelling that looks the same", async () => {
    const house = await openTestServer();
    await joinByInvite(house, "Åsa", "helper");
    for (const name of ["åsa", "ÅSA", "A\u030Asa", " Åsa "]) {
      const answer = await join(house, name);
      expect([name, answer.statusCode, answer.json().errors?.[0].field]).toEqual([name, 400, "name"]);
    }
    expect((await join(house, "Åsa Croft")).json().keeper).toEqual({ name: "Åsa Croft" });
  });

  it("signs in without regard to case", async () => {
    const house = await openTestServer();
    await joinByInvite(house, "Åsa", "helper");
    expect((await signIn(house, " åSA")).json()).toEqual({ keeper: { name: "Åsa" } });
    expect((await signIn(house, "Asa")).statusCode).toBe(401);
  });

  it("with an invisible or direction mark is refused by field, as a yard's and a feeder's is", async () => {
    const house = await openTestServer();
    const marked = { name: "A\u202Eda" };
    const refused = [
      await join(house, marked.name),
      await requestAs(house, "PATCH", `/api/v1/yards/${house.yard}`, house.keeper, marked),
      await requestAs(house, "POST", "/api/v1/yards", house.keeper, { ...marked, zone: "UTC" }),
      await requestAs(house, "POST", "/api/v1/feeders", house.keeper, { ...marked, yard: house.yard }),
    ];
    for (const answer of refused) {
      expect(answer.json().errors).toEqual([
        { field: "name", problem: "must not contain invisible or direction marks, and has one (U+202E)" },
      ]);
    }
  });

  it("of a feeder and of a yard is stored in one spelling", async () => {
    const house = await openTestServer();
    const { feeder } = await house.addFeeder({ name: " Ｒｏｗａｎ   \u2665\uFE0F" });
    expect(feeder.name).toBe("Rowan \u2665");
  });
});
