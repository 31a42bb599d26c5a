import { topicOf } from "../../../server/domain/alarms/notices.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import { type Instant, minutes } from "../../../server/domain/instant.ts";
import { instantOfLocal, localDateOf, localTimeOf } from "../../../server/domain/localTime.ts";
import { advanceCall, shownBy } from "../../../server/domain/telling/advanceCall.ts";
import type {
  Call,
  CalledOf,
  CallStep,
  CallWord,
  Circle,
  Person,
  Telling,
} from "../../../server/domain/telling/call.ts";
import { hear } from "../../../server/domain/telling/hear.ts";

/** Alder Croft's people, and a story of one of its alarms told in the yard's own time. */
export const stockholm = "Europe/Stockholm";

export const ada: Person = {
  ...{ id: "ada", name: "Ada", turn: 1, quiet: null, urgentBreaks: true, phones: 1, mail: "ada@alder.example" },
};
export const bo: Person = {
  ...{ id: "bo", name: "Bo", turn: 2, urgentBreaks: false, phones: 2, mail: "bo@alder.example" },
  quiet: { from: "22:00", to: "07:00" },
};
export const cilla: Person = {
  ...{ id: "cilla", name: "Cilla", turn: 3, quiet: null, urgentBreaks: true, phones: 0, mail: "cilla@alder.example" },
};

export const circleOf = (people: readonly Person[], zone = stockholm): Circle => ({
  zone,
  people,
  escalateAfter: minutes(15),
});

/** The rules, so that a story can be played by faulty ones too. */
export interface Rules {
  readonly hear: typeof hear;
  readonly advanceCall: typeof advanceCall;
  readonly shownBy: typeof shownBy;
}
export const ourRules: Rules = { hear, advanceCall, shownBy };

export const ofRowan = (fault: FaultKind): CalledOf => ({
  yard: "alder",
  feeder: "rowan",
  topic: topicOf("rowan", fault),
  name: "Rowan",
});

/** One told word: at which moment, to whom, by what, with sound or not. */
export interface Told {
  readonly at: Instant;
  readonly telling: Telling;
}

/** Lives a call through: looks exactly when it asks for it, and once more at the same moment, which must tell nothing. */
export class Story {
  call: Call | null = null;
  nextAt: Instant | null = null;
  now: Instant;
  readonly told: Told[] = [];
  private readonly fault: FaultKind;
  private readonly rules: Rules;
  private circle: Circle;

  constructor(circle: Circle, start: string, fault: FaultKind = "foodOut", rules: Rules = ourRules) {
    this.circle = circle;
    this.fault = fault;
    this.rules = rules;
    this.now = this.local(start);
  }

  /** "2026-12-01 21:40" by the yard's clock. */
  local(text: string): Instant {
    const [date = "", time = ""] = text.split(" ");
    return instantOfLocal(date, time, this.circle.zone);
  }

  until(text: string | Instant): this {
    const end = typeof text === "string" ? this.local(text) : text;
    for (let looks = 0; this.call !== null && this.nextAt !== null && this.nextAt <= end; looks += 1) {
      if (looks > 10_000) throw new Error("the call asks to be looked at without end");
      this.now = this.nextAt;
      this.take(this.rules.advanceCall(this.call, this.circle, this.now));
    }
    this.now = end;
    return this;
  }

  /** The server was off: nobody looked until now. */
  offUntil(text: string): this {
    this.now = this.local(text);
    if (this.call !== null) this.take(this.rules.advanceCall(this.call, this.circle, this.now));
    return this;
  }

  hears(word: CallWord): this {
    this.take(this.rules.hear(this.call, word, ofRowan(this.fault), this.circle, this.now));
    const again = this.rules.hear(this.call, word, ofRowan(this.fault), this.circle, this.now);
    if (again.tellings.length > 0) throw new Error(`told twice: ${again.tellings.map(said).join("; ")}`);
    return this;
  }

  raised(priority: "urgent" | "soon" = "urgent", sameEpisode = false): this {
    const words = { title: "Rowan: food out", body: "Nothing fell." };
    return this.hears({ kind: "raised", fault: this.fault, priority, at: this.now, ...words, sameEpisode });
  }

  worsened(): this {
    const raisedAt = this.call?.raisedAt ?? this.now;
    const words = { title: "Rowan: food out", body: "And a deposit went unpaid." };
    return this.hears({ kind: "worsened", fault: this.fault, priority: "urgent", at: this.now, raisedAt, ...words });
  }

  acknowledged(by: string): this {
    return this.hears({ kind: "acknowledged", fault: this.fault, at: this.now, by });
  }

  returned(): this {
    const words = { title: "Rowan: back to normal", body: "No longer so." };
    return this.hears({ kind: "returned", fault: this.fault, at: this.now, ...words });
  }

  setAside(): this {
    return this.hears({ kind: "setAside", fault: this.fault, at: this.now, words: "Ada put it aside until 18:00." });
  }

  shown(person: string): this {
    if (this.call !== null) this.call = this.rules.shownBy(this.call, person, this.now);
    return this;
  }

  joins(people: readonly Person[]): this {
    this.circle = { ...this.circle, people };
    return this;
  }

  /** "21:40 Ada push Rowan: food out", quiet ones with "softly"; those since the last time it was asked. */
  heardSince(): string[] {
    const since = this.told.slice(this.read);
    this.read = this.told.length;
    return since.map(({ at, telling }) => `${this.clock(at)} ${said(telling)}`);
  }
  private read = 0;

  private clock(at: Instant): string {
    const start = this.told[0]?.at ?? at;
    const date = localDateOf(at, this.circle.zone);
    const day = date === localDateOf(start, this.circle.zone) ? "" : `${date.slice(8)}. `;
    return `${day}${localTimeOf(at, this.circle.zone)}`;
  }

  private take(step: CallStep): void {
    if (step.nextAt !== null && step.nextAt <= this.now) throw new Error("a next look must lie ahead");
    this.told.push(...step.tellings.map((telling) => ({ at: this.now, telling })));
    this.call = step.call === null ? null : (JSON.parse(JSON.stringify(step.call)) as Call); // as the store holds it
    this.nextAt = step.nextAt;
    if (this.call === null) return;
    const again = this.rules.advanceCall(this.call, this.circle, this.now);
    if (again.tellings.length > 0) throw new Error(`told twice: ${again.tellings.map(said).join("; ")}`);
  }
}

export const said = ({ person, by, notice }: Telling): string =>
  `${person} ${by}${notice.quiet ? " softly" : ""} ${notice.title}`;
