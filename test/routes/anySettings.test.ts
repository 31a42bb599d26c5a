import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { z } from "zod";
import { addFeederRequest, changeFeederRequest, personRequest, yardRequest } from "../../server/contract/api.ts";
import { hours, minutes } from "../../server/domain/instant.ts";
import { sendDueDigests } from "../../server/flows/digest.ts";
import { advanceDueEscalations } from "../../server/flows/escalations.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { runs } from "../support/runs.ts";
import { openTestServer } from "../support/testServer.ts";

/**
 * Nothing that a keeper can store may make a report, the home page, a digest or a periodic check throw. Values are made from the
 * contract's own schemas, at their bounds and a little beyond: each is either refused with 400, or stored and handled.
 */
interface Schema {
  readonly type?: string;
  readonly properties?: Readonly<Record<string, Schema>>;
  readonly anyOf?: readonly Schema[];
  readonly enum?: readonly unknown[];
  readonly minimum?: number;
  readonly exclusiveMinimum?: number;
  readonly maximum?: number;
  readonly minLength?: number;
  readonly maxLength?: number;
  readonly pattern?: string;
}

const zones = ["Europe/Stockholm", "Pacific/Apia", "Pacific/Kiritimati", "America/St_Johns", "Antarctica/Troll", "UTC"];
const oddZones = ["IST", "JST", "BST", "PST", "EST", "Etc/GMT+12", "+05:30", "Etc/Unknown", "Europe/Nowhere", ""];
const oddTexts = ["", " ", "\u0000", "\u202eRowan", "🐦", "é", "#", "{{", "'; --", "__proto__"];

function valuesOf(schema: Schema, name = ""): fc.Arbitrary<unknown> {
  if (name === "zone") return fc.oneof(fc.constantFrom(...zones), fc.constantFrom(...oddZones));
  if (schema.enum) return fc.constantFrom(...schema.enum);
  if (schema.anyOf) return fc.oneof(...schema.anyOf.map((each) => valuesOf(each)));
  switch (schema.type) {
    case "object": {
      const fields = Object.entries(schema.properties ?? {}).map(([key, each]) => [key, valuesOf(each, key)]);
      return fc.record(Object.fromEntries(fields));
    }
    case "boolean":
      return fc.boolean();
    case "null":
      return fc.constant(null);
    case "integer":
    case "number":
      return numbersOf(schema);
    default:
      return textsOf(schema);
  }
}

function numbersOf({ type, minimum, exclusiveMinimum, maximum }: Schema): fc.Arbitrary<number> {
  const [low, high] = [minimum ?? exclusiveMinimum ?? -1e6, maximum ?? 1e6];
  const inside =
    type === "integer" ? fc.integer({ min: low, max: high }) : fc.double({ min: low, max: high, noNaN: true });
  const beyond = type === "integer" ? [low - 1, high + 1] : [low - 1e-9, high * 1.0000001];
  return fc.oneof(
    { weight: 6, arbitrary: inside },
    { weight: 6, arbitrary: fc.constantFrom(low, high) },
    { weight: 1, arbitrary: fc.constantFrom(...beyond) },
  );
}

function textsOf({ pattern, minLength = 0, maxLength = 60 }: Schema): fc.Arbitrary<string> {
  if (pattern !== undefined) return fc.oneof(fc.stringMatching(new RegExp(pattern)), fc.constantFrom("24:00", "7:30"));
  return fc.oneof(
    fc.constantFrom(...oddTexts),
    fc.string({ minLength, maxLength }),
    fc.constantFrom("x".repeat(maxLength), "x".repeat(maxLength + 1)),
  );
}

/** Some of its fields, as a form sends what was changed. */
const someOf = (schema: z.ZodType) => {
  const { properties = {} } = z.toJSONSchema(schema, { unrepresentable: "any", io: "input" }) as Schema;
  const fields = Object.entries(properties).filter(([name]) => name !== "yard");
  return fc.record(Object.fromEntries(fields.map(([name, each]) => [name, valuesOf(each, name)])), {
    requiredKeys: [],
  });
};

describe("whatever a keeper stores", { timeout: 120_000 }, () => {
  it("makes no report, no page, no digest and no periodic check fail", async () => {
    const server = await openTestServer();
    const send = (method: "PATCH" | "POST", url: string, payload: object) =>
      server.app.inject({ method, url: `/api/v1/${url}`, headers: server.keeper, payload });
    const people = (
      await server.app.inject({ url: `/api/v1/yards/${server.yard}/people`, headers: server.keeper })
    ).json();
    const me = (people.people ?? people)[0].id as string;
    const { key, feeder } = await server.addFeeder();
    const taken = new Map<string, number>();
    let seq = 0;

    const step = async (what: string, status: number, body: string) => {
      expect(status, `${what}: ${body}`).toBeLessThan(500);
      if (status < 300) taken.set(what, (taken.get(what) ?? 0) + 1);
    };
    const live = async (with_: { readonly hopperGrams: number; readonly airCelsius: number }) => {
      server.clock.advance(minutes(7));
      seq += 1;
      const uptimeMs = seq * minutes(7);
      const events = [{ seq, uptimeMs, kind: seq % 2 ? "portion" : "deposit", ...(seq % 2 ? { cause: "press" } : {}) }];
      const answer = await server.report(key, { boot: "b-1", sentUptimeMs: uptimeMs, readings: with_, events });
      expect(answer.status, JSON.stringify(answer.body)).toBe(200);
      expect((await server.app.inject({ url: "/api/v1/home", headers: server.keeper })).statusCode).toBe(200);
      server.clock.advance(hours(5)); // silence, digest times and quiet hours come and go
      await runPeriodicChecks(server.ports);
      await advanceDueEscalations(server.ports);
      await sendDueDigests(server.ports);
      const day = new Date(server.clock.now()).toISOString().slice(0, 10);
      const url = `/api/v1/feeders/${feeder.id}/day?date=${day}`;
      expect((await server.app.inject({ url, headers: server.keeper })).statusCode).toBeLessThan(500);
    };

    const history = fc.record({
      yard: someOf(yardRequest),
      changed: someOf(changeFeederRequest),
      added: someOf(addFeederRequest),
      person: someOf(personRequest),
      readings: fc.record({
        hopperGrams: fc.constantFrom(0, 10, 900, 50_000),
        airCelsius: fc.constantFrom(-40, -3, 4, 35),
      }),
    });
    await fc.assert(
      fc.asyncProperty(history, async ({ yard, changed, added, person, readings }) => {
        const requests: [string, "PATCH" | "POST", string, object][] = [
          ["yard", "PATCH", `yards/${server.yard}`, yard],
          ["feeder", "PATCH", `feeders/${feeder.id}`, changed],
          ["person", "PATCH", `yards/${server.yard}/people/${me}`, { ...person, role: "keeper" }],
        ];
        if (seq % 8 === 0)
          requests.push(["new feeder", "POST", "feeders", { name: "Larch", ...added, yard: server.yard }]);
        for (const [what, method, url, body] of requests) {
          // Each field by itself, so that one that is refused doesn't hide what the others do.
          const parts =
            what === "new feeder" ? [body] : Object.entries(body).map(([name, value]) => ({ [name]: value }));
          for (const part of parts) {
            const answer = await send(method, url, part);
            await step(what, answer.statusCode, answer.body);
          }
        }
        await live(readings);
      }),
      { numRuns: runs(12) },
    );
    for (const what of ["yard", "feeder", "person"]) expect(taken.get(what), what).toBeGreaterThan(20);
  });
});
