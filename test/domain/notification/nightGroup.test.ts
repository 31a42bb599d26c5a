import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import { after, hours, type Instant, minutes } from "../../../server/domain/instant.ts";
import { instantOfLocal, localTimeOf } from "../../../server/domain/localTime.ts";
import { isActive, recordDisplay } from "../../../server/domain/notification/advanceEscalation.ts";
import type { GroupedYard } from "../../../server/domain/notification/alarmGroup.ts";
import type { AlarmEvent, Escalation, Recipient, Recipients } from "../../../server/domain/notification/escalation.ts";
import {
  advanceGrouped,
  type GroupStep,
  handleGroupedEvent,
} from "../../../server/domain/notification/groupedAlarms.ts";
import { ada, recipientsOf, stockholm } from "./escalationScenario.ts";

const names: Readonly<Record<string, string>> = { rowan: "Rowan", larch: "Larch", elder: "Elder", alder: "Alder" };
const fault = "iceLock" as const;

/** Alder Croft in December: ice comes to its feeders. `joins: false` is a sky that knows no neighbours. */
class Sky {
  now: Instant;
  readonly lines: string[] = [];
  pushes = 0;
  readonly escalations = new Map<string, Escalation>();
  readonly nextAts = new Map<string, Instant>();
  private readonly recipients: Recipients;
  private readonly joins: boolean;
  private feeders = Object.keys(names);

  constructor({ people = [ada], joins = true }: { people?: readonly Recipient[]; joins?: boolean } = {}) {
    this.recipients = recipientsOf(people);
    this.joins = joins;
    this.now = this.at("12:00");
  }

  /** "25:30" is half past one of the next morning. */
  at(time: string): Instant {
    const [hour = 0, minute = 0] = time.split(":").map(Number);
    return after(instantOfLocal("2026-12-01", "00:00", stockholm), minutes(60 * hour + minute));
  }

  escalation = (feeder: string): Escalation | null => this.escalations.get(alarmTopic(feeder, fault)) ?? null;

  ice(feeder: string, time: string): this {
    const words = { title: `${names[feeder]}: ice likely on tray and slot`, body: "It was wet and it froze." };
    this.until(this.at(time));
    return this.receives(feeder, {
      kind: "raised",
      fault,
      priority: "soon",
      at: this.now,
      ...words,
      sameEpisode: false,
    });
  }

  thaws(feeder: string, time: string): this {
    this.until(this.at(time));
    const words = { title: `${names[feeder]}: back to normal`, body: "No longer so." };
    return this.receives(feeder, { kind: "returned", fault, at: this.now, ...words });
  }

  seenBy(by: string, feeder: string, time: string): this {
    this.until(this.at(time));
    return this.receives(feeder, { kind: "acknowledged", fault, at: this.now, by });
  }

  /** It is removed from the yard with all that is stored of it. */
  removed(feeder: string): this {
    this.feeders = this.feeders.filter((one) => one !== feeder);
    this.escalations.delete(alarmTopic(feeder, fault));
    this.nextAts.delete(alarmTopic(feeder, fault));
    return this;
  }

  receives(feeder: string, event: AlarmEvent): this {
    const yard = this.stored();
    const alone = { ...yard, feeders: yard.feeders.filter(({ id }) => id === feeder) };
    return this.take(
      handleGroupedEvent(this.joins ? yard : alone, { feeder, event: event }, this.recipients, this.now),
    );
  }

  /** Looks at whatever comes due until then. */
  until(to: Instant): this {
    for (;;) {
      const [due] = [...this.nextAts].filter(([, at]) => at <= to).sort(([, a], [, b]) => a - b);
      if (due === undefined) break;
      const [topic, at] = due;
      this.now = at;
      this.nextAts.delete(topic);
      this.take(advanceGrouped(this.stored(), this.recipients, at));
    }
    this.now = to;
    return this;
  }

