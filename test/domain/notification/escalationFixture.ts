import { instantOf } from "../../../server/domain/instant.ts";
import type { Escalation, RecipientState } from "../../../server/domain/notification/escalation.ts";

const raisedAt = instantOf("2026-12-01T11:30:00Z");

/** An urgent escalation about Rowan, of which nobody was notified yet, with whatever a test wants different. */
export const escalationFixture = (different: Partial<Escalation> = {}): Escalation => ({
  ...{ topic: "alarm-rowan", yard: "alder", feeder: "rowan", fault: "foodOut", priority: "urgent" },
  ...{ subjectName: "Rowan", title: "Rowan: hopper empty", body: "Nothing fell.", raisedAt, renewedAt: raisedAt },
  ...{ holdUntil: null, level: 1, levelAt: raisedAt, recipientStates: [], acknowledgedBy: null, endedAt: null },
  ...{ news: null, unreachable: false, groupedUnder: null, alsoFeeders: [], silentFeeders: [] },
  ...different,
});

/** Ada, to whom nothing was sent. */
export const recipientStateFixture = (different: Partial<RecipientState> = {}): RecipientState => ({
  ...{ person: "ada", timesNotified: 1, firstNotifiedAt: raisedAt, lastNotifiedAt: raisedAt },
  ...{ reminderCountedFrom: raisedAt, pushedAt: null, displayedAt: null, emailedAt: null, awaitsEndNews: false },
  ...different,
});
