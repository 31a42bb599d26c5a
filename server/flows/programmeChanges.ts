import type { FeedingRequest } from "../contract/feedingRequest.ts";
import type { ProgrammeChangeRequest } from "../contract/trainingRequest.ts";
import { type Instant, minutes } from "../domain/instant.ts";
import { programmeOf } from "../domain/training/programme.ts";
import { readyStages } from "../domain/training/readyStages.ts";
import type { Stage } from "../domain/training/stage.ts";
import type { FeederRow, Ports, ProgrammeChangeRow, Transaction } from "../ports.ts";
import { texts } from "../text/index.ts";
import { announceSteps, stepFeeders } from "./keeperActions.ts";
import { feedingRequestOf } from "./pure/requestedFeeding.ts";
import { programmeChangeOf } from "./pure/requestedProgramme.ts";
import { changeSettings } from "./pure/requestedSettings.ts";
import { sendPlan } from "./sendPlan.ts";

/** A keeper's changes of a yard's training programme. What a stage gives for becomes part of each feeder's plan in the same commit. */

export interface RequestedChange extends Omit<ProgrammeChangeRequest, "at"> {
  readonly at: Instant;
  readonly by: string;
}

export type ChangeOutcome = { readonly kind: "changed" } | { readonly kind: "noStage" };

export async function changeProgramme(ports: Ports, yard: string, requested: RequestedChange): Promise<ChangeOutcome> {
  const known = await ports.store.training.programmeChanges(yard);
  const { stages } = programmeFrom(known);
  const { content } = requested;
  const stage = "stage" in content ? stages.find(({ id }) => id === content.stage) : null;
  if (stage === undefined) return { kind: "noStage" };
  const now = ports.clock.now();
  const steps = await ports.store.transaction(async (tx) => {
    const rows = content.kind === "stageStarted" && content.changesPlans ? await feedersWithPlan(tx, yard) : [];
    const plansBefore = rows.map(({ id, state }) => ({
      feeder: id,
      feeding: state.settings.feeding === undefined ? null : feedingRequestOf(state.settings.feeding),
    }));
    const { id, at, by, reason } = requested;
    const isNew = await tx.saveProgrammeChange({ id, yard, at, by, reason, content, plansBefore, undone: null });
    if (!isNew || stage === null) return [];
    return changePlans(ports, tx, rows, { now, by }, (row) => stageFeeding(row, stage));
  });
  announce(ports, yard, steps);
  return { kind: "changed" };
}

/** Plans go back to what they were, where they still are what the change made of them. @returns whether there was such a change */
export async function undoChange(ports: Ports, yard: string, id: string, by: string): Promise<boolean> {
  const known = await ports.store.training.programmeChanges(yard);
  const now = ports.clock.now();
  const done = await ports.store.transaction(async (tx) => {
    const change = await tx.undoProgrammeChange(yard, id, { at: now, by });
    if (change === null) return null;
    const started = change.content.kind === "stageStarted" ? change.content.stage : null;
    const stage = programmeFrom(known).stages.find((one) => one.id === started);
    const before = new Map(change.plansBefore.map(({ feeder, feeding }) => [feeder, feeding]));
    const rows = (await feedersWithPlan(tx, yard)).filter(
      (row) => before.has(row.id) && stage !== undefined && isPlanOf(row, stage),
    );
    return changePlans(ports, tx, rows, { now, by }, ({ id: feeder }) => before.get(feeder) ?? null);
  });
  if (done === null) return false;
  announce(ports, yard, done);
  return true;
}

/** The programme as it is, from the stored changes. */
export const programmeFrom = (changes: readonly ProgrammeChangeRow[]) =>
  programmeOf(changes.map(programmeChangeOf), readyStages(texts.training.stageNames));

const feedersWithPlan = async (tx: Transaction, yard: string): Promise<readonly FeederRow[]> =>
  (await tx.feedersOf(yard)).filter(({ state }) => state.settings.feeding !== undefined);

/** The feeder's plan with what the stage gives for; ration, margins, frost floor and quiet times stay. Null: it has no plan. */
function stageFeeding({ state }: FeederRow, { earns, parameters }: Stage): FeedingRequest | null {
  const { feeding } = state.settings;
  if (feeding === undefined) return null;
  const each = parameters.gramsEach ?? feeding.free?.each ?? state.settings.portionMass;
  const free = earns.free && { ...(feeding.free ?? usualMargins), each, schedule: earns.free };
  return feedingRequestOf({ ...feeding, free, press: earns.press, deposit: earns.deposit });
}

/** As the plan's own page offers them to begin with. */
const usualMargins = { afterDawn: minutes(30), beforeDusk: minutes(30) };

function isPlanOf(row: FeederRow, stage: Stage): boolean {
  const { feeding } = row.state.settings;
  return (
    feeding !== undefined && JSON.stringify(feedingRequestOf(feeding)) === JSON.stringify(stageFeeding(row, stage))
  );
}

const changePlans = (
  ports: Ports,
  tx: Transaction,
  rows: readonly FeederRow[],
  { now, by }: { readonly now: Instant; readonly by: string },
  feedingOf: (row: FeederRow) => FeedingRequest | null,
) => {
  const plans = new Map(rows.map((row) => [row.state, feedingOf(row)]));
  return stepFeeders(ports, tx, rows, now, {
    by,
    factAt: (state) => ({
      kind: "settingsChanged",
      settings: changeSettings(state.settings, { feeding: plans.get(state) ?? null }),
    }),
  });
};

function announce(ports: Ports, yard: string, steps: Awaited<ReturnType<typeof changePlans>>): void {
  for (const row of announceSteps(ports, steps)) sendPlan(ports, row);
  ports.liveFeed.announceChange(yard, null, null);
}
