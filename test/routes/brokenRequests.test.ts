import { describe, expect, it } from "vitest";
import { openTestServer } from "../support/testServer.ts";

/** What a fuzz test found once, and how it is answered now. */

describe("a request that can't be decoded", () => {
  it("names the address where that can't be decoded or has too long a part, as a problem document", async () => {
    const { app, keeper } = await openTestServer();
    for (const [url, status] of [
      ["/api/v1/feeders/%ff", 400],
      [`/api/v1/feeders/${"a".repeat(129)}`, 414],
    ] as const) {
      const answer = await app.inject({ url, headers: keeper });
      expect([answer.statusCode, answer.headers["content-type"]]).toEqual([status, "application/problem+json"]);
      expect(answer.json().errors).toEqual([{ field: "address", problem: expect.any(String) }]);
      expect(answer.payload).not.toContain("%ff");
    }
  });

  it("names the whole where the body is no JSON, or isn't compressed as its header states", async () => {
    const { app, keeper } = await openTestServer();
    for (const [payload, more] of [
      ["{", {}],
      ["", {}],
      ["{}", { "content-encoding": "gzip" }],
    ] as const) {
      const headers = { ...keeper, "content-type": "application/json", ...more };
      const answer = await app.inject({ method: "PATCH", url: "/api/v1/me", headers, payload });
      expect(answer.statusCode).toBe(400);
      expect(answer.json().errors).toEqual([{ field: "(the whole)", problem: expect.any(String) }]);
    }
  });
});

describe("an event whose kind can't be converted to text", () => {
  it("is refused by its field, and the rest of the report is stored", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const events = [
      { seq: 1, uptimeMs: 1, kind: { toString: null } },
      { seq: 2, uptimeMs: 2, kind: "press" },
    ];
    const { status, body } = await server.report(key, { boot: "b-1", sentUptimeMs: 5, events });
    const answer = body as { storedThrough: number; refused: readonly { seq: number; field: string }[] };
    expect([status, answer.storedThrough]).toEqual([200, 2]);
    expect(answer.refused).toMatchObject([{ seq: 1, field: "events[0].kind" }]);
  });
});
