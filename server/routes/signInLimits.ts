import type { FastifyInstance, FastifyRequest } from "fastify";
import { minutes } from "../domain/instant.ts";
import type { Clock, Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { refuseTooOften } from "./feederIdentity.ts";
import { senderAddress } from "./feederLimits.ts";
import { type Overload, refuseOverload } from "./overload.ts";
import type { Problem } from "./problems.ts";
import { createRateLimit } from "./rateLimit.ts";
import { recordPerson } from "./securityLog.ts";

/**
 * Limits on tries to sign in, beside the one for each address that every such route has. Guessing from many addresses meets
 * a limit for each name and one for all. A person who signed in from an address before is not refused there for others' guesses.
 */
export function limitSignIns(app: FastifyInstance, { clock, store }: Ports, overload: Overload): void {
  const failuresOfName = createRateLimit(failuresByName, clock);
  const allFailures = createRateLimit(failuresInAll, clock);
  const known = new Set<string>();
  const enter = createQueue();

  const leaving = new WeakMap<FastifyRequest, () => void>();

  app.addHook("preHandler", async (request, reply) => {
    if (!isAttempt(request)) return;
    const name = normalizedName(request);
    const isTried = allFailures.isFull("") || (name !== "" && failuresOfName.isFull(name));
    if (isTried && !known.has(`${senderAddress(request)} ${name}`)) {
      return refuseTooOften(reply, tooManyTries, secondsLeft(clock));
    }
    const leave = await enter();
    if (leave === null) {
      overload.recordRefusal("signIn");
      return refuseOverload(reply);
    }
    leaving.set(request, leave);
  });

  // Also where the sender has disconnected: the check itself went on.
  app.addHook("onSend", async (request, { statusCode }) => {
    // Also read for a name that nobody has, so that the answer takes as long.
    const tried = isAttempt(request) ? await store.keepers.keeperNamed(submittedName(request)) : null;
    if (tried !== null) recordPerson(request, tried.id);
    const leave = leaving.get(request);
    if (leave === undefined) return;
    leaving.delete(request);
    leave();
    const name = normalizedName(request);
    if (statusCode < 300) addKnown(known, `${senderAddress(request)} ${name}`);
    else if (statusCode < 500) {
      if (name !== "") failuresOfName.countOne(name);
      allFailures.countOne("");
    }
  });
}

/** Somebody who mistypes doesn't reach it; 20 a minute try 10 million passphrases in a year. Chosen, no source. */
const failuresByName = 20;
const failuresInAll = 100;

const tooManyTries: Problem = { status: 429, detail: texts.refusals.tooManySignIns };

const isAttempt = ({ method }: FastifyRequest) => method === "POST";

function submittedName({ body }: FastifyRequest): string {
  const { name } = (body ?? {}) as { readonly name?: unknown };
  return typeof name === "string" ? name : "";
}

/** As it is compared: how a name is written is no way around its limit. */
const normalizedName = (request: FastifyRequest): string =>
  submittedName(request).normalize("NFKC").trim().toLowerCase();

const secondsLeft = (clock: Clock): number => Math.max(1, 60 - Math.floor((clock.now() % minutes(1)) / 1_000));

const knownMax = 1_000;
function addKnown(known: Set<string>, own: string): void {
  if (known.size >= knownMax) known.delete(known.values().next().value as string);
  known.add(own);
}

/** Checking a passphrase takes 19 MiB and a core (Argon2id): two at a time, and few that wait. */
const checksAtOnce = 2;
const waitingMax = 16;

/** @returns how to take a place: resolves to the way to give it back, or to null where too many wait */
function createQueue(): () => Promise<(() => void) | null> {
  let inside = 0;
  const waiting: (() => void)[] = [];
  const leave = () => {
    const next = waiting.shift();
    if (next) next();
    else inside -= 1;
  };
  return async () => {
    if (inside < checksAtOnce) inside += 1;
    else if (waiting.length >= waitingMax) return null;
    else await new Promise<void>((resolve) => waiting.push(resolve));
    return leave;
  };
}
