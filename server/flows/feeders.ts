import { randomBytes } from "node:crypto";
import { newFeeder } from "../domain/feeder.ts";
import { initialRollups } from "../domain/history/rollups.ts";
import type { Instant } from "../domain/instant.ts";
import type { FeederRow, NewFeeder, Ports, YardChanges, YardRow } from "../ports.ts";
import { endConnections } from "./endConnections.ts";
import { tryDueEscalations } from "./escalations.ts";
import { type FeederKeys, newFeederKey } from "./feederKeys.ts";
import { announceSteps, applyKeeperAction, requestOrder, stepFeeders } from "./keeperActions.ts";
import { logEntryOf } from "./pure/logEntry.ts";
import { changeSettings, defaultSettings, type SettingsChange, withSettings } from "./pure/requestedSettings.ts";
import { sendPlan } from "./sendPlan.ts";
import { stillsOf } from "./stills.ts";

/** Adding, changing and removing feeders. */

export interface AddedFeeder {
  readonly feeder: FeederRow;
  readonly key: string; // shown once
}

/** @returns null where there is no such yard */
export async function addFeeder(
  ports: Ports,
  yard: string,
  request: SettingsChange & { readonly name: string },
  by: string,
): Promise<AddedFeeder | null> {
  const now = ports.clock.now();
  // The yard is read in the same transaction: its zone and place may change at the same time.
  const added = await ports.store.withStores(async ({ yards }) => {
    const row = (await yards.yards()).find(({ id }) => id === yard);
    if (!row) return null;
    const { stored, added } = prepareNewFeeder(row, request, by, now);
    await yards.addFeeder(stored, now);
    return added;
  });
  if (added === null) return null;
  ports.liveFeed.announceChange(yard, null, null);
  const paused = await pauseNewFeeder(ports, added.feeder, by);
  return paused === null ? added : { ...added, feeder: paused };
}

/** A new feeder of a yard with a notice of a bird disease gives nothing, either. */
async function pauseNewFeeder(ports: Ports, { id, yard }: FeederRow, by: string): Promise<FeederRow | null> {
  const row = (await ports.store.yards.yards()).find((each) => each.id === yard);
  if (!row?.diseaseNotice) return null;
  return requestOrder(ports, id, { id: `notice-${id}`, kind: "pause", until: null, by });
}

/** A feeder with a new key: the row to store and the key to show. */
export function prepareNewFeeder(
  yard: YardRow,
  request: SettingsChange & { readonly name: string },
  by: string | null,
  now: Instant,
): { readonly stored: NewFeeder; readonly added: AddedFeeder } {
  const settings = withSettings(defaultSettings(yard, request.name), request);
  const { key, hash } = newFeederKey();
  const id = idFor(request.name);
  const state = newFeeder(settings, now);
  const begun = JSON.stringify(logEntryOf({ kind: "settingsChanged", settings }, now, by));
  const { practice } = yard;
  const row = {
    id,
    yard: yard.id,
    practice,
    revision: 0,
    addedAt: now,
    lastReportAt: null,
    lastStepAt: null,
    rebuiltAt: null,
    state,
    rollups: initialRollups(),
  };
  return {
    stored: { id, yard: yard.id, keyHash: hash, practice, state, firstEntry: begun },
    added: { key, feeder: row },
  };
}

export async function changeFeeder(
  ports: Ports,
  id: string,
  request: SettingsChange,
  by: string,
): Promise<FeederRow | null> {
  const row = await applyKeeperAction(ports, id, by, ({ settings }) => ({
    kind: "settingsChanged",
    settings: changeSettings(settings, request),
  }));
  if (row !== null && request.feeding !== undefined) sendPlan(ports, row);
  return row;
}

/**
 * A feeder's own settings have its yard's place and zone, so that its state is complete: a change of the yard changes each feeder
 * in the same commit.
 */
export async function changeYard(ports: Ports, id: string, changes: YardChanges, by: string): Promise<YardRow | null> {
  const now = ports.clock.now();
  const moved = changes.place !== undefined || changes.zone !== undefined;
  const done = await ports.store.transaction(async (tx) => {
    const yard = await tx.changeYard(id, changes, now);
    if (!yard) return null;
    const { place, zone } = yard;
    const rows = moved ? await tx.feedersOf(id) : [];
    const steps = await stepFeeders(ports, tx, rows, now, {
      by,
      factAt: ({ settings }) => ({ kind: "settingsChanged", settings: { ...settings, place, zone } }),
    });
    return { yard, steps };
  });
  if (!done) return null;
  for (const row of announceSteps(ports, done.steps)) sendPlan(ports, row);
  ports.liveFeed.announceChange(id, null, null);
  await tryDueEscalations(ports); // the zone decides when people are notified
  return done.yard;
}

/** @returns the new key, or null where there is no such feeder. The old key is not valid any more. */
export async function changeKey(ports: Ports, keys: FeederKeys, id: string): Promise<string | null> {
  if (!(await ports.store.yards.feeder(id))) return null;
  const { key, hash } = newFeederKey();
  await ports.store.yards.changeKeyHash(id, hash);
  keys.clearCache();
  endConnections(ports, id);
  return key;
}

export async function removeFeeder(ports: Ports, keys: FeederKeys, row: FeederRow): Promise<void> {
  const stills = await stillsOf(ports.store, row.id);
  await ports.store.yards.removeFeeder(row.id);
  keys.clearCache();
  await ports.pictureFiles.remove(row.yard, stills);
  endConnections(ports, row.id);
  ports.liveFeed.announceChange(row.yard, null, null);
}

/** Readable in a log, and unique: `rowan-4f2a9c`. */
function idFor(name: string): string {
  const plain = name
    .normalize("NFD")
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, "-")
    .replace(/^-+|-+$/g, "")
    .slice(0, 24);
  return `${plain || "feeder"}-${randomBytes(3).toString("hex")}`;
}
