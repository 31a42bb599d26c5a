import { expect } from "vitest";
import {
  days,
  hours,
  type Instant,
  instantOf,
  milliseconds,
  minutes,
  after as past,
} from "../../../server/domain/instant.ts";
import { type LogContent, type LogLine, PackDamaged, type ReportLine, type Store } from "../../../server/ports.ts";
import { addAlder, addFeeder, later, now } from "./contents.ts";
import { takeSteps } from "./stepRules.ts";
import type { Rules } from "./storeUnderTest.ts";

/** A report of a boot that began with the day; each event is its number, its kind and its minute of that boot. */
export function report(
  events: readonly (readonly [number, string, number])[],
  different: Partial<ReportLine> = {},
): ReportLine {
  const bootedAt = different.bootedAt === undefined ? now : different.bootedAt;
  const moments = events.map(([, , minute]) => past(bootedAt ?? now, minutes(minute)));
  const span = { first: moments[0] as Instant, last: moments.at(-1) as Instant };
  return {
    ...{ kind: "report", boot: "b-1", sentUptimeMs: minutes(60), seqs: events.map(([seq]) => seq).join(" "), bootedAt },
    ...{ eventSpan: events.length === 0 ? null : span, recalled: [], readings: null },
    events: JSON.stringify(events.map(([seq, kind, minute]) => ({ seq, kind, uptimeMs: minutes(minute) }))),
    ...different,
  };
}
const entry = (what: string): LogContent => ({ kind: "entry", entry: JSON.stringify({ what }) });
const check: LogContent = { kind: "check" };
const at = (minute: number) => later(minutes(minute));

const log: readonly (readonly [Instant, LogContent])[] = [
  [
    at(60),
    report(
      [
        [1, "press", 10],
        [2, "portion", 11],
      ],
      { readings: '{"airCelsius":-2}' },
    ),
  ],
  [at(61), entry("cleaned")],
  [at(62), report([[3, "visit", 5]], { seqs: "3", recalled: [{ boot: "b-0", highestSeq: 4, anchor: null }] })],
  [at(63), check],
  [at(64), report([], { readings: '{"airCelsius":-3}' })],
  [
    at(65),
    report([[1, "deposit", 65]], {
      boot: "b-1#2",
      bootedAt: null,
      sentUptimeMs: null,
      eventSpan: { first: at(65), last: at(65) },
    }),
  ],
];

async function withLog(store: Store): Promise<readonly LogLine[]> {
  await addAlder(store);
  for (const id of ["rowan", "larch"]) await addFeeder(store, id);
  await takeSteps(store, "rowan", log);
  await takeSteps(store, "larch", [[at(60), report([[1, "visit", 11]])]]);
  return log.map(([moment, content], index) => ({ step: index + 1, at: moment, content }));
}

const numbers = (events: readonly { readonly boot: string; readonly seq: number }[]) =>
  events.map(({ boot, seq }) => `${boot} ${seq}`);

