import { STATUS_CODES } from "node:http";
import type { Socket } from "node:net";
import type { FastifyError, FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { FastifySchemaValidationError } from "fastify/types/schema.js";
import type { ProblemView } from "../contract/api.ts";
import { type FieldProblem, wholeBody } from "../contract/fieldProblem.ts";
import { isoOf } from "../domain/instant.ts";
import { DiseaseNoticeInForce } from "../flows/keeperActions.ts";
import { FeederDamaged, PackDamaged, StoreBusy, StoreDamaged, StoreFull, StoreReadOnly } from "../ports.ts";
import { texts } from "../text/index.ts";

/** Every refusal follows RFC 9457: `application/problem+json`, with each wrong field by name. */

const titles: Readonly<Record<number, string>> = texts.refusals.titles;

export interface Problem {
  readonly status: number;
  readonly detail: string;
  readonly errors?: readonly FieldProblem[];
}

export function problemView({ status, detail, errors }: Problem): ProblemView {
  return {
    type: "about:blank",
    title: titles[status] ?? texts.refusals.titles.other,
    status,
    detail,
    ...(errors && errors.length > 0 ? { errors } : {}),
  };
}

export const sendProblem = (reply: FastifyReply, what: Problem): FastifyReply =>
  reply
    .status(what.status)
    .type("application/problem+json")
    .serializer((body: unknown) => JSON.stringify(body))
    .send(problemView(what));

/** Refuses one field that only a flow could judge. */
export const sendWrongField = (reply: FastifyReply, { field, problem }: FieldProblem): FastifyReply =>
  sendProblem(reply, { status: 400, detail: texts.refusals.field(field, problem), errors: [{ field, problem }] });

/** Where nothing is wrong with the request itself. */
export const storeBusyProblem: Problem = {
  status: 503,
  detail: texts.refusals.storeBusy,
};
export const storeFullProblem: Problem = {
  status: 507,
  detail: texts.refusals.storeFull,
};
export const feederDamagedProblem: Problem = {
  status: 503,
  detail: texts.refusals.feederDamaged,
};
/** A pack of the log is of one UTC day. */
const logDamagedProblem = ({ lines }: PackDamaged): Problem => ({
  status: 500,
  detail: texts.refusals.logDamaged(isoOf(lines.firstAt).slice(0, 10)),
});
export const storeReadOnlyProblem: Problem = {
  status: 507,
  detail: texts.refusals.storeReadOnly,
};
/** Not 503: a client takes that for a proxy's answer that the server wasn't reached. */
export const storeDamagedProblem: Problem = {
  status: 507,
  detail: texts.refusals.storeDamaged,
};
export const overloadedProblem: Problem = {
  status: 503,
  detail: texts.refusals.overloaded,
};
export const unexpectedProblem: Problem = {
  status: 500,
  detail: texts.refusals.unexpected,
};

interface StoreAnswer {
  readonly level: "warn" | "error";
  readonly logged: string;
  readonly retryAfter: string | null; // seconds; null: it stays as it is
  readonly problem: Problem;
}

function storeAnswer(error: Error): StoreAnswer | null {
  const answer = (level: StoreAnswer["level"], logged: string, retryAfter: string | null, problem: Problem) => ({
    level,
    logged,
    retryAfter,
    problem,
  });
  if (error instanceof StoreBusy) return answer("warn", "the database is locked", "5", storeBusyProblem);
  if (error instanceof FeederDamaged)
    return answer("warn", "a feeder's stored state is damaged", "20", feederDamagedProblem);
  if (error instanceof PackDamaged)
    return answer("error", "a part of a feeder's log is damaged", null, logDamagedProblem(error));
  if (error instanceof StoreFull) return answer("error", "the disk is full", "60", storeFullProblem);
  if (error instanceof StoreReadOnly)
    return answer("error", "the database can't be written to", "60", storeReadOnlyProblem);
  if (error instanceof StoreDamaged) return answer("error", "the database is damaged", "60", storeDamagedProblem);
  return null;
}

/** The one place where errors become answers: the server's own errors are logged, and answered without details. */
export function handleErrors(app: FastifyInstance): void {
  app.setErrorHandler((error: FastifyError, request, reply) => {
    const ofStore = storeAnswer(error);
    if (ofStore !== null) {
      request.log[ofStore.level]({ err: error }, ofStore.logged);
      if (ofStore.retryAfter !== null) reply.header("retry-after", ofStore.retryAfter);
      return sendProblem(reply, ofStore.problem);
    }
    if (error instanceof DiseaseNoticeInForce) return sendProblem(reply, { status: 409, detail: error.message });
    if (error.validation) {
      const errors = error.validation.flatMap(problemsOf);
      return sendProblem(reply, {
        status: 400,
        detail: errors.map((one) => texts.refusals.field(one.field, one.problem)).join("; "),
        errors,
      });
    }
    const status = error.statusCode ?? 500;
    if (status >= 500) {
      request.log.error({ err: error }, "unexpected error");
      return sendProblem(reply, { ...unexpectedProblem, status });
    }
    // What can't be taken for a body at all has no field of its own to name.
    const errors = status === 400 ? [{ field: wholeBody, problem: error.message }] : [];
    return sendProblem(reply, { status, detail: error.message, errors });
  });
}

/** An unknown field is named by itself; a schema's own issue names the object around it. */
function problemsOf({ instancePath, params, message }: FastifySchemaValidationError): FieldProblem[] {
  const field = instancePath.replace(/^\//, "").replaceAll("/", ".");
  if (Array.isArray(params?.keys)) {
    return params.keys.map((unknown) => {
      const key = unknown === "" ? texts.refusals.emptyName : String(unknown);
      return { field: field === "" ? key : `${field}.${key}`, problem: texts.refusals.unknownField };
    });
  }
  return [
    { field: field || String(params?.missingProperty ?? wholeBody), problem: message ?? texts.refusals.notUnderstood },
  ];
}

/** An address that can't be decoded, or has too long a part, is refused before there is a route, a hook or a handler. */
export function refuseBadUrl(error: FastifyError, _request: FastifyRequest, reply: FastifyReply): void {
  const [status, problem] = error.statusCode === 414 ? ([414, texts.refusals.partTooLong] as const) : badAddress;
  const errors = [{ field: "address", problem }];
  void sendProblem(reply.header("x-content-type-options", "nosniff"), {
    status,
    detail: texts.refusals.field("address", problem),
    errors,
  });
}
const badAddress = [400, texts.refusals.badUrl] as const;

/** Answers where there is no request yet. */
export const notHttpProblem: Problem = { status: 400, detail: texts.refusals.notHttp };
export const headersTooLargeProblem: Problem = { status: 431, detail: texts.refusals.headersTooLarge };
export const tooSlowProblem: Problem = { status: 408, detail: texts.refusals.tooSlow };

/** What is wrong before there is a request to answer: Node hands over the bare socket (nodejs.org/api/http.html#event-clienterror). */
export function refuseBrokenRequest(error: Error & { readonly code?: string }, socket: Socket): void {
  if (error.code === "ECONNRESET" || socket.destroyed) return;
  answerOnSocket(socket, connectionProblems[error.code ?? ""] ?? notHttpProblem);
  socket.destroy(error);
}

/** Answers where the rest of a request will not be read, and ends the connection. */
export function endConnection(socket: Socket, what: Problem, retryAfterSeconds: string): void {
  if (!socket.destroyed) answerOnSocket(socket, what, [`Retry-After: ${retryAfterSeconds}`]);
  socket.destroySoon();
}

function answerOnSocket(socket: Socket, what: Problem, more: readonly string[] = []): void {
  const problem = problemView(what);
  const body = JSON.stringify(problem);
  const head = [
    `HTTP/1.1 ${problem.status} ${STATUS_CODES[problem.status] ?? "Bad Request"}`,
    "Content-Type: application/problem+json",
    `Content-Length: ${Buffer.byteLength(body)}`,
    "Cache-Control: no-store",
    "Connection: close",
    ...more,
  ];
  if (socket.writable) socket.write(`${head.join("\r\n")}\r\n\r\n${body}`);
}

const connectionProblems: Readonly<Record<string, Problem>> = {
  ERR_HTTP_REQUEST_TIMEOUT: tooSlowProblem,
  HPE_HEADER_OVERFLOW: headersTooLargeProblem,
};

export const sendNotFound = (request: FastifyRequest, reply: FastifyReply): FastifyReply =>
  sendProblem(reply, notFoundProblem(request.url.split("?")[0] ?? ""));

export const notFoundProblem = (path: string): Problem => ({ status: 404, detail: texts.refusals.nothingAt(path) });

/** 400 for a value that the schema accepts and the state at this moment doesn't. */
export const sendFieldProblem = (reply: FastifyReply, field: string, problem: string) =>
  sendProblem(reply, { status: 400, detail: texts.refusals.field(field, problem), errors: [{ field, problem }] });
