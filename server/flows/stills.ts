import type { StillsView, StillView } from "../contract/stillView.ts";
import { after, before, days, type Instant, isoOf } from "../domain/instant.ts";
import { pictureKindOf } from "../domain/pictures/pictureKind.ts";
import { isNearlyFull, type PictureUsage, usedShare } from "../domain/pictures/pictureSpace.ts";
import { type LabelShares, labelShares } from "../domain/pictures/stillLabels.ts";
import { countedFor, stillQuota, stillsADayMax, stillsKeptDaysUsual } from "../domain/pictures/stillSpace.ts";
import type { LabelledStills, PictureSize, Ports, RowPlace, StillEvent, StillRow, Store } from "../ports.ts";
import { texts } from "../text/index.ts";
import type { PhotoProblem } from "./pictures.ts";
import { findEvent } from "./stillEvents.ts";
import { stillHash, stillIdOf } from "./stillsOfEvents.ts";

/** Stills: pictures that a feeder's camera sends with an event. */

type StillPorts = Pick<Ports, "clock" | "store" | "pictureFiles" | "pictureEncoder">;

export interface SentStill {
  readonly feeder: string;
  readonly yard: string;
  readonly event: StillEvent | null;
  /** When it was taken, as the feeder says; null: it doesn't. */
  readonly at: Instant | null;
  readonly picture: Uint8Array;
}

export type StillProblem = Exclude<PhotoProblem, "noNote"> | "tooMany" | "noFeeder";

/**
 * Stores a still. The same feeder, boot and seq again is the same still, whatever the picture: the first one stays. Files come before
 * their row, and a removal goes the other way round, as for a note's photograph (pictures.ts).
 * @returns null where it is stored
 */
export async function addStill(
  ports: StillPorts,
  sent: SentStill,
  most: PictureUsage = stillQuota,
): Promise<StillProblem | null> {
  const { store, pictureFiles: files, clock } = ports;
  const { feeder, yard, event, picture } = sent;
  if (pictureKindOf(picture) === null) return "otherKind";
  const id = stillId(sent);
  const known = await store.stills.still(yard, id);
  if (known !== null && (await files.read(yard, id, "full")) !== null) return null;
  const now = clock.now();
  // Before the work, too: a feeder that sends without end must not cost any.
  if (known === null && (await store.stills.countOf(feeder, before(now, countedFor))) >= stillsADayMax)
    return "tooMany";
  const encoded = await ports.pictureEncoder.encode(picture);
  if (typeof encoded === "string") return encoded;
  await files.save(yard, id, encoded);
  const { widthPixels, heightPixels, full, small } = encoded;
  const row: StillRow = {
    ...{ id, yard, feeder, event, at: sent.at ?? now, addedAt: now, eventKind: null, payment: null },
    ...{ starred: false, who: null, brought: null, widthPixels, heightPixels, bytes: full.length + small.length },
  };
  const outcome = await store.stills.addStill(row, most);
  if (outcome.kind === "known") return null;
  if (outcome.kind !== "added") {
    await files.remove(yard, [id]);
    return outcome.kind;
  }
  await files.remove(yard, outcome.removed);
  await findEvent(store, row, now);
  return null;
}

/** Without an event its moment and its content name it. */
const stillId = ({ yard, feeder, event, at, picture }: SentStill): string =>
  event === null
    ? stillHash("still", yard, feeder, null, null, at).update(picture).digest("hex").slice(0, 32)
    : stillIdOf(yard, feeder, event);

const stillsAPage = 48;

/** @param before the moment or the place where the page begins; null: the newest */
export async function stillsView(
  { store, clock }: Pick<Ports, "store" | "clock">,
  yard: string,
  before: Instant | RowPlace | null,
): Promise<StillsView> {
  // A feeder's clock may be ahead.
  const found = await store.stills.stills(yard, before ?? after(clock.now(), days(1)), stillsAPage + 1);
  const names = new Map((await store.yards.feeders()).map(({ id, state }) => [id, state.settings.name]));
  const [used, labels] = [await store.stills.usage(yard), await store.stills.labels(yard)];
  return {
    stills: found.slice(0, stillsAPage).map((still) => stillView(still, names)),
    more: found.length > stillsAPage,
    spaceText: isNearlyFull(used, stillQuota)
      ? texts.stills.nearlyFull(usedShare(used, stillQuota), used.pictures, stillQuota.pictures)
      : null,
    keptDays: (await store.yards.yards()).find(({ id }) => id === yard)?.stillsKeptDays ?? stillsKeptDaysUsual,
    total: used.pictures,
    who: sharesOf(labels, "who"),
    brought: sharesOf(labels, "brought"),
  };
}

const sharesOf = (labels: readonly LabelledStills[], of: "who" | "brought"): LabelShares =>
  labelShares(labels.map((pair) => ({ label: pair[of], stills: pair.stills })));

function stillView(still: StillRow, names: ReadonlyMap<string, string>): StillView {
  const { id, feeder, at, event, eventKind, payment, starred, who, brought, widthPixels, heightPixels } = still;
  return {
    ...{ id, feeder: { id: feeder, name: names.get(feeder) ?? feeder }, at: isoOf(at) },
    event: event === null ? null : { known: eventKind !== null, kind: eventKind },
    ...{ payment, starred, who, brought, widthPixels, heightPixels },
  };
}

/** @returns the file and what it must be known by; null where the yard has no such still */
export async function stillFile({ store, pictureFiles }: StillPorts, yard: string, id: string, size: PictureSize) {
  const row = await store.stills.still(yard, id);
  return row === null ? null : { tag: `"${id}-${size}-${row.addedAt}"`, read: () => pictureFiles.read(yard, id, size) };
}

/** @returns false where there is no such still */
export async function removeStill(ports: StillPorts, yard: string, id: string): Promise<boolean> {
  if (!(await ports.store.stills.removeStill(yard, id))) return false;
  await ports.pictureFiles.remove(yard, [id]);
  return true;
}

/** Before a feeder is removed: the ids of its stills, whose files go after it. */
export const stillsOf = async ({ stills }: Pick<Store, "stills">, feeder: string): Promise<readonly string[]> =>
  (await stills.allStills()).filter((still) => still.feeder === feeder).map(({ id }) => id);

const removedAtOnce = 200;

/** Removes what was kept for as long as its yard wants and has no star. @returns how many */
export async function removeOldStills({ clock, store, pictureFiles }: StillPorts): Promise<number> {
  let removed = 0;
  for (const { id: yard, stillsKeptDays } of await store.yards.yards()) {
    const limit = before(clock.now(), days(stillsKeptDays));
    for (let found = removedAtOnce; found === removedAtOnce; removed += found) {
      const old = await store.stills.removeOldStills(yard, limit, removedAtOnce);
      await pictureFiles.remove(yard, old);
      found = old.length;
    }
  }
  return removed;
}
