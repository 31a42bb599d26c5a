import type { PracticeFault } from "../../server/contract/api.ts";
import type { AlarmChange } from "../../server/domain/alarms/alarmStates.ts";
import type { FeederState } from "../../server/domain/feeder.ts";
import { after, type Instant, instant, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { initialOrderState } from "../../server/practice/orderState.ts";
import { seededRandom } from "../../server/practice/random.ts";
import { Scene } from "../../server/practice/scene.ts";
import { practiceYard, rowan } from "../../server/practice/yard.ts";
import { joinByInvite } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/**
 * A practice feeder before the real door of a whole server: birds come, reports go in by HTTP, patrol looks when it would look,
 * and a keeper's hands are at hand. Reports come seven seconds after the full minute, so that none meets patrol.
 */
export class ServerDay {
  house: TestServer;
  readonly feeder: string;
  readonly #key: string;
  readonly #scene: Scene;
  #acts = 0;
  silent = false;

  private constructor(house: TestServer, added: { feeder: { id: string }; key: string }) {
    this.house = house;
    this.feeder = added.feeder.id;
    this.#key = added.key;
    this.#scene = new Scene({
      settings: rowan,
      seed: 7,
      random: seededRandom(7),
      hopperGrams: 1_500,
      memory: { spool: [], orderState: initialOrderState },
      boot: "b-played",
      visitPattern: "lively",
      startsAt: house.clock.now(),
      narrate: () => undefined,
    });
  }

  static async begin(): Promise<ServerDay> {
    const house = await openTestServer();
    const { zone, place } = practiceYard;
    await changeYard(house, { zone, place });
    const { sensors, battery, hopperCapacityGrams, portionGrams } = rowan;
    return new ServerDay(house, await house.addFeeder({ sensors, battery, hopperCapacityGrams, portionGrams }));
  }

  async yardMoves(said: object): Promise<void> {
    this.house.clock.advance(seconds(3));
    await changeYard(this.house, said);
  }

  get now(): Instant {
    return this.house.clock.now();
  }

  fail(fault: PracticeFault): void {
    this.#scene.setFault(fault, this.now);
  }

  /** Minutes pass, each with three looks of patrol and, unless the feeder is silent, a report. */
  async live(count: number): Promise<void> {
    for (let minute = 0; minute < count; minute += 1) {
      await this.#until(after(this.#fullMinute(), seconds(7)));
      if (this.silent) this.#scene.advance(this.now);
      else await this.report();
      await this.#until(after(this.#fullMinute(), minutes(1)));
    }
  }

  async report(): Promise<void> {
    this.#scene.advance(this.now);
    const report = this.#scene.report(this.now, 2_000);
    this.#scene.handleAnswer(report.boot, await this.#post(report), this.now);
  }

  /** The newer half of the events comes first, the older one some seconds later, as on two ways at once. @returns how many. */
  async reportInDisorder(): Promise<number> {
    this.#scene.advance(this.now);
    const report = this.#scene.report(this.now, 2_000);
    const events = report.events ?? [];
    const middle = Math.ceil(events.length / 2);
    await this.#post({ ...report, events: events.slice(middle) });
    this.house.clock.advance(seconds(2));
    const answer = await this.#post({ ...report, events: events.slice(0, middle) });
    this.#scene.handleAnswer(report.boot, answer, this.now);
    return events.length;
  }

  async #post(report: object): Promise<never> {
    const { status, body } = await this.house.report(this.#key, report);
    if (status !== 200) throw new Error(`expected the report to be taken, got ${status}: ${JSON.stringify(body)}`);
    return body;
  }

  /** The server is down for a while: nobody looks, nobody hears. */
  async restart(downMinutes: number): Promise<void> {
    this.house.clock.advance(minutes(downMinutes));
    this.house = await this.house.restart();
  }

  /** Another keeper of the same yard. @returns the headers of their browser. */
  secondKeeper(name: string): Promise<Record<string, string>> {
    return joinByInvite(this.house, name, "keeper");
  }

  async settings(said: object): Promise<void> {
    this.house.clock.advance(seconds(3));
    const url = `/api/v1/feeders/${this.feeder}`;
    const answer = await this.house.app.inject({ method: "PATCH", url, headers: this.house.keeper, payload: said });
    if (answer.statusCode !== 200) throw new Error(`expected the settings to be taken, got ${answer.body}`);
  }

  /** Posted as it is, by a feeder that says anything. */
  async say(report: object): Promise<number> {
    return (await this.house.report(this.#key, report)).status;
  }

  /** The keeper's hand, three seconds after whatever was before. */
  async keeper(path: string, payload: object = {}, headers = this.house.keeper): Promise<void> {
    this.house.clock.advance(seconds(3));
    this.#acts += 1;
    const answer = await this.house.app.inject({
      method: "POST",
      url: `/api/v1/feeders/${this.feeder}/${path}`,
      headers,
      payload: "what" in payload || "kind" in payload ? { id: `act-${1_000 + this.#acts}`, ...payload } : payload,
    });
    if (answer.statusCode !== 200) throw new Error(`expected ${path} to be taken, got ${answer.body}`);
  }

  /** As the keeper downloads it. */
  async log(): Promise<string> {
    const url = `/api/v1/feeders/${this.feeder}/log`;
    return (await this.house.app.inject({ url, headers: this.house.keeper })).body;
  }

  async state(): Promise<FeederState> {
    const row = await this.house.store.yards.feeder(this.feeder);
    if (!row) throw new Error("expected the feeder to be there");
    return row.state;
  }

  changes(): Promise<readonly AlarmChange[]> {
    return this.house.store.records.alarmChanges(this.feeder, instant(0), after(this.now, minutes(1)));
  }

  iso(aheadMinutes: number): string {
    return isoOf(after(this.now, minutes(aheadMinutes)));
  }

  #fullMinute = (): Instant => (Math.floor(this.now / minutes(1)) * minutes(1)) as Instant;

  async #until(end: Instant): Promise<void> {
    const { clock, ports } = this.house;
    for (;;) {
      const tick = ((Math.floor(clock.now() / seconds(20)) + 1) * seconds(20)) as Instant;
      if (tick > end) break;
      clock.advance((tick - clock.now()) as never);
      await runPeriodicChecks(ports);
    }
    if (end > clock.now()) clock.advance((end - clock.now()) as never);
  }
}

async function changeYard(house: TestServer, payload: object): Promise<void> {
  const url = `/api/v1/yards/${house.yard}`;
  const answer = await house.app.inject({ method: "PATCH", url, headers: house.keeper, payload });
  if (answer.statusCode !== 200) throw new Error(`expected the yard's change to be taken, got ${answer.body}`);
}
