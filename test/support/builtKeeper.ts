import { getJson, type HttpSession, openSession } from "../faults/kills/httpSession.ts";
import type { RunningServer } from "./builtServer.ts";
import { feedingExample } from "./feedingExample.ts";

/** The first keeper of a built server, by its own HTTP interface. */
export interface BuiltKeeper {
  readonly session: HttpSession;
  readonly cookie: string;
  readonly yard: string;
}

const account = { name: "Ada", passphrase: "seven wet crows count copper kettles" };

export async function signInFirst(server: RunningServer): Promise<BuiltKeeper> {
  const token = (await server.waitForOutput(/first-sign-in#(\S+)\n/))[1];
  const visitor = await openSession(server);
  const { cookie } = await visitor.ask("POST", "/api/v1/first-sign-in", { token, ...account });
  const session = await openSession(server, cookie);
  const yard = (await getJson(session, "/api/v1/home")).json().yards[0].id;
  const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
  await session.ask("PATCH", `/api/v1/yards/${yard}`, { place, digestWanted: false });
  return { session, cookie, yard };
}

export async function addRowan({ session, yard }: BuiltKeeper, settings: object = {}) {
  const added = await session.ask("POST", "/api/v1/feeders", { yard, name: "Rowan", ...settings });
  if (added.status >= 300) throw new Error(`expected a feeder, got ${added.status} ${added.text}`);
  const { feeder, key } = added.json();
  return { feeder: feeder.id as string, key: key as string };
}

/** Each cap is paid, as often as birds come. @param more other rules of the plan */
export async function planForCaps({ session }: Pick<BuiltKeeper, "session">, feeder: string, more: object = {}) {
  const feeding = {
    ...feedingExample,
    free: null,
    deposit: { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 0 },
    ...{ rationGrams: 5_000, quietTimes: [] },
    ...more,
  };
  const planned = await session.ask("PATCH", `/api/v1/feeders/${feeder}`, { feeding });
  if (planned.status !== 200) throw new Error(`expected a plan, got ${planned.status} ${planned.text}`);
}
