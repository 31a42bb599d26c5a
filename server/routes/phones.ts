import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import {
  forgetPhoneRequest,
  phonePermissionRequest,
  phoneRequest,
  renewPhoneRequest,
  type TestPushView,
} from "../contract/api.ts";
import { hours, seconds } from "../domain/instant.ts";
import type { PushOutcome } from "../domain/push/outcome.ts";
import { testPush } from "../flows/outbox.ts";
import {
  addPhone,
  type PhoneChangeResult,
  phonesView,
  removePhone,
  renewPhone,
  setPhoneAllowed,
} from "../flows/phones.ts";
import type { Phone, Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";

/**
 * Which phones are notified, and whether they can be. All of it needs a session; the phone's own service worker has one, since it
 * sends its browser's cookie. To know an endpoint gives no right to change where its notifications go.
 */
export function phoneRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  const answer = async (reply: FastifyReply, keeper: string, change: PhoneChangeResult, status = 200) => {
    if (change.kind === "done") return reply.status(status).send(await phonesView(ports, keeper));
    const { kind, field, reason } = change;
    const detail = `${field}: ${reason}`;
    return sendProblem(reply, { status: refusalStatuses[kind], detail, errors: [{ field, problem: reason }] });
  };

  routes.get("/api/v1/phones", { schema: { hide: true } }, (request) => phonesView(ports, signedInPerson(request).id));

  routes.post("/api/v1/phones", { schema: { hide: true, body: phoneRequest } }, async (request, reply) => {
    const { endpoint, keys, label = null, replaces = null } = request.body;
    const keeper = signedInPerson(request).id;
    return answer(reply, keeper, await addPhone(ports, keeper, { endpoint, ...keys, label, replaces }), 201);
  });

  routes.put("/api/v1/phones", { schema: { hide: true, body: renewPhoneRequest } }, async (request, reply) => {
    const { endpoint, keys, replaces } = request.body;
    const keeper = signedInPerson(request).id;
    return answer(reply, keeper, await renewPhone(ports, keeper, replaces, { endpoint, ...keys }));
  });

  routes.post(
    "/api/v1/phones/permission",
    { schema: { hide: true, body: phonePermissionRequest } },
    async (request, reply) => {
      const { endpoint, allowed } = request.body;
      const keeper = signedInPerson(request).id;
      return answer(reply, keeper, await setPhoneAllowed(ports, keeper, endpoint, allowed));
    },
  );

  routes.post("/api/v1/phones/forget", { schema: { hide: true, body: forgetPhoneRequest } }, async (request) => {
    const keeper = signedInPerson(request).id;
    await removePhone(ports, keeper, request.body.endpoint);
    return phonesView(ports, keeper);
  });

  // Each test uses outside services, so a button that is pressed again and again must not start many.
  const fewTests = { rateLimit: { max: 6, timeWindow: "1 minute" } };
  routes.post("/api/v1/phones/test", { config: fewTests, schema: { hide: true } }, async (request) => {
    const mine = await ports.store.keepers.phonesOf(signedInPerson(request).id);
    const outcomes = await testPush(ports, mine, testNotification, seconds(20));
    return { outcomes: outcomes.map(({ phone, outcome }) => pushOutcomeView(phone, outcome)) };
  });
}

const refusalStatuses = { notAllowed: 400, gone: 409, taken: 409, tooMany: 409, noSuchPhone: 404 } as const;

const testNotification = {
  fault: null,
  priority: "urgent",
  title: texts.people.testTitle,
  body: texts.phones.testPush,
  topic: "test",
  timeToLive: hours(1),
  silent: false,
} as const;

function pushOutcomeView({ label }: Phone, outcome: PushOutcome): TestPushView["outcomes"][number] {
  switch (outcome.kind) {
    case "accepted":
      return { label, outcome: "accepted", text: texts.phones.testSent };
    case "subscriptionGone":
      return {
        label,
        outcome: "gone",
        text: texts.phones.removed(outcome.text),
      };
    case "tryLater":
      return { label, outcome: "tryLater", text: texts.delivery.notNow(outcome.text) };
    case "refused":
      return { label, outcome: "refused", text: texts.delivery.notAccepted(outcome.text) };
  }
}
