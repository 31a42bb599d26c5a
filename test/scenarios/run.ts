import type { HomeView } from "../../server/contract/api.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import type { FeederTerms, Rule, Violation } from "./feederChecks.ts";
import type { ScenarioFeeder } from "./feeders.ts";
import type { EndpointKnowledge, FeederKnowledge } from "./knowledge.ts";
import type { ScenarioPerson } from "./people.ts";
import { checkStatus } from "./protocolChecks.ts";
import type { Method, ScenarioAnswer, ScenarioRequest, ScenarioServer } from "./server.ts";

export interface LocatedViolation extends Violation {
  readonly step: number;
  readonly at: string;
}
export interface WatchedScenarioFeeder {
  readonly feeder: ScenarioFeeder;
  readonly known: FeederKnowledge;
  readonly terms: FeederTerms;
}

/** What all parts of one scenario share: its server, its random numbers, its people and feeders, and the violations found. */
export class ScenarioRun {
  readonly violations: LocatedViolation[] = [];
  readonly cases: Record<string, number> = {
    reports: 0,
    lostRequests: 0,
    lostAnswers: 0,
    repeats: 0,
    starts: 0,
    startsWhilePaused: 0,
    sameBootStarts: 0,
    unreadable: 0,
    junkReadings: 0,
    misspelt: 0,
    foodThoughPaused: 0,
    contradictions: 0,
    orders: 0,
    ordersOfTwo: 0,
    pauseAll: 0,
    acknowledged: 0,
    shelved: 0,
    gone: 0,
    newPhones: 0,
    renewed: 0,
    withdrawn: 0,
    deadHandedIn: 0,
    receipts: 0,
    undisplayedThenNotified: 0,
    restarts: 0,
    refusedStoring: 0,
    mails: 0,
    sessionsEnded: 0,
    okSeen: 0,
    confirmedSeen: 0,
    provedSeen: 0,
    overdueSeen: 0,
  }; // prettier-ignore
  readonly checks: Record<string, number> = {};
  readonly chance: RandomSource;
  readonly people: ScenarioPerson[] = [];
  readonly watched: WatchedScenarioFeeder[] = [];
  readonly endpoints = new Map<string, EndpointKnowledge>();
  step = 0;
  yard = "";
  /** As the last checked step showed it. */
  home: HomeView | null = null;
  /** Nothing can be stored in this step. */
  refusesToStore = false;
  /** The process dies in this step before its loop comes round. */
  loopStandsStill = false;

  readonly server: ScenarioServer;
  /** How much more often everything goes wrong than in the long form. */
  readonly hurry: number;

  constructor(server: ScenarioServer, seed: number, hurry: number) {
    [this.server, this.hurry] = [server, hurry];
    this.chance = seededRandom(seed);
  }

  get now(): number {
    return this.server.now();
  }

  note(found: readonly Violation[]): void {
    const [step, at] = [this.step, new Date(this.now).toISOString()];
    for (const one of found) this.violations.push({ ...one, step, at });
  }

  count(what: string, times = 1): void {
    if (!(what in this.cases)) throw new Error(`expected a known case, got ${what}`);
    this.cases[what] = (this.cases[what] as number) + times;
  }

  check(rule: Rule): void {
    this.checks[rule] = (this.checks[rule] ?? 0) + 1;
  }

  happens(perDay: number): boolean {
    return this.chance.isTrueWith(Math.min(0.5, (perDay * this.hurry) / 1_440));
  }

  async request(method: Method, url: string, more: ScenarioRequest = {}): Promise<ScenarioAnswer> {
    const answer = await this.server.request(method, url, more);
    this.check("server");
    this.note(checkStatus(`${method} ${url}`, answer.status, answer.text));
    return answer;
  }

  as(person: ScenarioPerson, method: Method, url: string, body?: object): Promise<ScenarioAnswer> {
    return this.request(method, url, { headers: person.headers, body, from: person.from });
  }

  /** @throws Error where they aren't let in: then nothing else of the run means anything */
  signedIn(person: ScenarioPerson, answer: ScenarioAnswer): void {
    if (answer.status !== 200 || answer.cookie === null)
      throw new Error(`expected to be signed in, got ${answer.text}`);
    person.headers = { cookie: answer.cookie, "x-pieward": "1" };
  }
}
