import { faultKinds } from "../../../server/domain/faults.ts";
import { needsRefillToday } from "../../../server/domain/hopper/hopperFaults.ts";
import {
  after,
  days,
  earlier,
  hours,
  type Instant,
  minutes,
  type Span,
  seconds,
} from "../../../server/domain/instant.ts";
import { addLocalDays, instantOfLocal, localDateOf } from "../../../server/domain/localTime.ts";
import type { AlarmEvent, Escalation } from "../../../server/domain/notification/escalation.ts";
import { poisson } from "../../../server/practice/model/birdDay.ts";
import { type RandomSource, seededRandom } from "../../../server/practice/random.ts";
import { everySensor, randomPlot } from "../../simulator/plot.ts";
import { Agenda } from "./agenda.ts";
import { absences, drawIncidents, type Incident, spanBetween, timeToChanceDiscovery } from "./incidents.ts";
import {
  displayTime,
  isAnswered,
  mendsWhatDigestSays,
  readsDigest,
  readTime,
  refillsWhenAsked,
  tripTime,
  zone,
} from "./keeperModel.ts";
import { NotificationModel, type SentNotification } from "./notificationModel.ts";
import { actualCause, faultsOfIncident } from "./truth.ts";
import { WatchedFeeder } from "./watchedFeeder.ts";
import { WinterCounter } from "./winterCounter.ts";

const names = ["Rowan", "Larch", "Birch", "Aspen", "Hazel", "Oak", "Elm", "Ash", "Pine", "Yew"];
const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const reportEverySeconds = 300;

export interface WinterOptions {
  readonly seed: number;
  readonly feeders?: number; // ten at most
  readonly days?: number; // from 1 November on; left out: through 31 March
  readonly mishaps?: boolean;
}

/**
 * One winter of one yard, from 1 November to 31 March by its own clock: feeders live and break, the server's own steps judge what
 * they report, its own rules notify two people, who respond, refill and repair. The same seed is the same winter.
 */
export function simulateWinter({ seed, feeders = names.length, days, mishaps = true }: WinterOptions): WinterCounter {
  const from = instantOfLocal("2025-11-01", "00:00", zone);
  const to = instantOfLocal(days === undefined ? "2026-04-01" : addLocalDays("2025-11-01", days), "00:00", zone);
  return new Winter(seed, feeders, from, to, mishaps).live();
}

class Winter {
  readonly #from: Instant;
  readonly #to: Instant;
  readonly #chance: RandomSource;
  readonly #feeders: readonly WatchedFeeder[];
  readonly #post: NotificationModel;
  readonly #agenda = new Agenda();
  readonly #tally: WinterCounter;
  #yardIncident: Incident | null = null;
  #awayUntil: Instant;

