import { describe, expect, it } from "vitest";
import { digestEmailSections } from "../../../server/domain/digest/digestEmail.ts";
import {
  groupLines,
  limitLines,
  linesMax,
  listNames,
  type SectionDraft,
} from "../../../server/domain/digest/limitLines.ts";
import { shortDigest, shortMax } from "../../../server/domain/digest/shortDigest.ts";
import { compareCount, medianOf, probabilityOfAtMost, usualWeekOf } from "../../../server/domain/digest/usualWeek.ts";

const omittedText = (count: number) => `${count} more.`;
const linesOf = (count: number, name = "line") => Array.from({ length: count }, (_, n) => `${name} ${n + 1}`);
const section = (heading: string, count: number, different: Partial<SectionDraft> = {}): SectionDraft => ({
  ...{ heading, lines: linesOf(count, heading), omittedText, ...different },
});
const counts = (...parts: SectionDraft[]) => limitLines(parts).map(({ lines }) => lines.length);

describe("the lines of a digest", () => {
  it("are all shown where a screen holds them", () => {
    expect(counts(section("a", 4), section("b", 10))).toEqual([4, 10]);
    expect(limitLines([section("a", 0), section("b", 1)]).map(({ heading }) => heading)).toEqual(["b"]);
  });

  it("are shared among the sections where not: four for each, then the rest for the first ones", () => {
    expect(counts(section("a", 9), section("b", 9), section("c", 9))).toEqual([6, 4, 4]);
    expect(counts(section("a", 2), section("b", 30))).toEqual([2, 12]);
    expect(linesMax).toBe(14);
  });

  it("are one for each section at least, the number of the omitted ones on the same line", () => {
    const many = Array.from({ length: 14 }, (_, n) => section(`${n}`, 3));
    expect(limitLines(many).map(({ lines }) => lines)).toEqual(many.map(({ heading }) => [`${heading} 1 2 more.`]));
  });

  it("end with the number of omitted ones where a section has several", () => {
    const [first] = limitLines([section("a", 20)]);
    expect(first?.lines).toEqual([...linesOf(13, "a"), "7 more."]);
  });

  it("are never omitted in a section that shows every line, whatever is left for the others", () => {
    const tasks = section("tasks", 20, { omittedText: null, links: linesOf(20, "/page") });
    const [all, other] = limitLines([tasks, section("b", 3)]);
    expect(all).toEqual({ heading: "tasks", lines: tasks.lines, links: tasks.links });
    expect(other).toEqual({ heading: "b", lines: ["b 1 2 more."] });
  });

  it("are one for all feeders with the same text, in the order of the first of each", () => {
    const entries = [
      { name: "Rowan", text: "as usual." },
      { name: "Elder", text: "no birds." },
      { name: "Larch", text: "as usual." },
    ];
    expect(groupLines(entries)).toEqual(["Rowan and Larch: as usual.", "Elder: no birds."]);
  });

  it("name three feeders at most", () => {
    expect(listNames([])).toBe("");
    expect(listNames(["Rowan"])).toBe("Rowan");
    expect(listNames(["Rowan", "Larch"])).toBe("Rowan and Larch");
    expect(listNames(["Rowan", "Larch", "Elder"])).toBe("Rowan, Larch and Elder");
    expect(listNames(["Rowan", "Larch", "Elder", "Hazel"])).toBe("Rowan, Larch and 2 more");
  });

  it("are headings and lists in an e-mail, with the links of the tasks", () => {
    const sections = [
      { heading: "To do", lines: ["Refill Rowan."], links: ["/feeders/rowan/refill"] },
      { heading: "Birds", lines: ["As usual."] },
    ];
    expect(digestEmailSections({ title: "", short: "", sections })).toEqual([
      { kind: "heading", text: "To do" },
      { kind: "list", items: ["Refill Rowan."], links: ["/feeders/rowan/refill"] },
      { kind: "heading", text: "Birds" },
      { kind: "list", items: ["As usual."] },
    ]);
  });
});

