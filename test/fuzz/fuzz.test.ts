import type { FastifyRequest } from "fastify";
import { describe, expect, it } from "vitest";
import { runFuzz } from "./fuzz.ts";

/** `npm run test:fuzz` tries other and more cases. What is found names its seed and its case: the same two play it again. */
const cases = Number(process.env.FUZZ_CASES ?? "20000");
const seed = Number(process.env.FUZZ_SEED ?? "20261129");

/** Some 30 to 60 MB are caches that fill up, most of them the limits by address; a kept request each passes this. */
const keptBytesMax = 96 * 2 ** 20;

describe("what nobody should send", () => {
  it(
    `is answered with a problem that names the field, never with a 500, never not at all (${cases} cases)`,
    async () => {
      const { problems, ...measured } = await runFuzz({ cases, seed });
      if (process.env.FUZZ_CASES !== undefined) console.log(measured);
      expect(problems).toEqual([]);
      expect(measured.retainedBytes).toBeLessThan(keptBytesMax);
      // It came everywhere, and not only to what is refused.
      for (const door of ["report", "link", "keeper's routes"]) {
        expect(measured.byEntry[door]).toBeGreaterThan(cases / 6);
      }
      for (const status of ["200", "201", "204", "400", "401", "403", "404", "409", "413", "414", "415"]) {
        expect([status, measured.byStatus[status] ?? 0]).toEqual([status, expect.any(Number)]);
        expect([status, measured.byStatus[status] ?? 0]).not.toEqual([status, 0]);
      }
    },
    120_000 + cases * 20,
  );
});

const textOf = ({ body }: FastifyRequest) => (typeof body === "string" ? body : (JSON.stringify(body) ?? ""));

describe("the fuzz", () => {
  const some = { cases: 500, seed: 7 };

  it("finds a handler that throws on an odd text, and names the case that plays it again", async () => {
    const { problems } = await runFuzz({
      ...some,
      plant: (app) => {
        app.addHook("preHandler", async (request) => {
          if (textOf(request).includes("\\u0000")) throw new TypeError("planted");
        });
      },
    });
    expect(problems[0]).toMatch(/^seed 7, case \d+, .*: answered 500, to (POST|PUT|PATCH) /);
  });

  it("finds a handler that never answers", async () => {
    const { problems } = await runFuzz({
      ...some,
      answerMilliseconds: 300,
      plant: (app) => {
        app.addHook("preHandler", async (request) => {
          if (textOf(request).includes("9999-12-31")) await new Promise(() => undefined);
        });
      },
    });
    expect(problems.join()).toContain("no answer in 300 ms");
  });

  it("finds a 400 that names no field", async () => {
    const { problems } = await runFuzz({
      ...some,
      plant: (app) => {
        app.addHook("onSend", async (_request, reply, payload) =>
          reply.statusCode === 400 ? String(payload).replace(/,"errors":.*\]/, "") : payload,
        );
      },
    });
    expect(problems.join()).toContain("a 400 names no field");
  });

  it("finds what harms a true feeder", async () => {
    let harmed = false;
    const { problems } = await runFuzz({
      ...some,
      plant: (app) => {
        app.addHook("preHandler", async (request, reply) => {
          harmed ||= textOf(request).includes("b".repeat(300));
          if (harmed && textOf(request).includes("boot-true")) return reply.status(200).send({ storedThrough: null });
        });
      },
    });
    expect(problems.join()).toMatch(/the true feeder was answered 200 \{"storedThrough":null\}, not storedThrough/);
  });

  it("finds what is kept of each request", async () => {
    const kept: Buffer[] = [];
    const { retainedBytes } = await runFuzz({
      ...some,
      plant: (app) => {
        app.addHook("onRequest", async () => void kept.push(Buffer.alloc(2_000_000, 1)));
      },
    });
    expect(retainedBytes).toBeGreaterThan(keptBytesMax);
  });
});
