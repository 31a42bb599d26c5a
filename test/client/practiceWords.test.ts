import { describe, expect, it } from "vitest";
import { chosenWords, practiceWords } from "../../client/words/practice.ts";
import { practiceFaults } from "../../server/contract/api.ts";
import { faultKinds, ruleOf } from "../../server/domain/faults.ts";
import { feederThatShows } from "../../server/practice/yard.ts";

const broken = practiceFaults.filter((fault) => fault !== "none");

describe("the words for practice", () => {
  it("name the feeder that will show the fault", () => {
    for (const fault of broken) expect(practiceWords[fault].feeder, fault).toBe(feederThatShows(fault));
    expect(practiceWords.none.feeder).toBeNull();
  });

  it("name the alarm as it will be named", () => {
    const titles = faultKinds.map((kind) => ruleOf(kind).title);
    for (const fault of broken) {
      const [, named] = /“(.+)”/.exec(practiceWords[fault].outcome) ?? [];
      expect(titles, fault).toContain(named);
    }
  });

  it("say what to wait for", () => {
    expect(chosenWords("jam")).toBe("Rowan: the tray jams. Its alarm takes up to about two minutes.");
    expect(chosenWords("weakBattery")).toMatch(/^Larch: /);
    expect(chosenWords("deafToOrders")).toContain("Ask it for a pause");
    expect(chosenWords("none")).toContain("Both practice feeders are well");
  });
});