describe("the short digest", () => {
  const more = "\nMore on its page.";

  it("has all tasks, and the first line of every other section", () => {
    expect(shortDigest([section("To do", 2), section("Birds", 2), section("Wear", 0)], "To do")).toBe(
      "To do 1\nTo do 2\nBirds 1",
    );
  });

  it("ends at a whole line, and states that there is more, within its length", () => {
    const line = (length: number) => "x".repeat(length);
    const short = (...lines: string[]) => shortDigest([{ heading: "To do", lines, omittedText }], "To do");
    const fits = shortMax - more.length;
    expect(short(line(fits), line(40))).toBe(`${line(fits)}${more}`);
    expect(short(line(fits + 1), line(40))).toMatch(/^x+…\nMore on its page\.$/);
    expect(short(line(100), line(shortMax - 101))).toBe(`${line(100)}\n${line(shortMax - 101)}`);
    expect(short(line(100), line(shortMax - 100))).toBe(`${line(100)}${more}`);
    expect(short(line(shortMax))).toBe(line(shortMax));
  });

  it("cuts a first line that is too long between two words, if one ends near", () => {
    const clip = (text: string) => shortDigest([{ heading: "To do", lines: [text], omittedText }], "To do");
    const words = "food ".repeat(99).trim();
    expect(clip(words)).toMatch(/food…\nMore on its page\.$/);
    expect(clip(words).length).toBeLessThanOrEqual(shortMax);
    expect(clip(words).length).toBeGreaterThan(shortMax - 6);
    const long = `a ${"x".repeat(400)}`;
    expect(clip(long)).toHaveLength(shortMax - 40);
  });
});

describe("a count beside the usual week", () => {
  it("needs four days, and has Jeffreys' half an event more than was counted", () => {
    expect(usualWeekOf([1, 2, 3])).toBeNull();
    expect(usualWeekOf([0, 0, 0, 0])).toMatchObject({ days: 4, median: 0, mean: 0.125 });
    // Equal days show nothing beyond chance: the assumed scatter counts by its eight days of eleven.
    const scatter = (8 * 0.12) / (8 + 3);
    const { mean, variance } = usualWeekOf([10, 10, 10, 10]) ?? { mean: 0, variance: 0 };
    expect(mean).toBe(40.5 / 4);
    expect(variance).toBeCloseTo((mean + scatter * mean * mean) * (1 + 1 / 4), 9);
  });

  it("has a wider expectation where the days vary by more than chance", () => {
    const counts = [2, 20, 4, 30];
    const [mean, plainMean] = [56.5 / 4, 14];
    const squares = counts.reduce((sum, count) => sum + (count - plainMean) ** 2, 0);
    const scatter = (8 * 0.12 + 3 * ((squares / 3 - mean) / mean ** 2)) / 11;
    expect(usualWeekOf(counts)?.variance).toBeCloseTo((mean + scatter * mean * mean) * 1.25, 9);
  });

  it("is neither fewer nor more where it is the median itself", () => {
    const week = { days: 7, median: 5, mean: 1_000, variance: 1_001 };
    expect(compareCount(week, 5, 0.05)).toBe("usual");
    expect(compareCount(week, 4, 0.05)).toBe("fewer");
    const few = { days: 7, median: 5, mean: 0.01, variance: 0.02 };
    expect(compareCount(few, 5, 0.05)).toBe("usual");
    expect(compareCount(few, 6, 0.05)).toBe("more");
  });

  it("has a probability by the negative binomial law: check values of its first terms", () => {
    // Size 2 and p = 1/2: P(0) = 1/4, P(1) = 1/4, P(2) = 3/16.
    const law = { mean: 2, variance: 4 };
    expect([0, 1, 2].map((count) => probabilityOfAtMost(count, law))).toEqual(
      [0.25, 0.5, 0.6875].map((value) => expect.closeTo(value, 12)),
    );
    expect(probabilityOfAtMost(10_000, law)).toBeLessThanOrEqual(1);
  });

  it("has a median of an even number of days, and none of no day", () => {
    expect(medianOf([3, 1])).toBe(2);
    expect(medianOf([7])).toBe(7);
    expect(medianOf([])).toBeNaN();
  });
});
