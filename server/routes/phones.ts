import { randomUUID } from "node:crypto";
import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import {
  forgetPhoneRequest,
  type PhonesView,
  type PhoneView,
  phoneRequest,
  type TestPushView,
} from "../contract/api.ts";
import { hours, type Instant, isoOf, seconds } from "../domain/instant.ts";
import type { PushOutcome } from "../domain/push/outcome.ts";
import { reachOf } from "../domain/push/reach.ts";
import { advanceDueCalls } from "../flows/calls.ts";
import { testPush } from "../flows/outbox.ts";
import type { Phone, Ports } from "../ports.ts";
import { sendProblem } from "./problems.ts";
import { keeperOf } from "./sessions.ts";

/** Which phones are told, and whether they can be. */
export function phoneRoutes(app: FastifyInstance, ports: Ports): void {
  const door = app.withTypeProvider<ZodTypeProvider>();

  const phones = async (keeper: string): Promise<PhonesView> => ({
    publicKey: ports.push.publicKey,
    phones: (await ports.store.keepers.phonesOf(keeper)).map((phone) => phoneView(phone, ports.clock.now())),
  });

  door.get("/api/v1/phones", { schema: { hide: true } }, (request) => phones(keeperOf(request).id));

  door.post("/api/v1/phones", { schema: { hide: true, body: phoneRequest } }, async (request, reply) => {
    const { endpoint, keys, label, replaces } = request.body;
    const checked = await ports.push.checkEndpoint(endpoint);
    if (checked.kind === "refused") {
      const errors = [{ field: "endpoint", problem: checked.why }];
      return sendProblem(reply, { status: 400, detail: `endpoint: ${checked.why}`, errors });
    }
    const keeper = keeperOf(request).id;
    const mine = await ports.store.keepers.phonesOf(keeper);
    if (replaces && mine.some((phone) => phone.endpoint === replaces))
      await ports.store.keepers.removePhone(replaces, ports.clock.now());
    await ports.store.keepers.savePhone({
      id: randomUUID(),
      keeper,
      endpoint,
      p256dh: keys.p256dh,
      auth: keys.auth,
      label: label ?? "A phone",
      addedAt: ports.clock.now(),
    });
    ports.live.phonesChanged(keeper);
    await advanceDueCalls(ports); // a call that could reach nobody has waited for this
    return reply.status(201).send(await phones(keeper));
  });

  door.post("/api/v1/phones/forget", { schema: { hide: true, body: forgetPhoneRequest } }, async (request) => {
    const keeper = keeperOf(request).id;
    const mine = await ports.store.keepers.phonesOf(keeper);
    const found = mine.find((phone) => phone.endpoint === request.body.endpoint);
    if (found) await ports.store.keepers.removePhone(found.endpoint, ports.clock.now());
    ports.live.phonesChanged(keeper);
    return phones(keeper);
  });

  // Each test speaks to outside services, so a finger that rests on the button must not make many.
  const fewTests = { rateLimit: { max: 6, timeWindow: "1 minute" } };
  door.post("/api/v1/phones/test", { config: fewTests, schema: { hide: true } }, async (request) => {
    const mine = await ports.store.keepers.phonesOf(keeperOf(request).id);
    const told = await testPush(ports, mine, testNotice, seconds(20));
    return { outcomes: told.map(({ phone, outcome }) => outcomeView(phone, outcome)) };
  });
}

const testNotice = {
  fault: null,
  priority: "urgent",
  title: "Pieward: a test",
  body: "This phone can be told. Nothing is wrong at the feeder.",
  topic: "test",
  timeToLive: hours(1),
  quiet: false,
} as const;

function outcomeView({ label }: Phone, outcome: PushOutcome): TestPushView["outcomes"][number] {
  switch (outcome.kind) {
    case "accepted":
      return { label, outcome: "accepted", words: "The push service took it; it should show in a moment." };
    case "subscriptionGone":
      return { label, outcome: "gone", words: `This phone no longer takes notices and was removed: ${outcome.words}` };
    case "tryLater":
      return { label, outcome: "tryLater", words: `The push service could not take it now: ${outcome.words}` };
    case "refused":
      return { label, outcome: "refused", words: `The push service refused it: ${outcome.words}` };
  }
}

const phoneView = (
  { id, endpoint, label, addedAt, lastAcceptedAt, lastShownAt, problem }: Phone,
  now: Instant,
): PhoneView => ({
  id,
  endpoint,
  label,
  problem,
  addedAt: isoOf(addedAt),
  lastAcceptedAt: lastAcceptedAt === null ? null : isoOf(lastAcceptedAt),
  lastShownAt: lastShownAt === null ? null : isoOf(lastShownAt),
  reach: reachOf({ lastAcceptedAt, lastShownAt, problem }, now),
});
