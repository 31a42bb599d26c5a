import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import type { RandomSource } from "../../../server/practice/random.ts";
import { addRowan, planForCaps, signInFirst } from "../../support/builtKeeper.ts";
import { type RunningServer, runBuiltServer } from "../../support/builtServer.ts";
import { type FeederProgram, feederProgram } from "../../support/feederProgram.ts";
import { getJson, type HttpSession, openSession } from "../kills/httpSession.ts";
import { openPoorLine, type PoorLine } from "./poorLine.ts";
import { problemsOf } from "./promises.ts";

/**
 * A feeder's program and a server as processes of their own, over a poor line, of which one is killed (SIGKILL) at any moment while the
 * keeper pauses and resumes. At the end each promise is checked by what the motor itself recorded (promises.ts).
 */
export interface PairFigures {
  readonly problems: readonly string[];
  readonly runs: number; // of the motor
  readonly cutShort: number;
  readonly deposits: number;
  readonly killed: { readonly server: number; readonly feeder: number };
  readonly line: ReturnType<PoorLine["counts"]>;
  /** Of the board's wall clock. */
  readonly jumps: { readonly inPortions: number; readonly inReports: number };
}

/** @param wallClock of the feeder's board: "jumps", or "trusted", a planted fault: its program goes by it. Else it is right. */
export async function runKilledPair(
  folder: string,
  kills: number,
  chance: RandomSource,
  wallClock?: "jumps" | "trusted",
): Promise<PairFigures> {
  const environment = wallClock === undefined ? {} : { FEEDER_WALL_CLOCK: wallClock };
  const pair = await KilledPair.open(folder, chance, environment);
  for (let number = 0; number < kills; number += 1) await pair.kill();
  return pair.settle();
}

const variables = { REPORTS_PER_MINUTE: "1000000" };

interface KilledParts {
  readonly server: RunningServer;
  readonly session: HttpSession;
  readonly cookie: string;
  readonly feeder: string;
  readonly program: FeederProgram;
}

class KilledPair {
  readonly #folder: string;
  readonly #chance: RandomSource;
  readonly #line: PoorLine;
  readonly #killed = { server: 0, feeder: 0 };
  #server: RunningServer;
  #session: HttpSession;
  readonly #cookie: string;
  readonly #feeder: string;
  readonly #program: FeederProgram;
  #boots = 0;
  readonly #orders = new Map<string, "pause" | "resume">();

  static async open(folder: string, chance: RandomSource, environment: Record<string, string>): Promise<KilledPair> {
    const line = await openPoorLine(chance);
    const server = runBuiltServer(join(folder, "server"), variables);
    const keeper = await signInFirst(server);
    const { feeder, key } = await addRowan(keeper);
    await planForCaps(keeper, feeder);
    const program = feederProgram(folder, key, environment);
    const pair = new KilledPair(folder, chance, line, { ...keeper, server, feeder, program });
    await pair.#lead();
    pair.#start();
    return pair;
  }

  private constructor(
    folder: string,
    chance: RandomSource,
    line: PoorLine,
    { server, session, cookie, feeder, program }: KilledParts,
  ) {
    this.#folder = folder;
    this.#chance = chance;
    this.#line = line;
    this.#server = server;
    this.#session = session;
    this.#cookie = cookie;
    this.#feeder = feeder;
    this.#program = program;
  }

  /** One more kill, of either, at a moment that nobody chose; now and then an order before it. */
  async kill(): Promise<void> {
    await sleep(this.#chance.between(200, 1_500));
    if (this.#chance.isTrueWith(0.4)) await this.#order(this.#chance.isTrueWith(0.5) ? "pause" : "resume");
    if (this.#chance.isTrueWith(0.6)) {
      this.#killed.feeder += 1;
      await this.#program.kill();
      this.#start();
      return;
    }
    this.#killed.server += 1;
    this.#server.kill("SIGKILL");
    await this.#server.exited;
    this.#line.leadTo(null);
    if (this.#chance.isTrueWith(0.3)) await sleep(this.#chance.between(500, 3_000)); // it stays away for a while
    this.#server = runBuiltServer(join(this.#folder, "server"), variables);
    this.#session = await openSession(this.#server, this.#cookie);
    await this.#lead();
  }

  /** The line holds, no bird comes, and all that waits is sent; then every promise is checked. */
  async settle(): Promise<PairFigures> {
    this.#line.mend();
    await this.#order("resume");
    await this.#program.kill();
    this.#start("b-quiet");
    const end = Date.now() + 90_000;
    let log = "";
    for (; ; await sleep(500)) {
      log = (await getJson(this.#session, `/api/v1/feeders/${this.#feeder}/log`)).text;
      const { version, confirmedVersion } = (
        await getJson(this.#session, `/api/v1/feeders/${this.#feeder}/plan`)
      ).json();
      if (hasSentAll(log) && version === confirmedVersion) break;
      if (Date.now() > end) throw new Error(`events still wait at the feeder after a minute: ${log.slice(-1_500)}`);
    }
    const plan = (await getJson(this.#session, `/api/v1/feeders/${this.#feeder}/plan`)).json();
    await this.#program.kill();
    const truth = { runsOf: this.#program.runsOf, boots: this.#labels(), orders: this.#orders };
    const line = this.#line.counts();
    await this.#line.close();
    const recorded = this.#labels().map(this.#program.recordOf).join("");
    const jumps = {
      inPortions: recorded.split("jumped in a portion").length - 1,
      inReports: recorded.split("jumped in a report").length - 1,
    };
    return { ...problemsOf(log, truth, plan), killed: this.#killed, line, jumps };
  }

  #labels = (): string[] => Array.from({ length: this.#boots }, (_, number) => `b-${number}`);

  async #lead(): Promise<void> {
    const [, address = ""] = await this.#server.waitForOutput(/Pieward listens at (http\S+)\n/);
    this.#line.leadTo(Number(new URL(address).port));
  }

  #start(boot = `b-${this.#boots}`): void {
    if (boot !== "b-quiet") this.#boots += 1;
    this.#program.start(boot, ["--url", `http://127.0.0.1:${this.#line.port}`]);
  }

  async #order(kind: "pause" | "resume"): Promise<void> {
    const order = { id: `order-${String(this.#orders.size).padStart(4, "0")}`, kind };
    this.#orders.set(order.id, kind);
    await this.#session.ask("POST", `/api/v1/feeders/${this.#feeder}/orders`, order).catch(() => null); // the server may be dead
  }
}

/** By a report of the last start that has all that waits. */
const hasSentAll = (log: string): boolean =>
  log.split("\n").some((line) => {
    if (!line.includes('"b-quiet"')) return false;
    const { report } = JSON.parse(line) as { report: { events: unknown[]; readings?: { spooled?: number } } };
    return report.readings?.spooled === report.events.length;
  });
