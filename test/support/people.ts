import type { InviteView, PhonesView } from "../../server/contract/api.ts";
import { type Span, seconds } from "../../server/domain/instant.ts";
import { deliverDueNotifications } from "../../server/flows/delivery.ts";
import { advanceDueEscalations } from "../../server/flows/escalations.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import type { TestServer } from "./testServer.ts";

type Headers = Record<string, string>;

export const requestAs = (
  server: TestServer,
  method: "GET" | "POST" | "PATCH" | "DELETE",
  url: string,
  headers: Headers,
  payload?: object,
) => server.app.inject({ method, url, headers, ...(payload === undefined ? {} : { payload }) });

/** Invites a person to the server's yard, who joins it. @returns their headers */
export async function joinByInvite(server: TestServer, name: string, role: "keeper" | "helper"): Promise<Headers> {
  const invite = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, { role });
  const { token } = invite.json() as InviteView;
  const joined = await requestAs(server, "POST", "/api/v1/join", {}, passphraseOf(token, name));
  if (joined.statusCode !== 200) throw new Error(`expected ${name} to join, got ${joined.body}`);
  return { cookie: String(joined.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
}

const passphraseOf = (token: string, name: string) => ({ token, name, passphrase: "three grey birds at breakfast" });

/** The server's keeper, back after a time in which their session ended. @returns their headers */
export async function signInAgain(server: TestServer): Promise<Headers> {
  const answer = await requestAs(
    server,
    "POST",
    "/api/v1/session",
    {},
    { name: "Keeper", passphrase: "birds before breakfast" },
  );
  if (answer.statusCode !== 200) throw new Error(`expected the keeper to be signed in, got ${answer.body}`);
  return { cookie: String(answer.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
}

/** Adds a phone to whoever these headers are of. @returns its id */
export async function addPhone(server: TestServer, headers: Headers, label: string): Promise<string> {
  const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
  const phone = { endpoint: `https://push.example/${label}`, keys, label };
  const answer = await requestAs(server, "POST", "/api/v1/phones", headers, phone);
  const added = (answer.json() as PhonesView).phones.find((one) => one.label === label);
  if (!added) throw new Error(`expected the phone ${label}, got ${answer.body}`);
  return added.id;
}

/** Delivers what is due now, over the server's own push service and mail server. */
export const deliverAll = (server: TestServer) =>
  deliverDueNotifications(server.ports, {
    publicUrl: null,
    attemptMax: { push: seconds(10), email: seconds(10) },
    queueMax: seconds(10),
    most: 50,
    jitter: () => 0,
    log: {
      error: ({ err }, text) => {
        throw new Error(text, { cause: err });
      },
    },
  });

/** Moves the clock in the steps of the server's own ticks: feeders are checked, escalations advance, and due items are delivered. */
export async function advanceTime(
  server: TestServer,
  span: Span,
  { step = seconds(20), meanwhile = async () => undefined }: { step?: Span; meanwhile?: () => Promise<unknown> } = {},
): Promise<void> {
  for (let passed = 0; passed < span; passed += step) {
    server.clock.advance(step);
    await meanwhile();
    await runPeriodicChecks(server.ports);
    await advanceDueEscalations(server.ports);
    await deliverAll(server);
  }
}
