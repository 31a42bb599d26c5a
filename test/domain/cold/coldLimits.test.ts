import { describe, expect, it } from "vitest";
import { restChargeBand } from "../../../server/domain/cold/battery.ts";
import { initialCold } from "../../../server/domain/cold/cold.ts";
import { coldLimits } from "../../../server/domain/cold/coldLimits.ts";
import { volts } from "../../../server/domain/units.ts";
import { feederSettings } from "../../support/feederSettings.ts";

const cold = initialCold();

describe("the limits of the cold that a chart shows", () => {
  it("are those of the tray, and none of a battery that was not entered or isn't there", () => {
    const tray = { trayFreezesBelowCelsius: -0.5, trayThawsAboveCelsius: 0.5, battery: null };
    expect(coldLimits(feederSettings({ battery: "none" }), cold)).toEqual(tray);
    expect(coldLimits(feederSettings({ battery: "leadAcid", assumed: ["battery"] }), cold)).toEqual(tray);
  });

  it("forbid a lithium battery to be charged below 0 °C, each kind to be emptied below its own", () => {
    const limits = { chargesAboveCelsius: 0, chargesAboveByBoxCelsius: -2, freezesBelowCelsius: null, restVolts: null };
    expect(coldLimits(feederSettings({ battery: "lithiumIon" }), cold).battery).toEqual({
      ...{ kind: "lithiumIon", dischargesAboveCelsius: -20 },
      ...limits,
    });
    expect(coldLimits(feederSettings({ battery: "lithiumIronPhosphate" }), cold).battery).toEqual({
      ...{ kind: "lithiumIronPhosphate", dischargesAboveCelsius: -30 },
      ...limits,
    });
  });

  it("say of a lead-acid battery where it would freeze by the lower of its lowest voltages, and nothing before any is known", () => {
    const settings = feederSettings({ battery: "leadAcid" });
    expect(coldLimits(settings, cold).battery).toMatchObject({ freezesBelowCelsius: null, restVolts: null });
    const battery = { ...cold.battery, lastVoltage: volts(12.4), lowestVoltage: volts(12.4) };
    const emptier = { ...battery, previousLowestVoltage: volts(11.9) };
    const [full, half] = [battery, emptier].map(
      (each) => coldLimits(settings, { ...cold, battery: each }).battery?.freezesBelowCelsius ?? 0,
    );
    expect(full).toBeLessThan(-20);
    expect(half).toBeGreaterThan(-15);
  });

  it("give voltages at rest that the cautious charge agrees with, for as many cells as it has", () => {
    for (const times of [0.5, 1, 2]) {
      const battery = { ...cold.battery, lastVoltage: volts(12.6 * times) };
      const rest = coldLimits(feederSettings({ battery: "leadAcid" }), { ...cold, battery }).battery?.restVolts;
      if (rest == null) throw new Error("expected voltages at rest");
      const shares = [rest.empty, rest.half, rest.full].map((each) => restChargeBand("leadAcid", volts(each))?.low);
      expect(shares.map((share) => Math.round(100 * (share ?? -1)))).toEqual([0, 50, 100]);
    }
  });
});