export const logRules: Rules = {
  "the lines of a log are read in order, as they were written": async ({ store }) => {
    const lines = await withLog(store);
    expect(await store.records.lines("rowan", 0, 99, 99)).toEqual(lines);
    expect(await store.records.lines("rowan", -1, 2, 99)).toHaveLength(3);
    expect(await store.records.lines("rowan", 2, 4, 99)).toEqual(lines.slice(2, 4));
    expect(await store.records.lines("rowan", 0, 99, 2)).toEqual(lines.slice(0, 2));
    expect(await store.records.lines("rowan", 99, 199, 2)).toEqual([]);
    expect(await store.records.lines("none", -1, 99, 99)).toEqual([]);
  },

  "a log with long lines is read to its end, some lines at a time": async ({ store }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    const readings = JSON.stringify({ note: "x".repeat(400_000) });
    await takeSteps(
      store,
      "rowan",
      [1, 2, 3, 4].map((minute) => [at(minute), report([], { readings })]),
    );
    const steps: number[] = [];
    for (let pages = 0; pages < 9; pages += 1) {
      const page = await store.records.lines("rowan", steps.at(-1) ?? -1, 99, 99);
      steps.push(...page.map(({ step }) => step));
    }
    expect(steps).toEqual([0, 1, 2, 3, 4]);
  },

  "events are read by when they happened, in order of time": async ({ store }) => {
    await withLog(store);
    const all = await store.records.events("rowan", now, later(hours(9)), 99);
    expect(numbers(all)).toEqual(["b-1 3", "b-1 1", "b-1 2", "b-1#2 1"]);
    const body = JSON.stringify({ seq: 2, kind: "portion", uptimeMs: minutes(11) });
    expect(all[2]).toEqual({ seq: 2, boot: "b-1", kind: "portion", recordedAt: at(11), body });
    expect(all[3]?.recordedAt).toBe(at(65)); // of a boot whose beginning isn't known
    expect(numbers(await store.records.events("rowan", at(10), at(11), 99))).toEqual(["b-1 1"]);
    expect(numbers(await store.records.events("rowan", now, later(hours(9)), 2))).toEqual(["b-1 3", "b-1 1"]);
    expect(await store.records.events("none", now, later(hours(9)), 9)).toEqual([]);
  },

  "what is stored of a boot's events is known by their numbers": async ({ store }) => {
    await withLog(store);
    const bodies = (boot: string, seqs: readonly number[], feeder = "rowan") =>
      store.transaction((tx) => tx.storedEventBodies(feeder, boot, seqs));
    const found = await bodies("b-1", [3, 2, 7]);
    expect([...found.keys()].sort()).toEqual([2, 3]);
    const body = JSON.stringify({ seq: 2, kind: "portion", uptimeMs: minutes(11) });
    expect(found.get(2)).toMatchObject({ body, recordedAt: at(11) });
    expect((await bodies("b-1#2", [1])).get(1)?.recordedAt).toBe(at(65));
    expect([
      (await bodies("b", [1])).size,
      (await bodies("b-1", [])).size,
      (await bodies("b-1", [1], "none")).size,
    ]).toEqual([0, 0, 0]);
  },

  "every start with a boot id is known by its highest event and the report that brought it": async ({ store }) => {
    await withLog(store);
    const boots = (label: string) => store.transaction((tx) => tx.storedBoots("rowan", label));
    const anchor = { receivedAt: at(62), uptime: milliseconds(minutes(60)) };
    expect(await boots("b-1")).toEqual([
      { boot: "b-1", highestSeq: 3, anchor },
      { boot: "b-1#2", highestSeq: 1, anchor: null },
    ]);
    expect([await boots("b"), await boots("b-1#")]).toEqual([[], []]);
    expect(await store.transaction((tx) => tx.storedBoots("none", "b-1"))).toEqual([]);
  },

  "a digest gets what happened in its spans: counts, payments, and the first readings received": async ({ store }) => {
    await withLog(store);
    const { digests } = store;
    const [whole, first] = [
      { from: now, to: later(hours(9)) },
      { from: at(10), to: at(11) },
    ];
    const none = { visits: 0, presses: 0, deposits: 0, portions: 0 };
    expect(await digests.dayCounts("rowan", [first, whole])).toEqual([
      { ...none, presses: 1 },
      { visits: 1, presses: 1, deposits: 1, portions: 1 },
    ]);
    expect(await digests.dayCounts("none", [whole])).toEqual([none]);
    expect(numbers(await digests.paymentEvents("rowan", whole, 9))).toEqual(["b-1 2", "b-1#2 1"]);
    expect(numbers(await digests.paymentEvents("rowan", whole, 1))).toEqual(["b-1 2"]);
    expect(await digests.firstReadings("rowan", [whole, first, { from: at(61), to: at(65) }])).toEqual([
      { receivedAt: at(60), readings: '{"airCelsius":-2}' },
      { receivedAt: at(64), readings: '{"airCelsius":-3}' },
    ]);
  },
};

/** Three days of a log; the first two are over. */
async function withDays(store: Store): Promise<Instant> {
  await addAlder(store);
  await addFeeder(store, "rowan");
  const day = (n: number): readonly (readonly [Instant, LogContent])[] => {
    const dayAt = (minute: number) => later((days(n) + minutes(minute)) as never);
    const bootedAt = later(days(n));
    return [
      [
        dayAt(1),
        report(
          [
            [n * 2 + 1, "visit", 1],
            [n * 2 + 2, "press", 1],
          ],
          { bootedAt, readings: '{"airCelsius":-2}' },
        ),
      ],
      [dayAt(2), report([], { readings: '{"airCelsius":-3}' })],
      [dayAt(3), entry(`day ${n}`)],
      [dayAt(4), check],
    ];
  };
  await takeSteps(store, "rowan", [0, 1, 2].flatMap(day));
  return instantOf("2026-11-28T12:00:00Z");
}

