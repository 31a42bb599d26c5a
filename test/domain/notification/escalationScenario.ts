import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import { type Instant, minutes } from "../../../server/domain/instant.ts";
import { instantOfLocal, localDateOf, localTimeOf } from "../../../server/domain/localTime.ts";
import { advanceEscalation, recordDisplay } from "../../../server/domain/notification/advanceEscalation.ts";
import type {
  AlarmEvent,
  AlarmSource,
  Escalation,
  EscalationStep,
  OutgoingNotification,
  Recipient,
  Recipients,
} from "../../../server/domain/notification/escalation.ts";
import { handleAlarmEvent } from "../../../server/domain/notification/handleAlarmEvent.ts";

/** Alder Croft's people, and a story of one of its alarms in the yard's own time. */
export const stockholm = "Europe/Stockholm";

export const ada: Recipient = {
  ...{
    id: "ada",
    name: "Ada",
    escalationOrder: 1,
    quietHours: null,
    urgentBreaks: true,
    phoneCount: 1,
    email: "ada@alder.example",
  },
};
export const bo: Recipient = {
  ...{ id: "bo", name: "Bo", escalationOrder: 2, urgentBreaks: false, phoneCount: 2, email: "bo@alder.example" },
  quietHours: { from: "22:00", to: "07:00" },
};
export const cilla: Recipient = {
  ...{
    id: "cilla",
    name: "Cilla",
    escalationOrder: 3,
    quietHours: null,
    urgentBreaks: true,
    phoneCount: 0,
    email: "cilla@alder.example",
  },
};

export const recipientsOf = (people: readonly Recipient[], zone = stockholm): Recipients => ({
  zone,
  people,
  escalateAfter: minutes(15),
});

/** The rules, so that a story can be played by faulty ones too. */
export interface EscalationFunctions {
  readonly handleEvent: typeof handleAlarmEvent;
  readonly advance: typeof advanceEscalation;
  readonly recordDisplay: typeof recordDisplay;
}
export const realFunctions: EscalationFunctions = {
  handleEvent: handleAlarmEvent,
  advance: advanceEscalation,
  recordDisplay,
};

export const ofRowan = (fault: FaultKind): AlarmSource => ({
  yard: "alder",
  feeder: "rowan",
  topic: alarmTopic("rowan", fault),
  name: "Rowan",
});

/** One notification: at which moment, to whom, by what, with sound or not. */
export interface TimedNotification {
  readonly at: Instant;
  readonly notification: OutgoingNotification;
}

/** Lives an escalation through: looks exactly when it asks for it, and once more at the same moment, which must tell nothing. */
export class EscalationScenario {
  escalation: Escalation | null = null;
  nextAt: Instant | null = null;
  now: Instant;
  readonly notified: TimedNotification[] = [];
  private readonly fault: FaultKind;
  private readonly rules: EscalationFunctions;
  private recipients: Recipients;

  constructor(
    recipients: Recipients,
    start: string,
    fault: FaultKind = "foodOut",
    rules: EscalationFunctions = realFunctions,
  ) {
    this.recipients = recipients;
    this.fault = fault;
    this.rules = rules;
    this.now = this.local(start);
  }

  /** "2026-12-01 21:40" by the yard's clock. */
  local(text: string): Instant {
    const [date = "", time = ""] = text.split(" ");
    return instantOfLocal(date, time, this.recipients.zone);
  }

  until(text: string | Instant): this {
    const end = typeof text === "string" ? this.local(text) : text;
    for (let looks = 0; this.escalation !== null && this.nextAt !== null && this.nextAt <= end; looks += 1) {
      if (looks > 10_000) throw new Error("the escalation asks to be looked at without end");
      this.now = this.nextAt;
      this.take(this.rules.advance(this.escalation, this.recipients, this.now));
    }
    this.now = end;
    return this;
  }

  /** The server was off: nobody looked until now. */
  offUntil(text: string): this {
    this.now = this.local(text);
    if (this.escalation !== null) this.take(this.rules.advance(this.escalation, this.recipients, this.now));
    return this;
  }

  receives(event: AlarmEvent): this {
    this.take(this.rules.handleEvent(this.escalation, event, ofRowan(this.fault), this.recipients, this.now));
    const again = this.rules.handleEvent(this.escalation, event, ofRowan(this.fault), this.recipients, this.now);
    if (again.notifications.length > 0)
      throw new Error(`notified twice: ${again.notifications.map(notificationText).join("; ")}`);
    return this;
  }

  raised(priority: "urgent" | "soon" = "urgent", sameEpisode = false): this {
    const words = { title: "Rowan: hopper empty", body: "Nothing fell." };
    return this.receives({ kind: "raised", fault: this.fault, priority, at: this.now, ...words, sameEpisode });
  }

  worsened(): this {
    const raisedAt = this.escalation?.raisedAt ?? this.now;
    const words = { title: "Rowan: hopper empty", body: "And a deposit went unpaid." };
    return this.receives({ kind: "worsened", fault: this.fault, priority: "urgent", at: this.now, raisedAt, ...words });
  }

  acknowledged(by: string): this {
    return this.receives({ kind: "acknowledged", fault: this.fault, at: this.now, by });
  }

  returned(): this {
    const words = { title: "Rowan: back to normal", body: "No longer so." };
    return this.receives({ kind: "returned", fault: this.fault, at: this.now, ...words });
  }

  suppressed(): this {
    return this.receives({
      kind: "suppressed",
      fault: this.fault,
      at: this.now,
      text: "Ada put it aside until 18:00.",
    });
  }

  shown(person: string): this {
    if (this.escalation !== null) this.escalation = this.rules.recordDisplay(this.escalation, person, this.now);
    return this;
  }

  joins(people: readonly Recipient[]): this {
    this.recipients = { ...this.recipients, people };
    return this;
  }

  /** "21:40 Ada push Rowan: hopper empty", quiet ones with "softly"; those since the last reading. */
  sentSince(): string[] {
    const since = this.notified.slice(this.read);
    this.read = this.notified.length;
    return since.map(({ at, notification }) => `${this.clock(at)} ${notificationText(notification)}`);
  }
  private read = 0;

  private clock(at: Instant): string {
    const start = this.notified[0]?.at ?? at;
    const date = localDateOf(at, this.recipients.zone);
    const day = date === localDateOf(start, this.recipients.zone) ? "" : `${date.slice(8)}. `;
    return `${day}${localTimeOf(at, this.recipients.zone)}`;
  }

  private take(step: EscalationStep): void {
    if (step.nextAt !== null && step.nextAt <= this.now) throw new Error("a next look must lie ahead");
    this.notified.push(...step.notifications.map((notification) => ({ at: this.now, notification })));
    this.escalation = step.escalation === null ? null : (JSON.parse(JSON.stringify(step.escalation)) as Escalation); // as the store holds it
    this.nextAt = step.nextAt;
    if (this.escalation === null) return;
    const again = this.rules.advance(this.escalation, this.recipients, this.now);
    if (again.notifications.length > 0)
      throw new Error(`notified twice: ${again.notifications.map(notificationText).join("; ")}`);
  }
}

export const notificationText = ({ person, channel, content }: OutgoingNotification): string =>
  `${person} ${channel}${content.silent ? " softly" : ""} ${content.title}`;
