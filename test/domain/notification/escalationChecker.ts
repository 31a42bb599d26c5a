import { after, earlier, type Instant, later, milliseconds, minutes } from "../../../server/domain/instant.ts";
import { localTimeOf } from "../../../server/domain/localTime.ts";
import type {
  AlarmEvent,
  Escalation,
  EscalationStep,
  OutgoingNotification,
  Recipient,
  Recipients,
} from "../../../server/domain/notification/escalation.ts";
import { reminderGap } from "../../../server/domain/notification/intervals.ts";
import { type EscalationFunctions, notificationText, ofRowan } from "./escalationScenario.ts";

/**
 * Lives an escalation through and judges it by a plain record of who was notified when, which knows nothing of how an escalation remembers it.
 * An alarm of a yard's feeder comes, grows more urgent, is answered, goes and comes back; the server is off now and then.
 */
export type EscalationAction =
  | { readonly kind: "wait"; readonly minutes: number; readonly looks: boolean } // the server is off where it doesn't look
  | { readonly kind: "raise"; readonly priority: Priority }
  | { readonly kind: "show"; readonly who: number } // a phone of theirs
  | Answer;

type Answer =
  | { readonly kind: "worsen" | "return" | "suppress" }
  | { readonly kind: "acknowledge"; readonly who: number };

type Priority = "urgent" | "soon";

interface Alarm {
  readonly priority: Priority;
  readonly raisedAt: Instant;
  readonly answered: boolean;
  readonly returnedAt: Instant | null;
}

/** The record of one person since they were last notified again. */
interface NotifiedRecord {
  readonly firstAt: Instant;
  pushes: Instant[]; // pushes, or emails to who has no phone
  emails: Instant[];
  gotEmail: boolean;
}

const earlierOf = (a: Instant, b: Instant): Instant => earlier(a, b);

const fault = "foodOut";
const words = { title: "Rowan: hopper empty", body: "Nothing fell." };

export class EscalationChecker {
  /** What went wrong first; null where nothing did. */
  wrong: string | null = null;
  private escalation: Escalation | null = null;
  private nextAt: Instant | null = null;
  private alarm: Alarm | null = null;
  private everShown = false;
  private readonly notified = new Map<string, NotifiedRecord>();
  private readonly everTold = new Set<string>();
  /** On whose screens the alarm stands, as far as pushes go. */
  private readonly screens = new Set<string>();
  private readonly rules: EscalationFunctions;
  private readonly recipients: Recipients;
  private now: Instant;

  constructor(rules: EscalationFunctions, recipients: Recipients, start: Instant) {
    this.rules = rules;
    this.recipients = recipients;
    this.now = start;
  }

  live(step: EscalationAction): void {
    if (step.kind === "wait") this.wait(after(this.now, minutes(step.minutes)), step.looks);
    else if (step.kind === "show") this.show(this.personAt(step.who));
    else if (step.kind === "raise") this.raise(step.priority);
    else if (this.alarm !== null && this.alarm.returnedAt === null) this.answer(step, this.alarm);
  }

  /** Left alone for two days, what stands unanswered has reached everybody whom it must. */
  end(): void {
    this.lookUntil(after(this.now, minutes(2 * 1440)));
    const { alarm, escalation } = this;
    if (this.wrong !== null || alarm === null || alarm.answered || alarm.returnedAt !== null) return;
    const reachable = this.recipients.people.filter(({ phoneCount, email }) => phoneCount > 0 || email !== null);
    const firstTurn = Math.min(...reachable.map(({ escalationOrder }) => escalationOrder));
    for (const { id, escalationOrder, email } of reachable) {
      const notified = this.notified.get(id);
      if (!notified && alarm.priority === "urgent") this.fail(`never reached ${id}`);
      if (!notified && escalationOrder === firstTurn) this.fail(`never reached ${id} of the first level`);
      // Whose phone proves nothing gets an email.
      if (notified && !notified.gotEmail && email !== null && !this.everShown) this.fail(`no email to ${id}`);
    }
    if (escalation === null) {
      this.fail("forgot an escalation that stands");
      return;
    }
    if (escalation.unreachable !== (reachable.length === 0)) this.fail("misjudged whether anybody could be notified");
  }

