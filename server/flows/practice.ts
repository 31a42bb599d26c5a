import { randomUUID } from "node:crypto";
import { hopperLevel } from "../domain/hopper/level.ts";
import type { Instant } from "../domain/instant.ts";
import { stillsKeptDaysUsual } from "../domain/pictures/stillSpace.ts";
import type { Ports, PracticeStart, YardRow, YardStore } from "../ports.ts";
import { larch, practiceYard, rowan } from "../practice/yard.ts";
import { texts } from "../text/index.ts";
import { endConnections } from "./endConnections.ts";
import { type FeederKeys, newFeederKey } from "./feederKeys.ts";
import { prepareNewFeeder } from "./feeders.ts";
import { defaultEscalateMinutes } from "./firstYard.ts";
import { removePicturesOf } from "./pictures.ts";

/** @param keeper who starts it, and is a keeper of the practice yard from now on, like those who started it before */
export async function startPractice(ports: Ports, keys: FeederKeys, keeper: string): Promise<void> {
  const now = ports.clock.now();
  const feeders = await ports.store.withStores(async ({ people, yards }) => {
    const existing = (await yards.yards()).filter(isAlarmPractice);
    for (const yard of existing) await people.addMember(yard.id, keeper, "keeper", now);
    const hasFeeders = (await yards.feeders()).some(({ yard }) => existing.some(({ id }) => id === yard));
    if (ports.practiceRunner.state().running || hasFeeders) return null;
    // Without feeders only where an earlier version crashed while it created the yard.
    const yard = existing[0] ?? practiceYardRow();
    if (existing.length === 0) await yards.addYard(yard, keeper, now);
    return addPracticeFeeders(yards, yard, now);
  });
  ports.liveFeed.reconnect(keeper); // a connected browser gets changes only of the yards that were its person's when it connected
  if (feeders !== null) ports.practiceRunner.start(feeders);
  else if (!ports.practiceRunner.state().running) await resumePractice(ports, keys);
}

/** The yard that lives a whole programme is one of its own: Rowan and Larch know nothing of it. */
const programmeYardPrefix = "programme-";
export const isProgrammeYard = ({ id, practice }: Pick<YardRow, "id" | "practice">): boolean =>
  practice && id.startsWith(programmeYardPrefix);
const isAlarmPractice = (yard: Pick<YardRow, "id" | "practice">) => yard.practice && !isProgrammeYard(yard);

export const programmeYardRow = (): YardRow => ({
  ...practiceYardRow(),
  id: `${programmeYardPrefix}${randomUUID()}`,
  name: texts.practice.programmeYard,
});

// A digest of invented birds would confuse.
const practiceYardRow = (): YardRow => ({
  ...practiceYard,
  id: randomUUID(),
  digestTime: "07:30",
  digestWanted: false,
  practice: true,
  escalateMinutes: defaultEscalateMinutes,
  diseaseNotice: null,
  stillsKeptDays: stillsKeptDaysUsual,
});

async function addPracticeFeeders(yards: YardStore, yard: YardRow, now: Instant): Promise<readonly PracticeStart[]> {
  const feeders = [];
  for (const settings of [rowan, larch]) {
    const { stored, added } = prepareNewFeeder(yard, settings, null, now);
    await yards.addFeeder(stored, now);
    feeders.push({ name: settings.name, key: added.key, reportedUntil: null, hopper: null });
  }
  return feeders;
}

/** After a restart the simulated feeders continue with new keys, since only hashes of the old ones are stored. */
export async function resumePractice(ports: Ports, keys: FeederKeys): Promise<boolean> {
  const feeders = (await ports.store.yards.feeders()).filter(({ yard, practice }) =>
    isAlarmPractice({ id: yard, practice }),
  );
  if (feeders.length === 0) return false;
  const renewed = feeders.map((feeder) => ({ feeder, ...newFeederKey() }));
  await ports.store.withStores(async ({ yards }) => {
    for (const { feeder, hash } of renewed) await yards.changeKeyHash(feeder.id, hash);
  });
  keys.clearCache();
  for (const { id } of feeders) endConnections(ports, id);
  ports.practiceRunner.start(
    renewed.map(({ feeder: { state, lastReportAt }, key }) => {
      const hopper = hopperLevel(state.hopper, state.settings)?.grams ?? null;
      return { name: state.settings.name, key, reportedUntil: lastReportAt, hopper };
    }),
  );
  return true;
}

/** Removes every practice yard with all its data, but not the one that lives a whole programme. */
export async function removePractice(ports: Ports, keys: FeederKeys): Promise<void> {
  await ports.practiceRunner.stop();
  await removeYardsOfPractice(ports, keys, isAlarmPractice);
}

/** Pictures included. */
export async function removeYardsOfPractice(
  ports: Ports,
  keys: FeederKeys,
  isRemoved: (yard: YardRow) => boolean,
): Promise<void> {
  await afterRemoval(ports, keys, await ports.store.withStores(({ yards }) => removePracticeYards(yards, isRemoved)));
}

/** Within the caller's transaction; `afterRemoval` does the rest. @returns those that were removed */
export async function removePracticeYards(
  yards: YardStore,
  isRemoved: (yard: YardRow) => boolean,
): Promise<readonly YardRow[]> {
  const practising = (await yards.yards()).filter((yard) => yard.practice && isRemoved(yard));
  for (const { id } of practising) await yards.removeYard(id, null);
  return practising;
}

export async function afterRemoval(ports: Ports, keys: FeederKeys, removed: readonly YardRow[]): Promise<void> {
  keys.clearCache();
  for (const { id } of removed) ports.liveFeed.announceChange(id, null, null);
  await removePicturesOf(
    ports.pictureFiles,
    removed.map(({ id }) => id),
  );
}
