import type { FastifyBaseLogger, FastifyInstance } from "fastify";
import type { BrokerReport, MqttBroker } from "../adapters/mqttBroker.ts";
import type { ReportFrame } from "../contract/linkFrames.ts";
import { type MqttMessage, mqttStatusSchema, signatureLineMax } from "../contract/mqttMessages.ts";
import { reportBytesMax } from "../contract/report.ts";
import { checkFeeder } from "../flows/periodicCheck.ts";
import { updateAllRetained } from "../flows/retainedMessages.ts";
import { texts } from "../text/index.ts";
import { tooManyWrongKeys, unknownSenderProblem } from "./feederIdentity.ts";
import { answerFrame, tooManyReportsProblem } from "./feederLink.ts";
import { overloadedProblem, type Problem, problemView } from "./problems.ts";
import { createRateLimit } from "./rateLimit.ts";
import type { ReportingContext } from "./reportingContext.ts";
import { rateLimitedLog } from "./securityLog.ts";

/** The same reports over the keeper's own broker. It opens with the server and closes with it. */
export function serveBroker(app: FastifyInstance, context: ReportingContext, broker: MqttBroker): void {
  const { ports } = context;
  const { log } = app;
  const logRefusal = rateLimitedLog(log, ports.clock);
  const refused = (feeder: string, why: string) => logRefusal({ event: "feederKeyRefused", feeder, why });
  const inTurn = createTurns();
  const hints = createHintLimit(context);
  app.addHook("onReady", async () => {
    broker.open(
      {
        takeReport: (report) =>
          inTurn(report.feeder, async () => {
            const message = await answerReport(context, report, log, refused);
            broker.sendAnswer(report, message);
          }).catch((err: unknown) => log.error({ err, feeder: report.feeder }, "answering over the broker failed")),
        takeStatus(feeder, payload) {
          if (saysOffline(payload) && hints.allow(feeder)) {
            checkFeeder(ports, feeder).catch((err: unknown) => log.error({ err, feeder }, "a hinted check failed"));
          }
        },
        connected() {
          updateAllRetained(ports).catch((err: unknown) =>
            log.error(
              { err },
              "what waits for feeders could not be given to the broker; it goes with their next answers",
            ),
          );
        },
      },
      { info: (text) => log.info(text), warn: (text) => log.warn(text) },
    );
  });
  app.addHook("onClose", () => broker.close());
}

type AnswerMessage = MqttMessage["answer"] | MqttMessage["problem"];
type RefusalLog = (feeder: string, why: string) => void;

/** Each answer brings the next nonce: a feeder without a clock needs one, and one that waited for long needs a fresh one. */
async function answerReport(
  context: ReportingContext,
  report: BrokerReport,
  log: FastifyBaseLogger,
  refused: RefusalLog,
): Promise<AnswerMessage> {
  const { line, body } = parts(report.payload);
  const frame = await reportFrame(context, report, { line, body }, log, refused);
  const to = /\bmac="?([\w-]{1,64})/.exec(line)?.[1] ?? null;
  return { to, nonce: context.keys.newNonce(context.ports.clock.now()), ...frame };
}

async function reportFrame(
  context: ReportingContext,
  { feeder, payload }: BrokerReport,
  { line, body }: Parts,
  log: FastifyBaseLogger,
  refused: RefusalLog,
): Promise<ReportFrame> {
  if (payload.length > reportBytesMax + signatureLineMax) return refusal(tooLargeProblem);
  const late = context.overload.isOverloaded("report");
  const reservation = late ? null : context.bodies.unproven.reserve(payload.length, () => undefined);
  if (reservation === null) {
    context.overload.recordRefusal("report");
    return refusal(overloadedProblem);
  }
  reservation.markComplete();
  try {
    const problem = await identityProblem(context, feeder, { line, body }, refused);
    return problem === null ? await answerFrame(context, feeder, body, log) : refusal(problem);
  } finally {
    reservation.release();
  }
}

/**
 * The broker's access list gives each feeder its own topics, but it is the keeper's, and may be wrong: a report counts only with a signature
 * of this very feeder. The signature is that of HTTP. A key as text would be readable to the broker, and to whoever may read the topic.
 */
async function identityProblem(
  { keys, ports, limits, reportsPerMinute }: ReportingContext,
  feeder: string,
  { line, body }: Parts,
  refused: RefusalLog,
): Promise<Problem | null> {
  const isSigned = /^signature\s/i.test(line);
  const who = isSigned
    ? await keys.identify(line, body, ports.clock.now())
    : ({ kind: "unknown", reason: texts.feederBroker.unsigned } as const);
  if (who.kind === "feeder" && who.id === feeder) {
    return limits.countReport(feeder) === null ? null : tooManyReportsProblem(reportsPerMinute);
  }
  const reason = who.kind === "unknown" ? who.reason : texts.feederBroker.otherTopic(who.id);
  refused(feeder, reason);
  if (limits.countFailureAt(feeder) !== null) return tooManyWrongKeys;
  return who.kind === "unknown" ? unknownSenderProblem(reason) : { status: 403, detail: reason };
}

const tooLargeProblem: Problem = { status: 413, detail: texts.feederBroker.tooLarge };

const refusal = (problem: Problem): ReportFrame => ({ problem: problemView(problem) });

interface Parts {
  readonly line: string;
  readonly body: string;
}

/**
 * The signature covers the report byte for byte, so it stands in front of it as a line of text, and not around it as JSON: that would have
 * to be written in one way only, or escaped.
 */
function parts(payload: Buffer): Parts {
  const end = payload.subarray(0, signatureLineMax).indexOf("\n");
  if (end < 0) return { line: "", body: "" };
  return { line: payload.toString("utf8", 0, end).replace(/\r$/, ""), body: payload.toString("utf8", end + 1) };
}

/** Reports of one feeder one after the other, as over a socket; those of others beside them. */
function createTurns(): (feeder: string, work: () => Promise<void>) => Promise<void> {
  const last = new Map<string, Promise<void>>();
  return (feeder, work) => {
    const turn = (last.get(feeder) ?? Promise.resolve()).then(work, work);
    last.set(feeder, turn);
    const forget = () => {
      if (last.get(feeder) === turn) last.delete(feeder);
    };
    turn.then(forget, forget);
    return turn;
  };
}

/** Nobody signs a last will: it makes the server look sooner, and proves nothing. */
function saysOffline(payload: Buffer): boolean {
  if (payload.length > statusBytesMax) return false;
  try {
    return mqttStatusSchema.safeParse(JSON.parse(payload.toString("utf8"))).data?.online === false;
  } catch {
    return false; // not JSON: it hints at nothing
  }
}

const statusBytesMax = 1_000;

/** Each look writes a line of the log. */
function createHintLimit({ ports }: ReportingContext) {
  const [own, all] = [createRateLimit(1, ports.clock), createRateLimit(60, ports.clock)];
  return { allow: (feeder: string) => own.countOne(feeder) === null && all.countOne("") === null };
}
