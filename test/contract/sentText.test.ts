import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { parseReport } from "../../server/contract/lenientJson.ts";
import { type PostedReport, readReport } from "../../server/contract/readReport.ts";
import { reportExample } from "../../server/contract/reportExample.ts";
import { sentTexts } from "../../server/contract/sentText.ts";

/** What a text must be: the member of `JSON.parse`, to the last value. */
function expectTexts(json: string): void {
  const { events, readings } = sentTexts(json);
  const parsed = JSON.parse(json) as Record<string, unknown>;
  expect(events === null ? undefined : JSON.parse(events), json).toStrictEqual(parsed.events);
  expect(readings === null ? undefined : JSON.parse(readings), json).toStrictEqual(parsed.readings);
}

const oddTexts = ["", "]", "}", '"', "\\", ']}"', '],"events":[', '"events":[1]', '\\"]', "é", "\u2028", "events"];
const text = fc.oneof(fc.constantFrom(...oddTexts), fc.string({ maxLength: 6 }));
const space = fc.constantFrom("", "", " ", "\n\t", "\r\n ");

/** JSON text as a feeder may write it: with spaces, escapes, names that come twice, and lists within lists. */
const jsonText = fc.letrec<{ value: string; list: string; fields: string }>((tie) => ({
  value: fc.oneof(
    { depthSize: "small" },
    fc.constantFrom("0", "-1.5e+3", "1E5", "true", "false", "null"),
    text.map((one) => JSON.stringify(one)),
    fc.constantFrom('"]"', '"["', '"],"', '"}"', '"\\u005d"', '":1,"'),
    tie("list"),
    tie("fields"),
  ),
  list: fc
    .tuple(fc.array(tie("value"), { maxLength: 3 }), space)
    .map(([values, gap]) => `[${gap}${values.join(`${gap},${gap}`)}${gap}]`),
  fields: fc.tuple(fc.array(fc.tuple(text, tie("value")), { maxLength: 3 }), space).map(
    ([members, gap]) =>
      `{${gap}${memberTexts(
        members.map(([name, value]) => [JSON.stringify(name), value]),
        gap,
      )}}`,
  ),
}));

const memberTexts = (members: readonly (readonly [string, string])[], gap: string): string =>
  members.map(([name, value]) => `${name}${gap}:${gap}${value}${gap}`).join(`,${gap}`);

const memberName = fc.constantFrom('"events"', '"events"', '"readings"', '"boot"', '"\\u0065vents"', '"x]"', '"a\\"b"');
const report = fc
  .tuple(fc.array(fc.tuple(memberName, fc.oneof(jsonText.list, jsonText.value)), { maxLength: 5 }), space)
  .map(([members, gap]) => `${gap}{${gap}${memberTexts(members, gap)}}${gap}`);

describe("the sent text of events and readings", () => {
  it("has the value of the whole text, for any JSON", () => {
    fc.assert(fc.property(report, expectTexts), { numRuns: 6_000 });
  });

  it("has it where the first closing bracket is not that of the events", () => {
    for (const json of [
      '{"events":[{"words":"a]"}]}',
      '{"events":[{"words":"],"}],"boot":"b"}',
      '{"events":[[1],[2]],"readings":{"a":[1]}}',
      '{"events":["],"],"x":[",",":["],"events":["],"]}',
      '{"events":["]"],"events":["]"]}',
      String.raw`{"events":["],",":[\"x"]}`,
      '{"events":[{"a":[1],"events":[[2],[3]]}]}',
      '{"events":[",","]",{":":"]"}],"readings":{}}',
    ]) {
      expectTexts(json);
    }
  });

  it("is the last one's where two have the name", () => {
    expect(sentTexts('{"events":[1],"readings":{},"events":[2],"readings":{"a":1}}')).toEqual({
      events: "[2]",
      readings: '{"a":1}',
    });
  });

  it("is read from text that nests deeper than the stack is high", () => {
    const deep = `${"[".repeat(100_000)}${"]".repeat(100_000)}`;
    expect(sentTexts(`{"events":${deep},"readings":{}}`)).toEqual({ events: deep, readings: "{}" });
  });
});

const readText = (json: string): PostedReport => {
  const parsed = parseReport(json);
  if (parsed.kind === "notJson") throw new Error(parsed.problem);
  const read = readReport(parsed.value, parsed.bareNumbers, parsed.json);
  if (read.kind === "unreadable") throw new Error(JSON.stringify(read.errors));
  return read.report;
};
const withMembers = (events: string, readings: string) =>
  `{"boot":"b-1","sentUptimeMs":123456,"readings":${readings},"events":${events}}`;
const press = '{"seq": 1, "uptimeMs": 1, "kind": "press"}';

describe("a report's texts for the log", () => {
  it("are those that were sent, spaces and unknown fields with them", () => {
    const events = `[ ${press}, {"seq":2,"uptimeMs":2.0,"kind":"dance","steps":[1, 2]} ]`;
    const readings = '{ "airCelsius": -6.20, "hoperGrams": 1 }';
    expect(readText(withMembers(events, readings))).toMatchObject({ eventsText: events, readingsText: readings });
  });

  it("read again, they give the same report", () => {
    const json = JSON.stringify(reportExample);
    const { eventsText, readingsText, ...report } = readText(json);
    expect(readText(withMembers(String(eventsText), String(readingsText))).events).toEqual(report.events);
    expect(readText(withMembers(String(eventsText), String(readingsText))).readings).toEqual(report.readings);
  });

  it.each([
    ["an event was refused", `[${press},{"seq":2,"uptimeMs":2,"kind":"portion","cause":"whim"}]`, "{}", null, "{}"],
    ["a reading was rejected", `[${press}]`, '{"airCelsius":-127}', `[${press}]`, null],
    ["an event holds a bare NaN", '[{"seq":1,"uptimeMs":1,"kind":"deposit","signal":NaN}]', "{}", null, null],
    ["a reading is a bare NaN", `[${press}]`, '{"airCelsius":nan}', null, null],
    ["there are none", "null", "null", null, null],
    ["readings are a list", "[]", "[1]", "[]", null],
  ])("are left out where they can't be stored as they are: %s", (_why, events, readings, eventsText, readingsText) => {
    expect(readText(withMembers(events, readings))).toMatchObject({ eventsText, readingsText });
  });

  it("are left out where the text is not known", () => {
    const read = readReport(reportExample);
    expect(read).toMatchObject({ kind: "read", report: { eventsText: null, readingsText: null } });
  });
});
