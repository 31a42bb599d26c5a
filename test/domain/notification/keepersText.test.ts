import { describe, expect, it } from "vitest";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { alarmEvents } from "../../../server/domain/alarms/alarmEvents.ts";
import { takeOutOfService } from "../../../server/domain/alarms/alarmResponses.ts";
import { advanceAlarm } from "../../../server/domain/alarms/alarmTransitions.ts";
import { notificationEmail } from "../../../server/domain/email/notificationEmail.ts";
import { ruleOf } from "../../../server/domain/faults.ts";
import { instantOf, minutes } from "../../../server/domain/instant.ts";
import {
  acknowledgedNews,
  closingContent,
  correctionContent,
  suppressedNews,
} from "../../../server/domain/notification/notificationContent.ts";
import { escalationFixture } from "./escalationFixture.ts";

/** As long as the API takes them, with characters that HTML, e-mail or a replacement could take for its own. */
const feederName = `Rowan & "old" <barn>, $& %s by the second gate past the pond`;
const yardName = "Alder Croft <upper> & 'lower' meadow";
const reason = `${'The <tray> is off & its coil\'s "spare" part, $1 at 50 %, has been ordered. '.repeat(2)}Back when it has come on the bus, by Friday night.`;

const raisedAt = instantOf("2026-12-01T06:00:00Z");
const context = {
  ...{ kind: "trayJammed" as const, now: raisedAt, suppressed: null, priority: ruleOf("trayJammed").priority },
  rule: { ...ruleOf("trayJammed"), onDelay: minutes(0), offDelay: minutes(0) },
};
const feeder = { settings: { name: feederName, practice: false }, explains: [] };

const fault = { kind: "trayJammed" as const, reason: "Nothing fell.", evidence: [], confidence: null };
const raised = advanceAlarm(null, fault, context);
const escalation = escalationFixture({ subjectName: feederName, title: `${feederName}: tray jammed` });

/** What it says after Bo took the alarm out of service. */
function suppressed() {
  const { alarm, changes } = takeOutOfService(raised.alarm as Alarm, reason, "Bo", context);
  const [event] = alarmEvents(feeder, changes, raised.alarm, alarm);
  if (event?.kind !== "suppressed") throw new Error(`expected a suppression, got ${event?.kind}`);
  return suppressedNews(escalation, event.text);
}

const oneLine = (text: string) => text.replace(/\s+/g, " ");
const entities: Readonly<Record<string, string>> = { amp: "&", lt: "<", gt: ">", quot: '"', "#39": "'" };
/** What a mail program shows of the HTML. */
const shown = (html: string) =>
  oneLine(html.replace(/<style>.*?<\/style>/s, "").replace(/<[^>]*>/g, " ")).replace(
    /&([^;\s]+);/g,
    (_, name: string) => entities[name] ?? name,
  );

describe("what a keeper typed", () => {
  it("is a feeder's name, whole at the start of its alarm's title", () => {
    expect(alarmEvents(feeder, raised.changes, null, raised.alarm)).toMatchObject([
      { title: `${feederName}: tray jammed` },
    ]);
    const also = correctionContent(escalationFixture({ alsoFeeders: [feederName, "Larch"] }));
    expect(also.body).toContain(`Also at ${feederName} and Larch.`);
  });

  it("is a reason for taking an alarm out of service, whole in the notification to the others", () => {
    expect(reason).toHaveLength(200);
    expect(suppressed()).toEqual({
      title: `${feederName}: no action needed`,
      body: `Out of service (Bo): ${reason} You need to do nothing for now.`,
    });
  });

  it("is the name of who acknowledged and of the feeder, each in its place", () => {
    const { title } = acknowledgedNews(escalation, "Ada & <Bo>");
    expect(title).toBe(`Acknowledged by Ada & <Bo>: tray jammed at ${feederName}`);
  });

  it("reads the same in both forms of an e-mail, with the feeder and the yard that it is about", () => {
    const content = closingContent(escalation, suppressed());
    const { subject, text, html } = notificationEmail(content, { yardName, feederName, link: null });
    expect(subject).toBe(`${feederName}: no action needed`);
    for (const read of [oneLine(text), shown(html)]) {
      expect(read).toContain(`${feederName}: no action needed`);
      expect(read).toContain(`Out of service (Bo): ${reason} You need to do nothing for now.`);
      expect(read).toContain(`Feeder: ${feederName}. Yard: ${yardName}.`);
      expect(read).toContain(`recipient of ${yardName}.`);
    }
  });
});