const everything = async ({ records, digests, ...store }: Store) => ({
  lines: await records.lines("rowan", -1, 99, 99),
  some: await records.lines("rowan", 3, 7, 2),
  events: await records.events("rowan", now, later(days(9)), 99),
  bodies: [...(await store.transaction((tx) => tx.storedEventBodies("rowan", "b-1", [1, 4, 6])))],
  boots: await store.transaction((tx) => tx.storedBoots("rowan", "b-1")),
  counts: await digests.dayCounts("rowan", [{ from: now, to: later(days(2)) }]),
  readings: await digests.firstReadings("rowan", [{ from: now, to: later(days(1)) }]),
  state: (await store.yards.feeder("rowan"))?.state,
});

async function packAll({ packs }: Store, at: Instant): Promise<number> {
  let count = 0;
  while (count < 99 && (await packs.packNext(at))) count += 1;
  return count;
}

export const packRules: Rules = {
  "packing comes to an end, and changes nothing that is read": async ({ store }) => {
    const at = await withDays(store);
    const before = await everything(store);
    expect(before.events).toHaveLength(6);
    expect(await packAll(store, at)).toBe(2);
    expect(await everything(store)).toEqual(before);
    expect(await store.packs.packNext(at)).toBe(false);
    await takeSteps(store, "rowan", [[at, check]]);
    expect((await everything(store)).lines).toHaveLength(before.lines.length + 1);
  },

  "a thinned day keeps its events and what keepers did; a younger day stays whole": async ({ store }) => {
    const at = await withDays(store);
    const before = await everything(store);
    await packAll(store, at);
    const lastOfFirstDay = later(minutes(4));
    expect(await store.packs.thinNext(lastOfFirstDay)).toBe(false);
    expect(await store.records.thinnedUntil("rowan")).toBe(null);
    expect(await store.packs.thinNext((lastOfFirstDay + 1) as Instant)).toBe(true);
    expect(await store.packs.thinNext((lastOfFirstDay + 1) as Instant)).toBe(false);
    expect([await store.records.thinnedUntil("rowan"), await store.records.thinnedUntil("none")]).toEqual([
      lastOfFirstDay,
      null,
    ]);
    const thinned = await everything(store);
    const { lines, some, readings, ...same } = before;
    expect(thinned).toMatchObject(same);
    expect(thinned.readings).toEqual([]);
    const [added, first, second, cleaned, checked, ...younger] = lines;
    expect([second?.content.kind, checked?.content.kind]).toEqual(["report", "check"]);
    const content = { ...first?.content, readings: null };
    expect(thinned.lines).toEqual([added, { ...first, content }, cleaned, ...younger]);
  },

  "giving room back comes to an end": async ({ store }) => {
    const at = await withDays(store);
    await packAll(store, at);
    let steps = 0;
    while (steps < 99 && (await store.packs.shrink())) steps += 1;
    expect(steps).toBeLessThan(99);
    expect((await everything(store)).events).toHaveLength(6);
  },

  "a damaged pack is named by whoever reads it; a digest leaves its days out": {
    needs: "damagedPacks",
    async check({ store, damagePacks }) {
      const at = await withDays(store);
      await packAll(store, at);
      damagePacks("rowan");
      await expect(store.records.lines("rowan", -1, 99, 99)).rejects.toThrow(PackDamaged);
      await expect(store.records.events("rowan", now, later(days(1)), 99)).rejects.toThrow(PackDamaged);
      const spans = [0, 2].map((day) => ({ from: later(days(day)), to: later(days(day + 1)) }));
      const none = { visits: 1, presses: 1, deposits: 0, portions: 0 };
      expect(await store.digests.dayCounts("rowan", spans)).toEqual([null, none]);
      expect(await store.yards.feeder("rowan")).not.toBeNull();
    },
  },
};