  private show({ id }: Recipient): void {
    if (this.escalation !== null) this.escalation = this.rules.recordDisplay(this.escalation, id, this.now);
    this.everShown = true;
  }

  private answer(step: Answer, alarm: Alarm): void {
    switch (step.kind) {
      case "worsen":
        this.tick();
        this.notified.clear();
        this.alarm = { ...alarm, priority: "urgent", answered: false };
        this.handleEvent({
          ...{ kind: "worsened", fault, priority: "urgent", at: this.now, raisedAt: alarm.raisedAt, ...words },
        });
        break;
      case "return":
        this.alarm = { ...alarm, returnedAt: this.now };
        this.handleEvent({ kind: "returned", fault, at: this.now, title: "Rowan: back to normal", body: "" });
        this.checkScreens(null);
        break;
      case "suppress":
        this.alarm = { ...alarm, returnedAt: this.now, answered: true }; // its next raise is news
        this.handleEvent({ kind: "suppressed", fault, at: this.now, text: "" });
        this.checkScreens(null);
        break;
      case "acknowledge":
        if (alarm.answered) break;
        this.alarm = { ...alarm, answered: true };
        this.handleEvent({ kind: "acknowledged", fault, at: this.now, by: this.personAt(step.who).name });
        this.checkScreens(this.personAt(step.who).id);
    }
  }

  private raise(wanted: Priority): void {
    const before = this.alarm;
    if (before !== null && before.returnedAt === null) return;
    this.tick();
    const back = before?.returnedAt ?? null;
    const sameEpisode = before !== null && back !== null && !before.answered && this.now < after(back, minutes(60));
    const priority = sameEpisode ? before.priority : wanted;
    if (!sameEpisode) this.notified.clear();
    // Whoever had an email that it is over gets one that it isn't.
    for (const [person, notified] of this.notified) {
      notified.emails = [];
      if (this.person(person)?.phoneCount === 0) notified.pushes = [];
    }
    this.alarm = { priority, raisedAt: this.now, answered: false, returnedAt: null };
    this.handleEvent({ kind: "raised", fault, priority, at: this.now, ...words, sameEpisode });
  }

  private wait(end: Instant, looks: boolean): void {
    if (looks) this.lookUntil(end);
    this.now = end;
    if (!looks && this.escalation !== null) this.take(this.rules.advance(this.escalation, this.recipients, this.now));
  }

  private lookUntil(end: Instant): void {
    for (let looks = 0; this.escalation !== null && this.nextAt !== null && this.nextAt <= end; looks += 1) {
      if (this.wrong !== null) return;
      if (looks > 2_000) {
        this.fail("looks without end");
        return;
      }
      this.now = later(this.nextAt, this.now);
      this.take(this.rules.advance(this.escalation, this.recipients, this.now));
    }
    this.now = end;
  }

  private handleEvent(event: AlarmEvent): void {
    this.take(this.rules.handleEvent(this.escalation, event, ofRowan(fault), this.recipients, this.now));
  }

  private take(step: EscalationStep): void {
    for (const notification of step.notifications) this.check(notification);
    if (step.nextAt !== null && step.nextAt <= this.now) this.fail("wants to be looked at in the past");
    const stored = JSON.stringify(step.escalation);
    if (stored.length > 4_000) this.fail("an escalation grows without bound");
    this.escalation = JSON.parse(stored) as Escalation | null;
    this.nextAt = step.nextAt;
    if (this.escalation === null) return;
    const again = this.rules.advance(this.escalation, this.recipients, this.now);
    if (again.notifications.length > 0) this.fail("notified twice at one moment");
  }

