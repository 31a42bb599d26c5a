import type { FastifyError, FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { ProblemView } from "../contract/api.ts";
import { type FieldProblem, theWhole } from "../contract/fieldProblem.ts";
import { StoreBusy, StoreFull } from "../ports.ts";

/** Every refusal speaks RFC 9457: `application/problem+json`, with each wrong field by name. */

const titles: Record<number, string> = {
  400: "The request can't be read",
  401: "Sign in first",
  403: "Not allowed",
  404: "Not found",
  408: "The request took too long",
  409: "This contradicts what is known",
  411: "The length is missing",
  413: "The request is too large",
  415: "This kind of content isn't understood",
  422: "The request can't be carried out",
  429: "Too many requests",
  503: "Not just now",
  507: "The disk is full",
};

export interface Problem {
  readonly status: number;
  readonly detail: string;
  readonly errors?: readonly FieldProblem[];
}

export function problemOf({ status, detail, errors }: Problem): ProblemView {
  return {
    type: "about:blank",
    title: titles[status] ?? "Something went wrong",
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
    .send(problemOf(what));

/** The one place where errors become answers: what is ours is logged and told without details. */
export function speakProblems(app: FastifyInstance): void {
  app.setErrorHandler((error: FastifyError, request, reply) => {
    if (error instanceof StoreBusy) {
      request.log.warn({ err: error }, "the database is locked");
      return sendProblem(reply.header("retry-after", "5"), {
        status: 503,
        detail: "The database is locked just now; nothing was stored. Try again.",
      });
    }
    if (error instanceof StoreFull) {
      request.log.error({ err: error }, "the disk is full");
      return sendProblem(reply.header("retry-after", "60"), {
        status: 507,
        detail: "The server's disk is full; nothing was stored. Keep it and try again.",
      });
    }
    if (error.validation) {
      const errors = error.validation.map((issue) => ({
        field:
          issue.instancePath.replace(/^\//, "").replaceAll("/", ".") ||
          String(issue.params?.missingProperty ?? theWhole),
        problem: issue.message ?? "is not understood",
      }));
      return sendProblem(reply, {
        status: 400,
        detail: errors.map((one) => `${one.field}: ${one.problem}`).join("; "),
        errors,
      });
    }
    const status = error.statusCode ?? 500;
    if (status >= 500) {
      request.log.error({ err: error }, "unexpected error");
      return sendProblem(reply, { status, detail: "Something went wrong on the server. It is in the server's log." });
    }
    return sendProblem(reply, { status, detail: error.message });
  });
}

export const nothingHere = (request: FastifyRequest, reply: FastifyReply): FastifyReply =>
  sendProblem(reply, { status: 404, detail: `There is nothing at ${request.url.split("?")[0]}.` });
