import type { FastifyRequest } from "fastify";
import { describe, expect, it } from "vitest";
import { runFuzz } from "./fuzz.ts";

/** `npm run test:fuzz` tries other and more cases. Each finding names its seed and its case: the same two repeat it. */
const cases = Number(process.env.FUZZ_CASES ?? "1500");
const seed = Number(process.env.FUZZ_SEED ?? "20261129");

/** 30 to 60 MB are caches that fill up, mostly the limits by address; to retain each request takes more than this. */
const retainedBytesMax = 96 * 2 ** 20;

describe("a malformed request", () => {
  it(
    `is always answered, with a problem that names the field and never with a 500 (${cases} cases)`,
    async () => {
      const { problems, ...measured } = await runFuzz({ cases, seed });
      if (process.env.FUZZ_CASES !== undefined) console.log(measured);
      expect(problems).toEqual([]);
      expect(measured.retainedBytes).toBeLessThan(retainedBytesMax);
      // All entries were reached, also with requests that succeed.
      for (const entry of ["report", "link", "keeper's routes"]) {
        expect(measured.byEntry[entry]).toBeGreaterThan(cases / 6);
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

describe("the fuzz test", () => {
  const some = { cases: 500, seed: 7 };

  it("finds a handler that throws on an odd text, and names the case that repeats it", async () => {
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

  it("finds a request that harms a correct feeder", async () => {
    let harmed = false;
    const { problems } = await runFuzz({
      ...some,
      plant: (app) => {
        app.addHook("preHandler", async (request, reply) => {
          harmed ||= textOf(request).includes("b".repeat(300));
          if (harmed && textOf(request).includes("boot-correct"))
            return reply.status(200).send({ storedThrough: null });
        });
      },
    });
    expect(problems.join()).toMatch(/the correct feeder was answered 200 \{"storedThrough":null\}, not storedThrough/);
  });

  it("finds that each request is retained", async () => {
    const retained: Buffer[] = [];
    const { retainedBytes } = await runFuzz({
      ...some,
      plant: (app) => {
        app.addHook("onRequest", async () => void retained.push(Buffer.alloc(2_000_000, 1)));
      },
    });
    expect(retainedBytes).toBeGreaterThan(retainedBytesMax);
  });
});
