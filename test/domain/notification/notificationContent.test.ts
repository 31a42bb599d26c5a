import { describe, expect, it } from "vitest";
import { instantOf } from "../../../server/domain/instant.ts";
import type { Escalation, SilentFeeder } from "../../../server/domain/notification/escalation.ts";
import { alarmContent } from "../../../server/domain/notification/notificationContent.ts";
import { stockholm } from "./escalationScenario.ts";

const raisedAt = instantOf("2026-12-01T10:00:00Z");
const later = instantOf("2026-12-01T10:04:00Z");
const part = (feeder: string): SilentFeeder => ({
  feeder,
  name: feeder,
  topic: `alarm-${feeder}`,
  lastReportAt: raisedAt,
  raisedAt,
  title: `${feeder}: no reports`,
  body: "No report for 3 minutes.",
});
const ofYard: Escalation = {
  ...{ topic: "alarm-yard", yard: "croft", feeder: null, fault: "feederSilent", priority: "urgent" },
  ...{
    subjectName: "Alder Croft",
    raisedAt: later,
    renewedAt: later,
    title: "Alder Croft: no reports from two feeders",
    body: "Both.",
  },
  ...{
    holdUntil: null,
    level: 1,
    levelAt: later,
    recipientStates: [],
    acknowledgedBy: null,
    endedAt: null,
    news: null,
  },
  ...{ unreachable: false, groupedUnder: null, alsoFeeders: [], silentFeeders: [part("rowan"), part("larch")] },
};

describe("an escalation of a whole yard", () => {
  it("is answered by way of one of its silent feeders, at that one's own raise", () => {
    expect(alarmContent(ofYard, false, stockholm, later)).toMatchObject({
      actions: ["acknowledge"],
      actionTarget: { feeder: "rowan", raisedAt },
    });
  });

  it("is the only one that needs such a way", () => {
    expect(alarmContent({ ...ofYard, feeder: "rowan", silentFeeders: [] }, false, stockholm, later)).not.toHaveProperty(
      "actionTarget",
    );
  });
});
