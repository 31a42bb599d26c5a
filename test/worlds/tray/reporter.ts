import { readReport } from "../../../server/contract/readReport.ts";
import { instant } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { Agenda } from "./agenda.ts";
import type { Board, Waiting } from "./board.ts";
import type { Link } from "./link.ts";
import type { Random } from "./random.ts";
import { day, minute, second } from "./time.ts";

interface Posted {
  readonly boot: string;
  readonly sentUptimeMs: number | null;
  readonly readings?: object;
  readonly events?: Waiting["events"];
}

export interface ReporterParts {
  readonly agenda: Agenda;
  readonly board: Board;
  readonly link: Link;
  readonly every: number;
  /** What the sensors show now. */
  readonly readings: (at: number, isFirst: boolean) => object;
  readonly hear: (line: LogLine) => void;
}

/**
 * Sends reports. What isn't confirmed is sent again with the next one; some boards also repeat the whole report at once. Starts
 * of the board, by themselves or after a cut of its supply, begin a new count of everything.
 */
export class Reporter {
  private readonly parts: ReporterParts;
  private readonly random: Random;
  private readonly build;
  private isFirst = false;

  constructor(random: Random, parts: ReporterParts, begin: number) {
    this.random = random;
    this.parts = parts;
    this.build = {
      eventsMax: Math.round(random.logBetween(20, 500)), // a report
      repeatsAtOnce: random.chance(0.5),
      timeout: random.between(4, 12) * second,
      jitter: random.between(0.01, 0.6) * second,
      restartGap: random.logBetween(3 * day, 120 * day),
      cutShare: random.between(0, 0.3), // of the restarts, with minutes to hours without supply
    };
    this.planTick(begin + random.between(0, parts.every), 0);
    this.planRestart(begin);
  }

  private planTick(at: number, start: number): void {
    this.parts.agenda.add(at, (now) => {
      if (this.parts.board.starts !== start || !this.parts.board.isOn) return;
      this.report(now);
      this.planTick(at + this.parts.every + this.random.between(0, this.build.jitter), start);
    });
  }

  private planRestart(from: number): void {
    const { agenda, board } = this.parts;
    agenda.add(from + this.random.exponential(this.build.restartGap), (at) => {
      board.switchOff();
      const isCut = this.random.chance(this.build.cutShare);
      const off = isCut ? this.random.logBetween(2 * minute, 300 * minute) : this.random.between(5, 60) * second;
      agenda.add(at + off, (now) => {
        board.start(now);
        this.isFirst = true;
        this.planTick(now + this.random.between(3, 25) * second, board.starts);
        this.planRestart(now);
      });
    });
  }

  private report(at: number): void {
    const { board } = this.parts;
    const readings = this.parts.readings(at, this.isFirst);
    this.isFirst = false;
    const events = board.waiting.events.slice(0, this.build.eventsMax);
    const posted = { boot: board.waiting.boot, sentUptimeMs: board.uptime(at), readings };
    const isAnswered = this.send(events.length === 0 ? posted : { ...posted, events }, at);
    const [behind] = board.leftBehind;
    if (!isAnswered || behind === undefined) return;
    this.parts.agenda.add(at + 2 * second, (now) => {
      if (!board.isOn || behind.events.length === 0) return;
      this.send({ boot: behind.boot, sentUptimeMs: null, events: behind.events.slice(0, this.build.eventsMax) }, now);
    });
  }

  /** @returns whether the board knows that it arrived */
  private send(posted: Posted, at: number, isRepeat = false): boolean {
    const { agenda, board, link } = this.parts;
    const outcome = link.send(at);
    if (outcome === "lost") return false;
    agenda.add(at + link.latency(), (now) => this.parts.hear(lineOf(posted, now)));
    if (outcome === "answered") {
      const last = posted.events?.at(-1);
      if (last !== undefined) board.confirm(posted.boot, last.seq);
      return true;
    }
    if (this.build.repeatsAtOnce && !isRepeat) {
      agenda.add(at + this.build.timeout, (now) => board.isOn && this.send(posted, now, true));
    }
    return false;
  }
}

export const feederName = "bottlebrush";

function lineOf(posted: Posted, at: number): LogLine {
  const read = readReport(posted);
  if (read.kind === "unreadable") throw new Error(`expected a report that can be read, got ${JSON.stringify(posted)}`);
  return { feeder: feederName, at: instant(at), kind: "report", report: read.report };
}
