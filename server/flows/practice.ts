import { randomUUID } from "node:crypto";
import { levelOf } from "../domain/hopper/level.ts";
import type { Ports, YardRow } from "../ports.ts";
import { larch, practiceYard, rowan } from "../practice/yard.ts";
import type { FeederKeys } from "./feederKeys.ts";
import { addFeeder, changeKey } from "./feeders.ts";
import { usualEscalation } from "./signIn.ts";

/** @param keeper who starts it, and keeps the practice yard from now on, with whoever started it before */
export async function startPractice(ports: Ports, keys: FeederKeys, keeper: string): Promise<void> {
  const now = ports.clock.now();
  for (const yard of (await ports.store.yards.yards()).filter(({ practice }) => practice)) {
    await ports.store.people.addMember(yard.id, keeper, "keeper", now);
    ports.live.reconnect(keeper); // a browser hears of the yards that were its person's when it came
  }
  if (ports.practice.state().running) return;
  if (await resumePractice(ports, keys)) return;
  // A digest of invented birds would only puzzle.
  const digest = { digestTime: "07:30", digestWanted: false };
  const yard: YardRow = {
    ...practiceYard,
    ...digest,
    id: randomUUID(),
    practice: true,
    escalateMinutes: usualEscalation,
  };
  await ports.store.yards.addYard(yard, keeper, now);
  ports.live.reconnect(keeper);
  const feeders = [];
  for (const settings of [rowan, larch]) {
    const { key } = await addFeeder(ports, yard, settings, null);
    feeders.push({ name: settings.name, key, heardUntil: null, hopper: null });
  }
  ports.practice.start(feeders);
}

/** After a restart the simulated feeders go on with new keys, since only hashes of the old ones are kept. */
export async function resumePractice(ports: Ports, keys: FeederKeys): Promise<boolean> {
  const feeders = (await ports.store.yards.feeders()).filter((feeder) => feeder.practice);
  if (feeders.length === 0) return false;
  const resumed = [];
  for (const { id, state, lastHeardAt } of feeders) {
    const key = await changeKey(ports, keys, id);
    const hopper = levelOf(state.hopper, state.settings)?.grams ?? null;
    if (key) resumed.push({ name: state.settings.name, key, heardUntil: lastHeardAt, hopper });
  }
  ports.practice.start(resumed);
  return true;
}

/** Removes every practice yard with all that was ever invented there. */
export async function removePractice(ports: Ports, keys: FeederKeys): Promise<void> {
  await ports.practice.stop();
  const yards = (await ports.store.yards.yards()).filter((yard) => yard.practice);
  for (const { id } of yards) {
    await ports.store.yards.removeYard(id, null);
    ports.live.changed(id, null, null);
  }
  keys.forget();
}