  private stored = (): GroupedYard => ({
    ...{ id: "alder", name: "Alder Croft", fault, escalation: null },
    feeders: this.feeders.map((id) => ({
      ...{ id, name: names[id] ?? id, inService: true, reportEvery: minutes(1) },
      ...{ lastReportAt: this.now, silentFrom: null, escalation: this.escalation(id) },
    })),
  });

  private take({ escalations, notifications }: GroupStep): this {
    for (const { topic, escalation, nextAt } of escalations) {
      if (escalation === null) this.escalations.delete(topic);
      else this.escalations.set(topic, escalation);
      if (nextAt === null) this.nextAts.delete(topic);
      else this.nextAts.set(topic, nextAt);
    }
    for (const { person, channel, content } of notifications) {
      if (!content.silent) this.pushes += 1;
      this.lines.push(
        `${localTimeOf(this.now, stockholm)} ${person} ${channel}${content.silent ? " quietly" : ""}: ${content.title} | ${content.body}`,
      );
      // Each phone shows what it is sent, so that no emails follow.
      const escalation = this.escalations.get(content.topic);
      if (escalation !== undefined && channel === "push")
        this.escalations.set(content.topic, recordDisplay(escalation, person, this.now));
    }
    return this;
  }
}

describe("ice under one sky", () => {
  it("pushes once for a night, and names the others without a sound as they join", () => {
    const sky = new Sky().ice("rowan", "17:00").ice("larch", "17:05").ice("elder", "19:00").ice("alder", "22:00");
    expect(sky.lines).toEqual([
      "17:00 ada push: Rowan: ice likely on tray and slot | It was wet and it froze.",
      "17:05 ada push quietly: Rowan: ice likely on tray and slot | It was wet and it froze. Also at Larch.",
      "19:00 ada push quietly: Rowan: ice likely on tray and slot | It was wet and it froze. Also at Larch and Elder.",
      "22:00 ada push quietly: Rowan: ice likely on tray and slot | It was wet and it froze. Also at Larch, Elder and Alder.",
    ]);
  });

  it("would notify for each without grouping", () => {
    const alone = new Sky({ joins: false }).ice("rowan", "17:00").ice("larch", "17:05").ice("elder", "19:00");
    expect(alone.pushes).toBe(3);
  });

  it("pushes again for another night's ice", () => {
    const sky = new Sky().ice("rowan", "17:00").seenBy("Ada", "rowan", "17:10").ice("larch", "35:01");
    expect(sky.pushes).toBe(2);
  });

  it("lists all of it in the morning where it came during quiet hours", () => {
    const sleeper = { ...ada, quietHours: { from: "16:00", to: "07:00" } };
    const sky = new Sky({ people: [sleeper] })
      .ice("rowan", "17:00")
      .ice("larch", "18:00")
      .until(instantOfLocal("2026-12-02", "07:00", stockholm));
    expect(sky.lines).toEqual([
      "07:00 ada push: Rowan: ice likely on tray and slot | Since yesterday 17:00. It was wet and it froze. Also at Larch.",
    ]);
  });

  it("goes on under the next one's name, silently, when the first has ended", () => {
    const sky = new Sky().ice("rowan", "17:00").ice("larch", "17:05").ice("elder", "17:06").thaws("rowan", "20:00");
    expect(sky.pushes).toBe(1);
    expect(sky.lines.slice(-2)).toEqual([
      "20:00 ada push quietly: Rowan: back to normal | No longer so.",
      "20:00 ada push quietly: Larch: ice likely on tray and slot | It was wet and it froze. Also at Elder.",
    ]);
    sky.thaws("larch", "21:00").thaws("elder", "22:00");
    expect(sky.lines.at(-1)).toBe("22:00 ada push quietly: Elder: back to normal | No longer so.");
    expect(sky.pushes).toBe(1);
  });

  it("goes on under the one that has been iced for longest, whatever their order in the yard", () => {
    const sky = new Sky().ice("elder", "17:00").ice("alder", "17:05").ice("rowan", "17:10").thaws("elder", "20:00");
    expect(sky.lines.at(-1)).toBe(
      "20:00 ada push quietly: Alder: ice likely on tray and slot | It was wet and it froze. Also at Rowan.",
    );
  });

  it("leaves another night's ice as it is when one of its own ends", () => {
    const sky = new Sky().ice("rowan", "17:00").ice("larch", "36:00").ice("elder", "36:05");
    const rowan = sky.escalation("rowan");
    sky.thaws("larch", "36:10");
    expect(sky.lines.at(-1)).toBe(
      "12:10 ada push quietly: Elder: ice likely on tray and slot | It was wet and it froze.",
    );
    expect(sky.escalation("rowan")).toEqual(rowan);
  });

  it("pushes in the morning for the one that is left, where the first was over before anybody woke", () => {
    const sleeper = { ...ada, quietHours: { from: "16:00", to: "07:00" } };
    const sky = new Sky({ people: [sleeper] }).ice("rowan", "17:00").ice("larch", "18:00").thaws("rowan", "20:00");
    sky.until(instantOfLocal("2026-12-02", "07:30", stockholm));
    expect(sky.lines).toEqual([
      "07:00 ada push: Larch: ice likely on tray and slot | Since yesterday 18:00. It was wet and it froze.",
    ]);
  });

  it("asks nothing more of whoever has seen it that night", () => {
    const sky = new Sky()
      .ice("rowan", "17:00")
      .seenBy("Ada", "rowan", "17:10")
      .ice("larch", "18:00")
      .thaws("rowan", "20:00");
    expect(sky.pushes).toBe(1);
    sky.until(sky.at("23:00"));
    expect(sky.pushes).toBe(1);
  });

  it("forgets no feeder whose speaker was removed from the yard", () => {
    const sky = new Sky()
      .ice("rowan", "17:00")
      .ice("larch", "17:05")
      .removed("rowan")
      .until(after(new Sky().at("17:05"), hours(7)));
    expect(sky.lines.at(-1)).toMatch(/ada push: Larch: ice likely on tray and slot/);
    expect(sky.pushes).toBe(2);
  });

  it("leaves nobody without a voice, whatever comes and goes (property)", () => {
    const feeder = fc.constantFrom(...Object.keys(names));
    const step = fc.record({
      kind: fc.constantFrom("ice", "ice", "thaws", "seen"),
      feeder,
      wait: fc.integer({ min: 0, max: 600 }),
    });
    fc.assert(
      fc.property(fc.array(step, { maxLength: 30 }), fc.boolean(), (steps, sleeps) => {
        const sky = new Sky({ people: [sleeps ? { ...ada, quietHours: { from: "22:00", to: "07:00" } } : ada] });
        for (const { kind, feeder, wait } of steps) {
          sky.until(after(sky.now, minutes(wait)));
          const time = `0:${(sky.now - sky.at("0:00")) / 60_000}`;
          const open = isActive(sky.escalation(feeder));
          if (kind === "ice" && !open) sky.ice(feeder, time);
          if (kind === "thaws" && open) sky.thaws(feeder, time);
          if (kind === "seen" && open) sky.seenBy("Ada", feeder, time);
          for (const escalation of sky.escalations.values()) {
            if (!isActive(escalation) || escalation.acknowledgedBy !== null) continue;
            const speaker = [...sky.escalations.values()].find(({ topic }) => topic === escalation.groupedUnder);
            const hasVoice =
              escalation.groupedUnder === null
                ? escalation.recipientStates.length > 0 || sky.nextAts.has(escalation.topic)
                : isActive(speaker ?? null);
            expect(hasVoice, `${escalation.subjectName} after ${kind} ${feeder}`).toBe(true);
            if (speaker !== undefined) expect(speaker.alsoFeeders).toContain(escalation.subjectName);
          }
        }
      }),
    );
  });
});