  private check(notification: OutgoingNotification): void {
    const { content, channel } = notification;
    const person = this.person(notification.person);
    if (!person) {
      this.fail(`notified somebody else: ${notificationText(notification)}`);
      return;
    }
    if (channel === "push" && person.phoneCount === 0)
      this.fail(`pushed to nobody's phone: ${notificationText(notification)}`);
    if (channel === "email" && person.email === null)
      this.fail(`mailed without an address: ${notificationText(notification)}`);
    if ((channel === "email" || !content.silent) && this.isAsleep(person, content.priority)) {
      this.fail(`disturbed quiet hours: ${notificationText(notification)}`);
    }
    if (channel === "push" && content.isClosing) this.screens.delete(person.id);
    else if (channel === "push") this.screens.add(person.id);
    if (!content.silent) this.checkRing(notification, person);
    else if (!this.everTold.has(person.id))
      this.fail(`corrected what was never sent: ${notificationText(notification)}`);
  }

  private checkRing(notification: OutgoingNotification, person: Recipient): void {
    const { alarm } = this;
    if (alarm === null || alarm.answered || alarm.returnedAt !== null) {
      this.fail(`notified after the end: ${notificationText(notification)}`);
      return;
    }
    this.everTold.add(person.id);
    if (!this.notified.has(person.id)) this.checkTurn(person, alarm.priority);
    const notified = this.notified.get(person.id) ?? { firstAt: this.now, pushes: [], emails: [], gotEmail: false };
    this.notified.set(person.id, notified);
    if (notification.channel === "email") {
      const email = notified.emails.at(-1);
      // Between two emails lie three reminders, or two where the first email came in place of an unseen push.
      const least = reminderGap(alarm.priority, 1) * 2;
      if (email !== undefined && this.now - email < least)
        this.fail(`a second email too soon: ${notificationText(notification)}`);
      notified.emails.push(this.now);
      notified.gotEmail = true;
      if (person.phoneCount > 0) return;
    }
    const gap = reminderGap(alarm.priority, Math.max(1, notified.pushes.length));
    const ring = notified.pushes.at(-1);
    if (ring !== undefined && this.now - ring < gap)
      this.fail(`notified before a reminder was due: ${notificationText(notification)}`);
    notified.pushes.push(this.now);
  }

  /** Those before them had their time; what may wait a day goes past nobody who can be reached. */
  private checkTurn(person: Recipient, priority: Priority): void {
    const sooner = this.recipients.people.filter(({ escalationOrder }) => escalationOrder < person.escalationOrder);
    const isLatecomer = this.recipients.people.some(
      ({ id, escalationOrder }) => escalationOrder >= person.escalationOrder && this.notified.has(id),
    );
    if (isLatecomer) return; // slept while their level went by
    const since = sooner.flatMap(({ id }) => this.notified.get(id)?.firstAt ?? []);
    const tooSoon = since.length > 0 && this.now < after(since.reduce(earlierOf), this.recipients.escalateAfter);
    if (priority === "urgent" && tooSoon) this.fail(`${person.id} came too soon after the level before`);
    const passed = sooner.some(({ phoneCount, email }) => phoneCount > 0 || email !== null);
    if (priority === "soon" && passed) this.fail(`${person.id} was notified of what was for the first level`);
  }

  private checkScreens(but: string | null): void {
    const left = [...this.screens].filter((id) => id !== but);
    if (left.length > 0) this.fail(`left the alarm on the screens of ${left.join(", ")}`);
  }

  /** By the clock on the wall: the nights of a change are judged by quietHours.test.ts. */
  private isAsleep({ quietHours, urgentBreaks }: Recipient, priority: string): boolean {
    if (quietHours === null || (priority === "urgent" && urgentBreaks)) return false;
    const wall = localTimeOf(this.now, this.recipients.zone);
    const { from, to } = quietHours;
    return from < to ? wall >= from && wall < to : wall >= from || wall < to;
  }

  /** No two words of an alarm come at one moment. */
  private tick(): void {
    this.now = after(this.now, milliseconds(1));
  }

  private person(id: string): Recipient | undefined {
    return this.recipients.people.find((one) => one.id === id);
  }

  private personAt(n: number): Recipient {
    const person = this.recipients.people[n];
    if (!person) throw new RangeError(`expected one of ${this.recipients.people.length} people, got ${n}`);
    return person;
  }

  private fail(what: string): void {
    this.wrong ??= `${localTimeOf(this.now, this.recipients.zone)}: ${what}`;
  }
}
