import { describe, expect, it } from "vitest";
import { runComparison } from "../../server/replay/compareLog.ts";
import { readRingFile, type SavedRings } from "../../server/replay/ringFile.ts";
import { at, check, iso, portion, report, settings } from "./lines.ts";

/** Feeder Rowan, of which the log says that it warns a day ahead, falls silent for two hours and is jammed after that. */
const quietHours = [
  settings(0, {
    name: "Rowan",
    zone: "UTC",
    sensors: { chute: true, button: false, detector: false, perch: false, scale: false },
  }),
  ...minutes(1, 180).map((minute) => report(minute)),
  ...minutes(300, 420).map((minute) => report(minute)),
];
const jam = minutes(421, 480).map((minute) => report(minute, { events: [portion(minute, minute, 0)] }));

function minutes(from: number, to: number): number[] {
  return Array.from({ length: to - from + 1 }, (_, index) => from + index);
}

async function compare(
  lines: readonly string[],
  {
    compared = [],
    against = null,
  }: { compared?: readonly { name: string; settings: object }[]; against?: SavedRings | null } = {},
) {
  const [out, problems, files]: [string[], string[], string[]] = [[], [], []];
  async function* asyncLines() {
    yield* lines;
  }
  const wrong = await runComparison(asyncLines(), {
    settings: {},
    compare: compared,
    against: against === null ? null : { name: "saved.json", saved: against },
    out: (text) => void out.push(text),
    printError: (text) => void problems.push(text),
    save: compared.length === 0 && against === null ? (text) => void files.push(text) : null,
  });
  return { wrong, out: out.join("\n"), problems, file: files[0] ?? "" };
}

const saved = async (lines: readonly string[]): Promise<SavedRings> => {
  const read = readRingFile(JSON.parse((await compare(lines)).file));
  if (read.kind === "wrong") throw new Error(JSON.stringify(read.problems));
  return read.saved;
};

describe("a log compared under two settings", () => {
  it("shows what only one of them rang, with its time", async () => {
    const { out } = await compare(quietHours, {
      compared: [{ name: "hourly.json", settings: { reportEverySeconds: 3_600 } }],
    });
    expect(out).toMatch(/A: as in the log\nB: hourly\.json/);
    expect(out).toMatch(/feederSilent {2}A {7}1 {5}0 {5}0 {2}2026-01-15T15:\d\dZ/);
    expect(out).toMatch(/B {7}0 {5}0 {5}0 {2}- +- +0\.0/);
    expect(out).toMatch(/Only in A:\n {2}2026-01-15T15:\d\dZ {2}feederSilent {2}urgent {2}1\.\d h$/);
  });

  it("keeps them although the log changes the same settings, and takes from the log what they leave out", async () => {
    const changed = [...quietHours.slice(0, 100), settings(100, { reportEverySeconds: 60, placement: "onBench" })];
    const lines = [...changed, ...quietHours.slice(100)];
    const { out } = await compare(lines, {
      compared: [
        { name: "a.json", settings: { placement: "inGarden" } },
        { name: "b.json", settings: { placement: "inGarden", reportEverySeconds: 3_600 } },
      ],
    });
    expect(out).toMatch(/feederSilent {2}A {7}1 /);
    expect(out).not.toContain("Only in B");
    const asLogged = await compare(lines, { compared: [{ name: "c.json", settings: { name: "Larch" } }] });
    expect(asLogged.out).not.toContain("feederSilent"); // on the bench it notifies nobody
  });

  it("leaves out a sensor that the settings leave out, although it reports", async () => {
    const sensors = { chute: false, button: false, detector: false, perch: false, scale: false };
    const { out } = await compare([...quietHours, ...jam], {
      compared: [{ name: "blind.json", settings: { sensors } }],
    });
    const [onlyA = ""] = out.split("Only in A:\n").slice(1);
    expect(onlyA).toMatch(/urgent|soon/);
    expect(out).not.toContain("Only in B");
  });

  it("makes the checks that these settings need, where the log has those of others, but none while the server was off", async () => {
    const withChecks = [
      quietHours[0] as string,
      check(0, "complete"),
      ...minutes(1, 180).map((minute) => report(minute)),
      ...minutes(19, 29).map((count) => check(count * 10 + 0.5, "checked")),
      ...minutes(300, 420).map((minute) => report(minute)),
    ];
    const rang = await saved(withChecks);
    const [silent] = rang.rings.filter(({ fault }) => fault === "feederSilent");
    expect(Number(silent?.at)).toBeLessThan(Number(at(190.5))); // of the log's own first check
    const serverOff = withChecks.filter((line) => !line.includes('"checked"'));
    expect((await saved(serverOff)).rings).toEqual([]);
  });

  it("counts only from where the log still has readings", async () => {
    const missing = JSON.stringify({ at: iso(0), feeder: "rowan", missing: { what: "readings", until: iso(310) } });
    const { out } = await compare([quietHours[0] as string, missing, ...quietHours.slice(1)], {
      compared: [{ name: "b.json", settings: { reportEverySeconds: 3_600 } }],
    });
    expect(out).toContain(`from ${iso(310)}`);
    expect(out).toContain("no readings any more");
    expect(out).not.toContain("feederSilent");
  });

  it("names each line that can't be read, and refuses a log without any", async () => {
    const { wrong, problems } = await compare([...quietHours, "nonsense"]);
    expect(wrong).toBe(1);
    expect(problems).toEqual([expect.stringMatching(/^line 303: \(the whole\): is no JSON/)]);
    await expect(compare(["nonsense"])).rejects.toThrow("no line that can be replayed");
  });
});

