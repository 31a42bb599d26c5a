import type { FeederState } from "../../domain/feeder.ts";
import { type Instant, instant } from "../../domain/instant.ts";
import { stateProblem } from "../../domain/stateShape.ts";
import { type StateUpgrades, upgradeState } from "../../domain/stateUpgrades.ts";
import { FeederDamaged, type FeederRow, type Phone, type YardRow } from "../../ports.ts";
import type { Feeder, Phone as StoredPhone, Yard } from "./generated/sqlite/client.ts";

/** Rows of tables as the flows know them, and times as Prisma stores them in SQLite. */

export const dateOf = (at: Instant): Date => new Date(at);
export const instantFrom = (date: Date): Instant => instant(date.getTime());
export const maybeText = (at: Instant | null): string | null => (at === null ? null : textOf(at));
export const maybeInstant = (date: Date | null): Instant | null => (date === null ? null : instantFrom(date));

/**
 * Prisma writes a DateTime to SQLite as ISO text that ends in +00:00; plain SQL must write the same to be comparable.
 * Thousands of events fall into a few minutes, so the text of the minute is made once (it took a twentieth of the time of a report).
 */
export function textOf(at: Instant): string {
  const minute = Math.floor(at / 60_000);
  if (minute !== lastMinute.number)
    lastMinute = { number: minute, text: new Date(minute * 60_000).toISOString().slice(0, 17) };
  const milliseconds = Math.floor(at) - minute * 60_000;
  return `${lastMinute.text}${(100_000 + milliseconds).toString().slice(1, 3)}.${(1_000 + (milliseconds % 1_000)).toString().slice(1)}+00:00`;
}
let lastMinute = { number: Number.NaN, text: "" };

export function yardFrom(yard: Yard): YardRow {
  const { id, name, zone, latitudeDegrees, longitudeDegrees, digestTime, digestWanted, practice, escalateMinutes } =
    yard;
  const place = latitudeDegrees === null || longitudeDegrees === null ? null : { latitudeDegrees, longitudeDegrees };
  return { id, name, zone, place, digestTime, digestWanted, practice, escalateMinutes };
}

export function feederFrom(feeder: Feeder): FeederRow {
  return {
    id: feeder.id,
    yard: feeder.yardId,
    practice: feeder.practice,
    revision: feeder.revision,
    addedAt: instantFrom(feeder.createdAt),
    lastReportAt: maybeInstant(feeder.lastReportAt),
    lastStepAt: maybeInstant(feeder.lastStepAt),
    rebuiltAt: maybeInstant(feeder.rebuiltAt),
    state: stateOf(feeder.id, feeder.state),
  };
}

export function phoneFrom(phone: StoredPhone): Phone {
  const { id, endpoint, p256dh, auth, label, problem } = phone;
  return {
    id,
    keeper: phone.keeperId,
    endpoint,
    p256dh,
    auth,
    label,
    problem,
    addedAt: instantFrom(phone.addedAt),
    lastAcceptedAt: maybeInstant(phone.lastAcceptedAt),
    lastDisplayedAt: maybeInstant(phone.lastDisplayedAt),
    blockedAt: maybeInstant(phone.blockedAt),
  };
}

/** @throws FeederDamaged where it can't be used. */
export function stateOf(feeder: string, json: string): FeederState {
  try {
    return stateFrom(json);
  } catch (error) {
    throw new FeederDamaged(feeder, (error as Error).message, { cause: error });
  }
}

/** Those that can be used. `YardStore.damagedFeeders` returns the others. */
export const readableRows = <Stored>(rows: readonly Stored[], read: (row: Stored) => FeederRow): readonly FeederRow[] =>
  rows.flatMap((row) => {
    try {
      return [read(row)];
    } catch (error) {
      if (error instanceof FeederDamaged) return [];
      throw error;
    }
  });

/**
 * Upgrades a state that an older version stored.
 * @param upgrades those of this version, unless a test gives others
 * @throws Error for a state that is damaged, or that a newer version wrote: it would be overwritten.
 */
export function stateFrom(json: string, upgrades?: StateUpgrades): FeederState {
  const state = upgradeState(JSON.parse(json), upgrades);
  const problem = stateProblem(state);
  if (problem !== null) throw new Error(problem);
  return state as FeederState;
}
