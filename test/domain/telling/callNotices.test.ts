import { describe, expect, it } from "vitest";
import { instantOf } from "../../../server/domain/instant.ts";
import type { Call, SilentFeeder } from "../../../server/domain/telling/call.ts";
import { ringing } from "../../../server/domain/telling/callNotices.ts";
import { stockholm } from "./circle.ts";

const raisedAt = instantOf("2026-12-01T10:00:00Z");
const later = instantOf("2026-12-01T10:04:00Z");
const part = (feeder: string): SilentFeeder => ({
  feeder,
  name: feeder,
  topic: `alarm-${feeder}`,
  lastHeardAt: raisedAt,
  raisedAt,
  title: `${feeder}: feeder silent`,
  body: "Nothing heard for 3 minutes.",
});
const ofYard: Call = {
  ...{ topic: "alarm-yard", yard: "croft", feeder: null, fault: "feederSilent", priority: "urgent" },
  ...{ name: "Alder Croft", raisedAt: later, freshAt: later, title: "Alder Croft: two feeders silent", body: "Both." },
  ...{ holdUntil: null, turn: 1, turnAt: later, told: [], acknowledgedBy: null, overAt: null, news: null },
  ...{ unreachable: false, spokenForBy: null, alsoAt: [], silent: [part("rowan"), part("larch")] },
};

describe("a call of a whole yard", () => {
  it("is answered by way of one of its silent feeders, at that one's own raise", () => {
    expect(ringing(ofYard, false, stockholm, later)).toMatchObject({
      answers: ["acknowledge"],
      answersAt: { feeder: "rowan", raisedAt },
    });
  });

  it("is the only one that needs such a way", () => {
    expect(ringing({ ...ofYard, feeder: "rowan", silent: [] }, false, stockholm, later)).not.toHaveProperty(
      "answersAt",
    );
  });
});