describe("a log compared with what another version made of it", () => {
  it("has no difference to itself, and shows a planted one", async () => {
    const own = await saved(quietHours);
    expect(own.rings).toHaveLength(1);
    expect((await compare(quietHours, { against: own })).out).not.toContain("Only in");
    const planted = {
      feeder: "rowan",
      fault: "crumbsInTray",
      priority: "urgent",
      at: at(200),
      endedAt: at(260),
    } as const;
    const { out } = await compare(quietHours, { against: { ...own, rings: [...own.rings, planted] } });
    expect(out).toMatch(/Only in A:\n {2}2026-01-15T15:20Z {2}crumbsInTray {2}urgent {2}1\.0 h$/);
    expect(out).toContain("A: saved.json\nB: this version");
  });

  it("compares only the time that both have, as the log has grown since", async () => {
    const own = await saved(quietHours.slice(0, 181)); // before it fell silent
    const { out } = await compare(quietHours, { against: own });
    expect(out).toContain(`to ${iso(180).replace("000Z", "001Z")}`);
    expect(out).not.toContain("feederSilent");
  });

  it("refuses the record of another feeder or another time, by the field", async () => {
    const own = await saved(quietHours);
    await expect(compare(quietHours, { against: { ...own, feeders: ["larch"] } })).rejects.toThrow(
      "saved.json: feeders: larch isn't in this log",
    );
    await expect(compare(quietHours, { against: { ...own, from: at(9_000), to: at(9_001) } })).rejects.toThrow(
      /^saved\.json: from: is 2026-01-21/,
    );
  });

  it.each<[string, (file: Record<string, unknown>) => object, string]>([
    ["another version's form", (file) => ({ ...file, piewardRings: 2 }), "piewardRings"],
    ["no time", (file) => ({ ...file, to: "yesterday" }), "to"],
    [
      "an unknown priority",
      (file) => ({ ...file, rings: [{ feeder: "a", fault: "b", priority: "loud", at: iso(0), endedAt: null }] }),
      "rings[0].priority",
    ],
    ["an unknown field", (file) => ({ ...file, colour: "blue" }), "(the whole)"],
  ])("refuses a file by the field: %s", async (_what, spoil, field) => {
    const file = JSON.parse((await compare(quietHours)).file) as Record<string, unknown>;
    const read = readRingFile(spoil(file));
    expect(read.kind === "wrong" && read.problems.map((problem) => problem.field)).toEqual([field]);
  });
});
