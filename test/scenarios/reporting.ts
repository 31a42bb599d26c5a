import type { Outgoing, SpooledEvent } from "./feeders.ts";
import { minute } from "./knowledge.ts";
import { checkLog, checkReadings, checkReportAnswer } from "./protocolChecks.ts";
import type { ScenarioRun, WatchedScenarioFeeder } from "./run.ts";
import type { ScenarioAnswer, ScenarioServer } from "./server.ts";

/** The network between feeders and server: it loses, repeats and delays reports, and records for the checks what arrived. */
export class ScenarioReporting {
  private readonly onTheirWay: {
    readonly watched: WatchedScenarioFeeder;
    readonly report: Outgoing;
    readonly at: number;
  }[] = [];
  private readonly newest = new Map<string, number>(); // uptime by feeder and boot
  private readonly newestStart = new Map<string, number>(); // by feeder
  private readonly acknowledged = new Map<string, Set<string>>(); // marks by feeder
  private readonly statements: ReturnType<typeof statementsOn>;
  private reports = 0;

  private readonly run: ScenarioRun;

  constructor(run: ScenarioRun) {
    this.run = run;
    this.statements = statementsOn(run.server.database);
  }

  async reportAll(): Promise<void> {
    const due = this.onTheirWay.filter(({ at }) => at <= this.run.now);
    for (const one of due) {
      this.onTheirWay.splice(this.onTheirWay.indexOf(one), 1);
      await this.arrive(one.watched, one.report);
    }
    // Side by side, as feeders of one yard report: the server may put them into one commit.
    await Promise.all(
      this.run.watched.map(async (watched) => {
        const { feeder } = watched;
        if (!feeder.reportsAt(this.run.now, this.run.step)) return;
        // All chance is drawn before anything is awaited: who is answered first must not change what happens next.
        const sendings = feeder.reports(this.run.now).map((report) => ({ report, outcome: this.outcome() }));
        for (const { report, outcome } of sendings) await this.send(watched, report, outcome);
      }),
    );
  }

  private outcome() {
    const [isLost, comesLate, isRepeated, answerIsLost] = [0.03, 0.3, 0.02, 0.04].map((p) =>
      this.run.chance.isTrueWith(p),
    );
    return { isLost, comesLate, isRepeated, answerIsLost, lateBy: Math.ceil(this.run.chance.between(0.5, 4)) * minute };
  }

  private async send(
    watched: WatchedScenarioFeeder,
    report: Outgoing,
    outcome: ReturnType<ScenarioReporting["outcome"]>,
  ): Promise<void> {
    const { feeder } = watched;
    const { isLost, comesLate, isRepeated, answerIsLost, lateBy } = outcome;
    const isOld = (report.sentUptimeMs ?? 0) > 30 * minute;
    const later = { watched, report, at: this.run.now + lateBy };
    if (isLost) {
      this.run.count("lostRequests");
      if (comesLate && isOld) this.onTheirWay.push(later);
      return;
    }
    const answer = await this.arrive(watched, report);
    if (isRepeated && isOld) {
      this.run.count("repeats");
      this.onTheirWay.push(later);
    }
    if (answerIsLost || answer.status !== 200) {
      if (answerIsLost) this.run.count("lostAnswers");
      return;
    }
    const { storedThrough, orders, refused } = answer.body as ReportAnswer;
    const mayForget = feeder.spool.filter(({ boot, seq }) => boot === report.boot && seq <= (storedThrough ?? 0));
    const bySeq = this.storedOf(feeder.id, report.boot, mayForget);
    const sent = mayForget.map(({ seq, malformed, body }) => ({ seq, malformed, body: JSON.stringify(body) }));
    this.run.check("stored");
    const refusals = new Set(refused.flatMap(({ seq }) => (seq === null ? [] : [seq])));
    this.run.note(checkReportAnswer(feeder.profile.name, storedThrough, sent, bySeq, refusals));
    const acknowledged = this.acknowledged.get(feeder.id) ?? new Set();
    this.acknowledged.set(feeder.id, acknowledged);
    for (const event of feeder.answered(report.boot, storedThrough, orders, this.run.now)) {
      if (!event.malformed) acknowledged.add(event.mark);
    }
  }