  constructor(seed: number, count: number, from: Instant, to: Instant, mishaps: boolean) {
    this.#from = from;
    this.#to = to;
    this.#chance = seededRandom(0x77170000 ^ seed);
    this.#awayUntil = from;
    this.#feeders = names.slice(0, count).map((name, index) => new WatchedFeeder(name, plotOf(seed, index, from)));
    this.#post = new NotificationModel(() => this.#feeders);
    const incidents = mishaps ? drawIncidents(this.#chance, count, from, to) : [];
    this.#tally = new WinterCounter(count, from, to, incidents);
    for (const incident of incidents) this.#agenda.plan(incident.from, (at) => this.#begins(incident, at));
    this.#planAbsences(mishaps);
    this.#agenda.plan(instantOfLocal("2025-11-01", "07:30", zone), (at) => this.#breakfast(at));
  }

  live(): WinterCounter {
    const every = seconds(reportEverySeconds);
    for (let at = after(this.#from, every); at <= this.#to; at = after(at, every)) {
      this.#passUntil(at);
      this.#report(at);
    }
    return this.#tally;
  }

  /** Periodic checks, escalations that come due, and what people do: whatever comes first. */
  #passUntil(at: Instant): void {
    for (;;) {
      let now = this.#feeders.reduce((soonest, { lookAt }) => earlier(soonest, lookAt), at);
      now = earlier(now, this.#agenda.nextAt ?? at);
      now = earlier(now, this.#post.dueAt ?? at);
      if (now >= at) return;
      if (this.#agenda.nextAt !== null && this.#agenda.nextAt <= now) this.#agenda.next(now);
      for (const feeder of this.#feeders)
        if (feeder.lookAt <= now) this.#handleEvents(feeder, feeder.learn({ kind: "minutePassed" }, now), now);
      if ((this.#post.dueAt ?? at) <= now) this.#deliver(this.#post.advance(now), now);
    }
  }

  #report(at: Instant): void {
    const received = this.#feeders.flatMap((feeder) => feeder.lines(at).map(({ line }) => ({ feeder, line })));
    received.sort((one, other) => one.line.at - other.line.at);
    for (const { feeder, line } of received) this.#handleEvents(feeder, feeder.take(line), line.at);
    for (const feeder of this.#feeders) {
      if (!feeder.wasRefilled) continue;
      feeder.foodPromised = false;
      feeder.phone.asksForFood = false;
    }
  }

  // --- notification -----------------------------------------------------------------------------------------------------------

  #handleEvents(feeder: WatchedFeeder, events: readonly AlarmEvent[], now: Instant): void {
    for (const event of events) this.#deliver(this.#post.handle(feeder, event, now), now);
  }

  #deliver(sent: readonly SentNotification[], now: Instant): void {
    for (const { notification, escalation } of sent) {
      const { content, person, channel } = notification;
      if (channel === "email") {
        this.#tally.mailed(content.isClosing === true);
        if (escalation !== null && content.isClosing !== true)
          this.#planReading(
            escalation,
            person,
            after(now, spanBetween([minutes(5), minutes(60)], this.#chance)),
            false,
          );
        continue;
      }
      const arrives = displayTime(now, this.#chance);
      if (arrives !== null) this.#agenda.plan(arrives, (at) => this.#post.shown(content.topic, person, at));
      if (content.silent || escalation === null) {
        this.#tally.corrected();
        continue;
      }
      const about = this.#feedersOf(escalation);
      const wrong = actualCause(escalation.fault, about, this.#yardIncident, now);
      const times = escalation.recipientStates.find((one) => one.person === person)?.timesNotified ?? 1;
      this.#tally.notified({ escalation, person, at: now, reminder: times > 1, wrong });
      for (const incident of this.#standing(about))
        if (faultsOfIncident(escalation.fault, incident)) incident.notifiedAt ??= now;
      if (arrives !== null) this.#planReading(escalation, person, arrives, escalation.priority === "urgent");
    }
  }

  #feedersOf({ feeder, silentFeeders }: Escalation): readonly WatchedFeeder[] {
    return this.#feeders.filter(({ id }) => id === feeder || silentFeeders.some((part) => part.feeder === id));
  }

  #standing(about: readonly WatchedFeeder[]): readonly Incident[] {
    const own = about.flatMap(({ broken }) => broken ?? []);
    return this.#yardIncident === null ? own : [...own, this.#yardIncident];
  }

  // --- people ------------------------------------------------------------------------------------------------------------

  #planReading({ topic }: Escalation, person: string, shown: Instant, urgent: boolean): void {
    this.#agenda.plan(readTime(shown, urgent, this.#chance), (at) => this.#reads(topic, person, at));
  }

  #reads(topic: string, person: string, now: Instant): void {
    const escalation = this.#post.escalation(topic);
    if (escalation === null || escalation.endedAt !== null || escalation.acknowledgedBy !== null) return;
    const urgent = escalation.priority === "urgent";
    if (!isAnswered(urgent, this.#chance)) return;
    const about = this.#feedersOf(escalation);
    const { fault } = escalation;
    for (const feeder of about)
      this.#handleEvents(
        feeder,
        feeder.learn({ kind: "alarmAcknowledged", fault, by: person === "ada" ? "Ada" : "Bo", raisedAt: null }, now),
        now,
      );
    for (const feeder of about) this.#planTrip(feeder, tripTime(now, urgent, this.#chance));
    const [first] = about;
    if (first !== undefined && (fault === "foodLow" || fault === "foodOut")) first.foodPromised = true;
    if (first?.foodPromised && now >= this.#awayUntil) first.phone.asksForFood = true;
  }

  #planTrip(feeder: WatchedFeeder, at: Instant): void {
    if (feeder.tripPlanned) return;
    feeder.tripPlanned = true;
    this.#agenda.plan(at < this.#awayUntil ? after(this.#awayUntil, hours(12)) : at, (now) =>
      this.#visits(feeder, now),
    );
  }

  #visits(feeder: WatchedFeeder, now: Instant): void {
    feeder.tripPlanned = false;
    const { broken, living, plot } = feeder;
    if (living.truth().grams < 0.6 * plot.food.capacityGrams) feeder.foodPromised = true;
    if (feeder.foodPromised) feeder.phone.asksForFood = true;
    if (broken !== null && broken.lasts === null) {
      const mended = after(now, spanBetween(broken.kind.repair, this.#chance));
      this.#agenda.plan(mended, (at) => this.#ends(broken, at));
      this.#agenda.plan(after(mended, minutes(20)), (at) => this.#resets(feeder, at));
    } else this.#resets(feeder, now);
  }

  /** Whoever has checked the feeder enters it, where an alarm waits for that. */
  #resets(feeder: WatchedFeeder, now: Instant): void {
    for (const fault of faultKinds) {
      const state = feeder.state.alarms[fault]?.state;
      if (state === "latchedUnacknowledged" || state === "latchedAcknowledged")
        this.#handleEvents(feeder, feeder.learn({ kind: "alarmReset", fault, by: "Ada" }, now), now);
    }
  }

  #breakfast(now: Instant): void {
    const tomorrow = instantOfLocal(addLocalDays(localDateOf(now, zone), 1), "07:30", zone);
    this.#agenda.plan(tomorrow, (at) => this.#breakfast(at));
    for (const feeder of this.#feeders) feeder.phone.asksForFood = feeder.foodPromised && now >= this.#awayUntil;
    if (now < this.#awayUntil || !this.#chance.isTrueWith(readsDigest)) return;
    for (const feeder of this.#feeders) {
      const { state, phone } = feeder;
      const wanted = needsRefillToday(state.hopper, state.settings, now);
      if (wanted && this.#chance.isTrueWith(refillsWhenAsked)) phone.asksForFood = true;
      const stands = faultKinds.some((fault) => {
        const alarm = state.alarms[fault];
        return alarm !== undefined && alarm.priority !== "note" && "raisedAt" in alarm;
      });
      if (stands && this.#chance.isTrueWith(mendsWhatDigestSays))
        this.#planTrip(feeder, tripTime(now, false, this.#chance));
    }
  }

  #planAbsences(wanted: boolean): void {
    const long = (this.#to - this.#from) as Span;
    const share = long / days(151);
    for (let left = wanted ? poisson(absences.perWinter * share, this.#chance) : 0; left > 0; left -= 1) {
      const begins = after(this.#from, Math.round(this.#chance.uniform() * long) as Span);
      const ends = after(begins, spanBetween(absences.lasts, this.#chance));
      this.#agenda.plan(begins, () => {
        this.#awayUntil = ends;
        for (const { phone } of this.#feeders) phone.asksForFood = false;
        this.#tally.wentAway();
      });
    }
  }

  // --- what goes wrong ---------------------------------------------------------------------------------------------------

  #begins(incident: Incident, now: Instant): void {
    const feeder = incident.feeder === null ? null : (this.#feeders[incident.feeder] ?? null);
    const busy = feeder === null ? this.#yardIncident !== null : feeder.broken !== null;
    if (busy) {
      this.#agenda.plan(after(now, hours(6)), (at) => this.#begins(incident, at)); // one after the other
      return;
    }
    incident.beganAt = now;
    if (feeder === null) this.#yardIncident = incident;
    else feeder.broken = incident;
    this.#suffer();
    if (incident.lasts === null) {
      this.#agenda.plan(after(now, timeToChanceDiscovery), (at) => {
        if (feeder !== null && incident.endedAt === null) this.#planTrip(feeder, tripTime(at, false, this.#chance));
      });
    } else this.#agenda.plan(after(now, incident.lasts), (at) => this.#ends(incident, at));
  }

  #ends(incident: Incident, now: Instant): void {
    if (incident.endedAt !== null) return;
    incident.endedAt = now;
    if (this.#yardIncident === incident) this.#yardIncident = null;
    for (const feeder of this.#feeders) if (feeder.broken === incident) feeder.broken = null;
    this.#suffer();
  }

  #suffer(): void {
    for (const { phone, broken } of this.#feeders) phone.mishap = (this.#yardIncident ?? broken)?.kind.mishap ?? null;
  }
}

function plotOf(seed: number, index: number, from: Instant) {
  const drawn = randomPlot(seed * 16 + index);
  return {
    ...drawn,
    weatherSeed: seed,
    from,
    place,
    days: 151,
    reportEverySeconds,
    sensors: everySensor,
    line: { ...drawn.line, outagesPerMonth: 0 }, // planned here
    birds: { ...drawn.birds, trendPerDay: 0 },
    keeper: { ...drawn.keeper, refillsBelow: "whenNotified" as const },
  };
}
