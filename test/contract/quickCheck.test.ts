import { isDeepStrictEqual } from "node:util";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { isCommonEnvelope } from "../../server/contract/quickCheck.ts";
import { readCommonEvent, readEventBySchema } from "../../server/contract/readEvent.ts";
import { readReadings, readReadingsBySchema } from "../../server/contract/readReadings.ts";
import { readReport } from "../../server/contract/readReport.ts";
import {
  envelopeSchema,
  eventRanges,
  eventSchemas,
  eventsPerReportMax,
  readingRanges,
  readingsSchema,
  seqMax,
  textLengthMax,
  uptimeRange,
} from "../../server/contract/report.ts";
import { eventExamples, reportExample } from "../../server/contract/reportExample.ts";
import { unknownNames } from "../../server/contract/unknownNames.ts";

/**
 * The quick check says yes only where the schema accepts the value as it is and no name is unknown. Values at and beside every
 * limit, of every wrong type, absent and nested, are put into each field of each kind.
 */
const limits = [...Object.values(readingRanges), ...Object.values(eventRanges), uptimeRange].flatMap(
  ({ low, high }) => [low, high],
);
const lengths = [0, 1, ...Object.values(textLengthMax)].flatMap((length) => [length, length + 1]);
const oddValues: readonly unknown[] = [
  ...limits.flatMap((limit) => [limit, limit - 1, limit + 1, limit - 0.5, limit + 0.5]),
  ...lengths.map((length) => "x".repeat(length)),
  ...[seqMax, seqMax + 1, 2 ** 53 - 1, 2 ** 53, 1e300, -1e300, Number.MIN_VALUE, Number.NaN, Infinity, -Infinity, -0],
  ...["timer", "deposit", "keeper", "done", "refused", "press", "1", "true", "constructor", "ü…"],
  ...[true, false, null, undefined, [], {}, [1], { button: 1 }, { toString: 1 }],
];
const anyValue = fc.oneof(
  { weight: 4, arbitrary: fc.constantFrom(...oddValues) },
  { weight: 1, arbitrary: fc.double() },
  { weight: 1, arbitrary: fc.integer() },
  { weight: 1, arbitrary: fc.jsonValue({ maxDepth: 3 }) },
);
const oddNames = ["hoperGrams", "feeder", "constructor", "", "0"] as const;

const eventNames = [...new Set(Object.values(eventSchemas).flatMap((schema) => Object.keys(schema.shape)))];
const kinds = [...Object.keys(eventSchemas), "dance", "toString"];

/** A good event, with up to three of its fields changed, taken away, or added from another kind. */
const event = fc
  .record({
    example: fc.constantFrom<object>(...eventExamples),
    changes: fc.array(
      fc.record({ name: fc.constantFrom(...eventNames, ...oddNames), value: anyValue, isGone: fc.boolean() }),
      { maxLength: 3 },
    ),
  })
  .map(({ example, changes }) => changed(example, changes));

/** All fields of one kind with any values. */
const wildEvent = fc.record(
  {
    ...Object.fromEntries(eventNames.map((name) => [name, anyValue])),
    seq: fc.integer({ min: 1, max: 9 }),
    uptimeMs: fc.integer({ min: 0, max: 9 }),
    kind: fc.constantFrom(...kinds),
  },
  { requiredKeys: ["seq", "uptimeMs", "kind"] },
);

interface Change {
  readonly name: string;
  readonly value: unknown;
  readonly isGone: boolean;
}

function changed(example: object, changes: readonly Change[]): object {
  const fields: Record<string, unknown> = { ...example };
  for (const { name, value, isGone } of changes) {
    if (isGone) delete fields[name];
    else fields[name] = value;
  }
  return fields;
}

const sentUptime = fc.constantFrom(null, 0, 100_000, 10 ** 13);

