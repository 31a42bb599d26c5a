import { describe, expect, it } from "vitest";
import { chosenFaultText, practiceFaultText } from "../../client/text/practice.ts";
import { practiceFaults } from "../../server/contract/api.ts";
import { faultKinds, ruleOf } from "../../server/domain/faults.ts";
import { feederWithFault } from "../../server/practice/yard.ts";

const broken = practiceFaults.filter((fault) => fault !== "none");

describe("the texts for practice", () => {
  it("name the feeder that gets the fault", () => {
    for (const fault of broken) expect(practiceFaultText[fault].feeder, fault).toBe(feederWithFault(fault));
    expect(practiceFaultText.none.feeder).toBeNull();
  });

  it("name the alarm by its title", () => {
    const titles = faultKinds.map((kind) => ruleOf(kind).title);
    for (const fault of broken) {
      const [, named] = /“(.+)”/.exec(practiceFaultText[fault].outcome) ?? [];
      expect(titles, fault).toContain(named);
    }
  });

  it("show what to wait for", () => {
    expect(chosenFaultText("trayJammed")).toBe("Rowan: tray jams. Its alarm takes up to about two minutes.");
    expect(chosenFaultText("weakBattery")).toMatch(/^Larch: /);
    expect(chosenFaultText("ignoresOrders")).toContain("Pause it now");
    expect(chosenFaultText("none")).toContain("Both practice feeders work");
  });
});
