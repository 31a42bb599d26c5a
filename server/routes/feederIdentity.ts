import type { FastifyReply, FastifyRequest } from "fastify";
import { hashOf, type Identified } from "../flows/feederKeys.ts";
import type { FeederDoor } from "./feederDoor.ts";
import { type Problem, sendProblem } from "./problems.ts";

/** Who knocks at the feeders' door. @param body what a signature must cover; a bare key covers nothing. */
export const identify = (door: FeederDoor, request: FastifyRequest, body: string): Promise<Identified> =>
  door.keys.identify(request.headers.authorization, body, door.ports.clock.now());

/** A key can be checked before a megabyte of body is read; a signature can't. */
export const signs = (request: FastifyRequest): boolean => /^signature\s/i.test(request.headers.authorization ?? "");

/** Whom the limit counts: the key (never kept in the clear), a signer's name, or else the address. */
export function senderOf(request: FastifyRequest): string {
  const said = request.headers.authorization ?? "";
  const signer = said.match(/^signature\s.*feeder="?([^",\s]+)/i)?.[1];
  return signer ? `signer ${signer}` : said ? hashOf(said) : request.ip;
}

export const refuseStranger = (reply: FastifyReply, why: string): FastifyReply =>
  sendProblem(reply.header("www-authenticate", "Bearer"), strangerProblem(why));

export const strangerProblem = (why: string): Problem => ({
  status: 401,
  detail: `Send the feeder's key as Authorization: Bearer pw_…: ${why}.`,
  errors: [{ field: "Authorization", problem: why }],
});
