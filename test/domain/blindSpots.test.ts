import { describe, expect, it } from "vitest";
import { blindSpots } from "../../server/domain/blindSpots.ts";
import type { Readings } from "../../server/domain/report.ts";
import type { BatteryKind, FittedSensors } from "../../server/domain/settings.ts";
import { celsius, humidityPercent, milliamps, volts } from "../../server/domain/units.ts";
import { rowanSettings } from "./rowan.ts";
import { emptyReadings } from "./silence/larch.ts";

const all: FittedSensors = { button: true, detector: true, chute: true, perch: true, scale: true };
const none: FittedSensors = { button: false, detector: false, chute: false, perch: false, scale: false };
const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };

const spots = (sensors: FittedSensors) => blindSpots({ ...rowanSettings, place, sensors }, null).join("\n");
const spotsOf = (battery: BatteryKind, readings: Readings) =>
  blindSpots({ ...rowanSettings, place, sensors: all, battery }, readings).join("\n");

describe("what can't be detected", () => {
  it("is nothing where all is fitted and reported", () => {
    const reported: Readings = {
      ...emptyReadings,
      inside: celsius(-2),
      humidity: humidityPercent(80),
      battery: volts(12.6),
      charge: milliamps(0),
    };
    for (const battery of ["none", "leadAcid", "lithiumIronPhosphate", "lithiumIon"] as const) {
      expect(spotsOf(battery, reported), battery).toBe("");
    }
  });

  it("names what looks alike without a scale, without a chute sensor, and without either", () => {
    expect(spots({ ...all, scale: false })).toMatch(/counted from portions[\s\S]*blind chute sensor looks like a jam/);
    expect(spots({ ...all, chute: false })).toMatch(/stuck scale looks like a jam/);
    const neither = spots({ ...all, scale: false, chute: false });
    expect(neither).toMatch(/can't detect whether food falls/);
    expect(neither).not.toMatch(/looks like a jam/);
  });

  it("warns of a lone witness: its silence looks like birds that stay away", () => {
    expect(spots({ ...all, detector: false, perch: false })).toMatch(/Only the button detects birds/);
    expect(spots({ ...all, button: false, perch: false })).toMatch(/Only the metal detector detects birds/);
    expect(spots({ ...all, perch: false })).not.toMatch(/Only the/);
    expect(spots(none)).toMatch(/visits are not detected/);
  });

  it("are named while the yard has no location", () => {
    expect(blindSpots({ ...rowanSettings, place: null, sensors: all }, null)).toEqual([
      expect.stringMatching(/^Until the yard has a place/),
    ]);
  });

  it("takes cold as unknown where the last report didn't tell what its finders need", () => {
    expect(spotsOf("none", emptyReadings)).toMatch(/Frost is detected late or not at all/);
    expect(spotsOf("leadAcid", emptyReadings)).toMatch(/A freezing battery is not detected/);
    expect(spotsOf("lithiumIon", emptyReadings)).toMatch(/Charging in frost is not detected/);
    expect(spotsOf("none", emptyReadings)).not.toMatch(/battery/);
    expect(blindSpots({ ...rowanSettings, place, sensors: all }, null)).toEqual([]); // before a report nothing is missed
  });

  it("is described in whole sentences without a number", () => {
    for (let mask = 0; mask < 32; mask += 1) {
      const sensors = {
        button: (mask & 1) > 0,
        detector: (mask & 2) > 0,
        chute: (mask & 4) > 0,
        perch: (mask & 8) > 0,
        scale: (mask & 16) > 0,
      };
      const sentences = blindSpots({ ...rowanSettings, place: null, sensors, battery: "leadAcid" }, emptyReadings);
      for (const text of sentences) expect(text).toMatch(/^[A-Z][^\d]*\.$/);
      expect(new Set(sentences).size).toBe(sentences.length);
    }
  });
});