  /** A report reaches the server, and the checks know what the server knows by it. */
  private async arrive({ feeder, known }: WatchedScenarioFeeder, report: Outgoing): Promise<ScenarioAnswer> {
    const headers = { authorization: `Bearer ${feeder.key}` };
    const answer = await this.run.request("POST", "/api/v1/report", { headers, body: report.text });
    this.run.count("reports");
    this.reports += 1;
    if (answer.status === 503 || answer.status === 507) return answer;
    const bootKey = `${feeder.id} ${report.boot} ${feeder.profile.starts === "sameBoot" ? "" : feeder.start}`;
    const highest = this.newest.get(bootKey) ?? -1;
    const isSameBoot = feeder.profile.starts === "sameBoot" && report.place?.start === feeder.start;
    // A late copy of the start that goes on has a lower uptime too: only a start that wasn't seen before is anew.
    const isNewStart = feeder.start > (this.newestStart.get(feeder.id) ?? 0);
    const startedAnew = isSameBoot && isNewStart && report.readable && (report.sentUptimeMs ?? 0) < highest - minute;
    if (isSameBoot && report.readable) this.newestStart.set(feeder.id, feeder.start);
    if (startedAnew) this.run.count("sameBootStarts");
    if (report.sentUptimeMs !== null && report.readable && (startedAnew || report.sentUptimeMs > highest)) {
      this.newest.set(bootKey, report.sentUptimeMs);
    }
    if (!report.readable) this.run.count("unreadable");
    else if (answer.status !== 409) {
      if (report.junk.length > 0) this.run.count("junkReadings");
      this.run.count("misspelt", report.misspelt.length);
      this.run.check("reading");
      if (answer.status !== 200 || report.misspelt.length > 0) {
        this.run.note(checkReadings(feeder.profile.name, answer.status, answer.body, report.junk, report.misspelt));
      }
    }
    const refused = new Set(((answer.body as Partial<ReportAnswer>).refused ?? []).map(({ seq }) => seq));
    const before = [known.foodThoughPausedAt, known.contradictedAt];
    known.take({
      at: this.run.now,
      number: this.reports,
      status: answer.status,
      place: report.place,
      paused: report.paused,
      stored: report.events
        .filter(({ seq }) => !refused.has(seq))
        .map(({ place, happenedAt, kind, body }) => ({
          place,
          happenedAt,
          kind,
          order: body.order as string,
          outcome: body.outcome as string,
        })),
      startedAnewUnderKnownBoot: startedAnew,
    });
    if (known.foodThoughPausedAt !== before[0]) this.run.count("foodThoughPaused");
    if (known.contradictedAt !== before[1]) this.run.count("contradictions");
    return answer;
  }

  /** Which of these events are in the database, whole, by a connection of our own; by seq. */
  private storedOf(feeder: string, boot: string, sent: readonly SpooledEvent[]): ReadonlyMap<number, string> {
    const { byNumber, byFeeder } = this.statements;
    const stored = new Map<number, string>();
    for (const row of byNumber.all(feeder, boot, JSON.stringify(sent.map(({ seq }) => seq))))
      stored.set(row.seq, row.body);
    for (const { seq, mark, body } of sent) {
      // Under another number or boot id it is stored all the same, so that is looked for before anything is called lost.
      if (stored.get(seq) === JSON.stringify(body)) continue;
      const elsewhere = byFeeder.get(feeder, JSON.stringify(mark));
      if (elsewhere !== undefined) stored.set(seq, elsewhere.body);
    }
    return stored;
  }

  /** How often each mark is in the database. */
  private marksOf(feeder: string): ReadonlyMap<string, number> {
    const marks = new Map<string, number>();
    for (const { body } of this.statements.all.iterate(feeder)) {
      const { mark } = JSON.parse(body) as { mark: string };
      marks.set(mark, (marks.get(mark) ?? 0) + 1);
    }
    return marks;
  }

  /** All that was ever acknowledged beside all that is in the database. */
  checkRecords(): void {
    for (const { feeder } of this.run.watched) {
      this.run.check("eventKept");
      const marks = this.marksOf(feeder.id);
      this.run.note(checkLog(feeder.profile.name, this.acknowledged.get(feeder.id) ?? new Set(), marks));
    }
  }
}

/** Each event in the reports of a feeder's log. */
const storedEvents = `"Feeder" JOIN "LogLine" ON "feederNo" = "no", json_each("events") WHERE "Feeder"."id" = ?`;

const statementsOn = (database: ScenarioServer["database"]) => ({
  byNumber: database.prepare<[string, string, string], { seq: number; body: string }>(
    `SELECT value ->> 'seq' AS "seq", value AS "body" FROM ${storedEvents} AND "boot" = ?
     AND value ->> 'seq' IN (SELECT value FROM json_each(?))`,
  ),
  byFeeder: database.prepare<[string, string], { body: string }>(
    `SELECT value AS "body" FROM ${storedEvents} AND instr(value, ?) > 0 LIMIT 1`,
  ),
  all: database.prepare<[string], { body: string }>(`SELECT value AS "body" FROM ${storedEvents}`),
});

interface ReportAnswer {
  readonly storedThrough: number | null;
  readonly refused: readonly { readonly seq: number | null }[];
  readonly orders: readonly { readonly id: string; readonly kind: "pause" | "resume"; readonly until: string | null }[];
}
