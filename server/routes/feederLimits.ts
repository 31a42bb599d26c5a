import { normalizeIP } from "@fastify/rate-limit";
import type { FastifyRequest } from "fastify";
import type { Clock } from "../ports.ts";
import { createRateLimit, type RateLimit } from "./rateLimit.ts";

/**
 * Limits at the feeders' routes. A report counts for its feeder only once the key or signature was checked: a sender
 * with neither can't use up a feeder's limit. Before the check only the address counts, and a right key is accepted from any address.
 */
export interface FeederLimits {
  /** A report of this feeder, over HTTP or a socket alike. @returns the seconds to wait where it is one too many */
  countReport(feeder: string): number | null;
  /** A socket that this feeder opens. @returns the seconds to wait where it is one too many */
  countLink(feeder: string): number | null;
  /** A key or signature that is wrong. @returns the seconds to wait where there were too many */
  countFailure(request: FastifyRequest): number | null;
  /** The same where the broker, not the address, says who sends: by the topic. */
  countFailureAt(feeder: string): number | null;
  /** A signature that was right: from here on its sender is known at this address. */
  recordProvenSender(request: FastifyRequest, feeder: string): void;
  /** Whether so large a body is read before its signature can be checked. */
  acceptsUnproven(request: FastifyRequest, bytes: number): boolean;
}

/** A feeder with a wrong key that reports every second reaches it. Chosen, no source. */
const failuresByAddress = 60;
/** Many addresses together: the same, for ten of them. */
const failuresInAll = 600;
/** A feeder on a bad line opens a socket every few seconds. */
const linksPerMinute = 30;
/** A usual report is some kilobytes: checking it costs little more than refusing it. */
const smallBytes = 64 * 1024;
const provenMax = 1_000;

export function createFeederLimits(reportsPerMinute: number, clock: Clock): FeederLimits {
  const reports = createRateLimit(reportsPerMinute, clock);
  const links = createRateLimit(linksPerMinute, clock);
  const failures: RateLimit = createRateLimit(failuresByAddress, clock);
  const allFailures = createRateLimit(failuresInAll, clock);
  const proven = new Set<string>();
  const countFailure = (sender: string) => {
    const [own, all] = [failures.countOne(sender), allFailures.countOne("")];
    return own ?? all;
  };

  return {
    countReport: (feeder) => reports.countOne(feeder),
    countLink: (feeder) => links.countOne(feeder),
    countFailure: (request) => countFailure(senderAddress(request)),
    countFailureAt: (feeder) => countFailure(`topic:${feeder}`),
    recordProvenSender(request, feeder) {
      if (proven.size >= provenMax) proven.delete(proven.values().next().value as string);
      proven.add(`${senderAddress(request)} ${feeder}`);
    },
    acceptsUnproven(request, bytes) {
      const address = senderAddress(request);
      if (bytes <= smallBytes || !(failures.isFull(address) || allFailures.isFull(""))) return true;
      return proven.has(`${address} ${statedSigner(request)}`);
    },
  };
}

const statedSigner = ({ headers }: FastifyRequest): string =>
  (headers.authorization ?? "").match(/feeder="?([^",\s]+)/)?.[1] ?? "";

const addresses = new WeakMap<FastifyRequest, string>();

/**
 * One household is one IPv4 address, or a /64 of IPv6 (RFC 6177): another address within it is no new sender. Read once, while the
 * request is there: a socket that has been closed has no address any more.
 */
export function senderAddress(request: FastifyRequest): string {
  const known = addresses.get(request);
  if (known !== undefined) return known;
  const { ip } = request as { readonly ip: string | undefined }; // undefined where the socket is closed already
  const address = ip === undefined ? "unknown" : normalizeIP(ip, 64);
  addresses.set(request, address);
  return address;
}
