import type { FastifyReply, FastifyRequest } from "fastify";
import type { Identification } from "../flows/feederKeys.ts";
import { texts } from "../text/index.ts";
import { senderAddress } from "./feederLimits.ts";
import { type Problem, sendProblem } from "./problems.ts";
import type { ReportingContext } from "./reportingContext.ts";
import { logSecurityEvent } from "./securityLog.ts";

/** Which feeder sends this. @param body what a signature must cover; a key covers nothing. */
export const identifyFeeder = (
  context: ReportingContext,
  request: FastifyRequest,
  body: string,
): Promise<Identification> => context.keys.identify(request.headers.authorization, body, context.ports.clock.now());

/** A key can be checked before a megabyte of body is read; a signature can't. */
export const isSigned = (request: FastifyRequest): boolean => /^signature\s/i.test(request.headers.authorization ?? "");

/** A wrong key or signature: counted by address, refused, and logged. */
export function refuseUnknownSender(
  context: ReportingContext,
  request: FastifyRequest,
  reply: FastifyReply,
  reason: string,
): FastifyReply {
  logSecurityEvent(request, { event: "feederKeyRefused", address: senderAddress(request), why: reason });
  const wait = context.limits.countFailure(request);
  if (wait !== null) return refuseTooOften(reply, tooManyWrongKeys, wait);
  return sendProblem(askForIdentity(context, reply), unknownSenderProblem(reason));
}

/** RFC 9110, 11.6.1; `nonce` as in RFC 7616. */
export const askForIdentity = ({ keys, ports }: ReportingContext, reply: FastifyReply): FastifyReply =>
  reply.header("www-authenticate", `Bearer, Signature nonce="${keys.newNonce(ports.clock.now())}"`);

/** RFC 7615: a feeder without a clock signs its next report with it. */
export const offerNonce = ({ keys, ports }: ReportingContext, reply: FastifyReply): FastifyReply =>
  reply.header("authentication-info", `nextnonce="${keys.newNonce(ports.clock.now())}"`);

export const refuseTooOften = (reply: FastifyReply, what: Problem, waitSeconds: number): FastifyReply =>
  sendProblem(reply.header("retry-after", String(waitSeconds)), what);

export const tooManyWrongKeys: Problem = {
  status: 429,
  detail: texts.refusals.tooManyWrongKeys,
};

export const unknownSenderProblem = (reason: string): Problem => ({
  status: 401,
  detail: texts.refusals.unknownSender(reason),
  errors: [{ field: "Authorization", problem: reason }],
});
