import { describe, expect, it } from "vitest";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const join = async (server: TestServer, name: string) => {
  const url = `/api/v1/yards/${server.yard}/invites`;
  const { token } = (await requestAs(server, "POST", url, server.keeper, { role: "helper" })).json();
  return requestAs(server, "POST", "/api/v1/join", {}, { token, name, passphrase: "a chair beside the window" });
};
const signIn = (server: TestServer, name: string) =>
  requestAs(server, "POST", "/api/v1/session", {}, { name, passphrase: "three grey birds at breakfast" });

describe("a person's name", () => {
  it("is accepted in every Unicode form of the same text", async () => {
    const server = await openTestServer();
    await joinByInvite(server, "Åsa", "helper");
    for (const name of ["åsa", "ÅSA", "A\u030Asa", " Åsa "]) {
      const answer = await join(server, name);
      expect([name, answer.statusCode, answer.json().errors?.[0].field]).toEqual([name, 400, "name"]);
    }
    expect((await join(server, "Åsa Croft")).json().keeper).toEqual({ name: "Åsa Croft" });
  });

  it("signs in without regard to case", async () => {
    const server = await openTestServer();
    await joinByInvite(server, "Åsa", "helper");
    expect((await signIn(server, " åSA")).json()).toEqual({ keeper: { name: "Åsa" } });
    expect((await signIn(server, "Asa")).statusCode).toBe(401);
  });

  it("with an invisible or direction mark is refused by field, as a yard's and a feeder's is", async () => {
    const server = await openTestServer();
    const marked = { name: "A\u202Eda" };
    const refused = [
      await join(server, marked.name),
      await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, marked),
      await requestAs(server, "POST", "/api/v1/yards", server.keeper, { ...marked, zone: "UTC" }),
      await requestAs(server, "POST", "/api/v1/feeders", server.keeper, { ...marked, yard: server.yard }),
    ];
    for (const answer of refused) {
      expect(answer.json().errors).toEqual([
        { field: "name", problem: "must not contain invisible or direction marks, and has one (U+202E)" },
      ]);
    }
  });

  it("of a feeder and of a yard is stored in one spelling", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder({ name: " Ｒｏｗａｎ   \u2665\uFE0F" });
    expect(feeder.name).toBe("Rowan \u2665");
  });
});
