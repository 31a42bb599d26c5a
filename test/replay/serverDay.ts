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
 * A practice feeder at the real API of a whole server: birds come, reports arrive by HTTP, periodic checks are made when due, and a
 * keeper acts. Reports come seven seconds after the full minute, so that none coincides with a check.
 */
export class ServerDay {
  server: TestServer;
  readonly feeder: string;
  readonly #key: string;
  readonly #scene: Scene;
  #actionCount = 0;
  silent = false;

  private constructor(server: TestServer, added: { feeder: { id: string }; key: string }) {
    this.server = server;
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
      startsAt: server.clock.now(),
      narrate: () => undefined,
    });
  }

  static async begin(): Promise<ServerDay> {
    const server = await openTestServer();
    const { zone, place } = practiceYard;
    await changeYard(server, { zone, place });
    const { sensors, battery, hopperCapacityGrams, portionGrams } = rowan;
    return new ServerDay(server, await server.addFeeder({ sensors, battery, hopperCapacityGrams, portionGrams }));
  }

  async changeYard(changes: object): Promise<void> {
    this.server.clock.advance(seconds(3));
    await changeYard(this.server, changes);
  }

  get now(): Instant {
    return this.server.clock.now();
  }

  fail(fault: PracticeFault): void {
    this.#scene.setFault(fault, this.now);
  }

  /** Minutes pass, each with three periodic checks and, unless the feeder is silent, a report. */
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

  /** The newer half of the events arrives first, the older one some seconds later, as over two connections. @returns how many. */
  async reportInDisorder(): Promise<number> {
    this.#scene.advance(this.now);
    const report = this.#scene.report(this.now, 2_000);
    const events = report.events ?? [];
    const middle = Math.ceil(events.length / 2);
    await this.#post({ ...report, events: events.slice(middle) });
    this.server.clock.advance(seconds(2));
    const answer = await this.#post({ ...report, events: events.slice(0, middle) });
    this.#scene.handleAnswer(report.boot, answer, this.now);
    return events.length;
  }

  async #post(report: object): Promise<never> {
    const { status, body } = await this.server.report(this.#key, report);
    if (status !== 200) throw new Error(`expected the report to be accepted, got ${status}: ${JSON.stringify(body)}`);
    return body;
  }

  /** The server is down for a while: no checks and no reports. */
  async restart(downMinutes: number): Promise<void> {
    this.server.clock.advance(minutes(downMinutes));
    this.server = await this.server.restart();
  }

  /** Another keeper of the same yard. @returns the headers of their browser. */
  secondKeeper(name: string): Promise<Record<string, string>> {
    return joinByInvite(this.server, name, "keeper");
  }

  async settings(changes: object): Promise<void> {
    this.server.clock.advance(seconds(3));
    const url = `/api/v1/feeders/${this.feeder}`;
    const answer = await this.server.app.inject({
      method: "PATCH",
      url,
      headers: this.server.keeper,
      payload: changes,
    });
    if (answer.statusCode !== 200) throw new Error(`expected the settings to be accepted, got ${answer.body}`);
  }

  /** Sends any report as it is. @returns the status */
  async send(report: object): Promise<number> {
    return (await this.server.report(this.#key, report)).status;
  }

  /** An action of the keeper, three seconds after what was before. */
  async keeper(path: string, payload: object = {}, headers = this.server.keeper): Promise<void> {
    this.server.clock.advance(seconds(3));
    this.#actionCount += 1;
    const answer = await this.server.app.inject({
      method: "POST",
      url: `/api/v1/feeders/${this.feeder}/${path}`,
      headers,
      payload:
        "what" in payload || "kind" in payload ? { id: `action-${1_000 + this.#actionCount}`, ...payload } : payload,
    });
    if (answer.statusCode !== 200) throw new Error(`expected ${path} to be accepted, got ${answer.body}`);
  }

  /** The log that the keeper downloads. */
  async log(): Promise<string> {
    const url = `/api/v1/feeders/${this.feeder}/log`;
    return (await this.server.app.inject({ url, headers: this.server.keeper })).body;
  }

  async state(): Promise<FeederState> {
    const row = await this.server.store.yards.feeder(this.feeder);
    if (!row) throw new Error("expected the feeder to be there");
    return row.state;
  }

  changes(): Promise<readonly AlarmChange[]> {
    return this.server.store.records.alarmChanges(this.feeder, instant(0), after(this.now, minutes(1)));
  }

  iso(aheadMinutes: number): string {
    return isoOf(after(this.now, minutes(aheadMinutes)));
  }

  #fullMinute = (): Instant => (Math.floor(this.now / minutes(1)) * minutes(1)) as Instant;

  async #until(end: Instant): Promise<void> {
    const { clock, ports } = this.server;
    for (;;) {
      const tick = ((Math.floor(clock.now() / seconds(20)) + 1) * seconds(20)) as Instant;
      if (tick > end) break;
      clock.advance((tick - clock.now()) as never);
      await runPeriodicChecks(ports);
    }
    if (end > clock.now()) clock.advance((end - clock.now()) as never);
  }
}

async function changeYard(server: TestServer, payload: object): Promise<void> {
  const url = `/api/v1/yards/${server.yard}`;
  const answer = await server.app.inject({ method: "PATCH", url, headers: server.keeper, payload });
  if (answer.statusCode !== 200) throw new Error(`expected the yard's change to be accepted, got ${answer.body}`);
}
