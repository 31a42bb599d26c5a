import type { FeederEvent } from "../report.ts";

/** An event with the boot that recorded it: seq counts within one boot only. */
export type TrainingEvent = FeederEvent & { readonly boot: string };

/** A number of an event that no other event of its feeder has. */
export const eventKey = (boot: string, seq: number): string => `${boot} ${seq}`;