describe("the quick check of an event", () => {
  it("gives what the schema gives, wherever it gives something", () => {
    let common = 0;
    fc.assert(
      fc.property(fc.oneof(event, wildEvent, anyValue), sentUptime, (posted, sentUptimeMs) => {
        const quick = readCommonEvent(posted, 3, sentUptimeMs);
        if (quick === null) return;
        common += 1;
        expect(quick).toStrictEqual(readEventBySchema(posted, 3, sentUptimeMs));
        expect(unknownNames({}, [], [[3, posted]])).toEqual([]);
      }),
      { numRuns: 4_000 },
    );
    expect(common).toBeGreaterThan(400);
  });

  it("says yes to every event that the schema accepts and that has only known names", () => {
    fc.assert(
      fc.property(fc.oneof(event, wildEvent), (posted) => {
        const bySchema = readEventBySchema(posted, 0, null);
        const isPlain = Object.values(posted).every((value) => value !== undefined);
        if ("problem" in bySchema || unknownNames({}, [], [[0, posted]]).length > 0 || !isPlain) return;
        expect(readCommonEvent(posted, 0, null)).not.toBeNull();
      }),
      { numRuns: 2_000 },
    );
  });

  it("agrees with the schema on every odd value in each field", () => {
    for (const example of eventExamples) {
      for (const name of [...Object.keys(eventSchemas[example.kind].shape), ...oddNames]) {
        for (const value of oddValues) {
          const posted = changed(example, [{ name, value, isGone: value === undefined }]);
          const bySchema = readEventBySchema(posted, 0, null);
          const isCommon = !("problem" in bySchema) && unknownNames({}, [], [[0, posted]]).length === 0;
          const same = isDeepStrictEqual(readCommonEvent(posted, 0, null), isCommon ? bySchema : null);
          if (!same) expect.fail(`${example.kind}.${name}: ${String(value)}`);
        }
      }
    }
  });

  it("says yes to the events of the documentation", () => {
    for (const posted of [...eventExamples, ...reportExample.events]) {
      expect(readCommonEvent(posted, 0, null), posted.kind).not.toBeNull();
    }
  });
});

describe("the quick check of readings", () => {
  const names = [...Object.keys(readingsSchema.shape), ...oddNames];
  const counts = fc.record(
    Object.fromEntries(["button", "detector", "chute", "perch", "buton"].map((name) => [name, anyValue])),
    { requiredKeys: [] },
  );
  const changes = fc.array(
    fc.record({ name: fc.constantFrom(...names), value: fc.oneof(anyValue, counts), isGone: fc.boolean() }),
    { maxLength: 3 },
  );
  const readings = changes.map((some) => changed(reportExample.readings, some));

  it("agrees with the schema on every odd value in each field", () => {
    const { readings } = reportExample;
    for (const value of oddValues) {
      const posted = [
        ...[...Object.keys(readingsSchema.shape), ...oddNames].map((name) => ({ ...readings, [name]: value })),
        ...[...Object.keys(readings.counts), "buton"].map((name) => ({
          ...readings,
          counts: { ...readings.counts, [name]: value },
        })),
      ];
      for (const one of posted) {
        const same = isDeepStrictEqual(readReadings(one), readReadingsBySchema(one));
        if (!same) expect.fail(JSON.stringify(one));
      }
    }
  });

  it("gives what the schema gives", () => {
    let accepted = 0;
    fc.assert(
      fc.property(fc.oneof(readings, anyValue), (posted) => {
        if (posted === null || posted === undefined) return;
        const read = readReadings(posted);
        if (read.rejectedReadings.length === 0) accepted += 1;
        expect(read).toStrictEqual(readReadingsBySchema(posted));
      }),
      { numRuns: 2_000 },
    );
    expect(accepted).toBeGreaterThan(400);
  });
});

describe("the quick check of a whole report", () => {
  it("agrees with the schema on every odd value in each field", () => {
    for (const name of Object.keys(envelopeSchema.shape)) {
      for (const value of [...oddValues, "b 7", Array(eventsPerReportMax).fill(null)]) {
        const posted = { ...reportExample, [name]: value };
        if (isCommonEnvelope(posted) !== envelopeSchema.safeParse(posted).success)
          expect.fail(`${name}: ${String(value)}`);
      }
    }
  });

  const envelope = fc
    .array(
      fc.record({
        name: fc.constantFrom("boot", "sentUptimeMs", "sentAt", "events", "kind", "errors", ...oddNames),
        value: fc.oneof(anyValue, fc.constant(Array(eventsPerReportMax + 1).fill(null))),
        isGone: fc.boolean(),
      }),
      { maxLength: 3 },
    )
    .map((changes) => changed(reportExample, changes));

  it("says yes where the schema does, and only there", () => {
    fc.assert(
      fc.property(fc.oneof(envelope, anyValue), (posted) => {
        const bySchema = envelopeSchema.safeParse(posted);
        expect(isCommonEnvelope(posted)).toBe(bySchema.success);
        expect(readReport(posted).kind).toBe(bySchema.success ? "read" : "unreadable");
      }),
      { numRuns: 2_000 },
    );
  });
});
