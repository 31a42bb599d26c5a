import type { FeederEvent } from "../report.ts";

/** An event with the boot that recorded it: seq counts within one boot only. */
export type TrainingEvent = FeederEvent & { readonly boot: string };

/** A number of an event that no other event of its feeder has. */
export const eventKey = (boot: string, seq: number): string => `${boot} ${seq}`;

export function eventOfKey(key: string): { readonly boot: string; readonly seq: number } {
  const end = key.lastIndexOf(" ");
  return { boot: key.slice(0, end), seq: Number(key.slice(end + 1)) };
}
