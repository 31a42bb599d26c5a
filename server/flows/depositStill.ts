import { bootLabel } from "../domain/bootNumber.ts";
import type { FeederRow, Ports, PushItem, StillRow } from "../ports.ts";
import { findEvent } from "./stillEvents.ts";
import { stillIdOf, stillsOfEvents } from "./stillsOfEvents.ts";

type StillPorts = Pick<Ports, "store" | "clock">;

/** The path of the small still of the newest deposit that an urgent push says isn't paid; null: it has none yet. */
export async function depositStillPath(ports: StillPorts, { feeder, content }: PushItem): Promise<string | null> {
  const isAboutDeposit = content.fault === "depositUnpaid" && content.priority === "urgent" && !content.isClosing;
  const row = isAboutDeposit && feeder !== null ? await ports.store.yards.feeder(feeder) : null;
  const still = row === null ? null : await depositStill(ports, row);
  return still === null ? null : `/api/v1/yards/${still.yard}/stills/${still.id}/picture?size=small`;
}

async function depositStill(
  { store, clock }: StillPorts,
  { id: feeder, yard, state }: FeederRow,
): Promise<StillRow | null> {
  const deposit = state.feed.payments.unpaid.findLast(({ kind }) => kind === "deposit");
  if (deposit === undefined) return null;
  const { seq, at } = deposit;
  // A deposit remembers no boot: its moment tells which of the few it is.
  const boots = state.clock.boots.map(({ boot }) => boot);
  const ids = boots.map((boot) => stillIdOf(yard, feeder, { boot: bootLabel(boot), seq }));
  // A still that came before its report waits for the next check, and this push doesn't.
  for (const still of await store.stills.stillsById(yard, ids))
    if (still.eventKind === null) await findEvent(store, still, clock.now());
  const events = boots.map((boot) => ({ feeder, event: { boot, seq }, at }));
  const found = await stillsOfEvents(store, yard, events);
  return found.find((still) => still?.eventKind === "deposit") ?? null;
}
