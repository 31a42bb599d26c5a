import type { RandomSource } from "../../server/practice/random.ts";
import type { PushServiceBehaviour } from "../support/pushService.ts";
import type { ScenarioServer } from "./server.ts";

/** A person of the scenario and the browsers they use. */
export interface ScenarioPerson {
  readonly name: string;
  id: string;
  escalationOrder: number; // 1 is notified first
  readonly email: string | null;
  headers: Record<string, string>;
  readonly passphrase: string;
  /** As a limit by address would count them. */
  readonly from: string;
  readonly phones: ScenarioPhone[];
}

type Subscription = ReturnType<ScenarioServer["push"]["subscribe"]>;

/**
 * A phone of theirs: what its browser knows (`subscription`) and what its push service makes of it. The server learns of
 * neither but by its own routes.
 */
export class ScenarioPhone {
  subscription: Subscription | null = null;
  /** The endpoint that the server has of it; null where it has none, or was asked to delete it. */
  registeredEndpoint: string | null = null;
  switchedOff = false; // it lies in a drawer: what is pushed stands on no screen
  losesReceiptsUntil = 0;
  opensAt = Number.POSITIVE_INFINITY; // when its owner next opens the page on it
  /** What the browser does at the next opening. */
  atOpening: "handIn" | "handInDeadOne" | "withdraw" = "handIn";

  readonly label: string;

  constructor(label: string) {
    this.label = label;
  }
}

/** What a push service answers for one address, until a moment. */
export interface ServiceOutage {
  readonly until: number;
  readonly behaviour: PushServiceBehaviour;
}

export const serviceOutages: readonly PushServiceBehaviour[] = [
  { kind: "answer", status: 429, headers: { "retry-after": "120" } },
  { kind: "answer", status: 500, body: "out of order" },
  { kind: "answer", status: 503 },
  { kind: "hang" },
  { kind: "cutLine" },
  { kind: "acceptAndCut" },
];

export const pathOf = (endpoint: string): string => new URL(endpoint).pathname;

export const oneOf = <T>(chance: RandomSource, all: readonly T[]): T =>
  all[Math.floor(chance.uniform() * all.length)] as T;
