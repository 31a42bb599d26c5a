import { standingAlarmEvents } from "../domain/alarms/alarmEvents.ts";
import { alarmTopic } from "../domain/alarms/alarmTopic.ts";
import type { FaultKind } from "../domain/faults.ts";
import { earlier, type Instant } from "../domain/instant.ts";
import { advanceEscalation, isActive, recordDisplay } from "../domain/notification/advanceEscalation.ts";
import { type GroupedFeeder, type GroupedYard, yardTopic } from "../domain/notification/alarmGroup.ts";
import type {
  AlarmEvent,
  Escalation,
  EscalationStep,
  OutgoingNotification,
  Recipients,
} from "../domain/notification/escalation.ts";
import { advanceGrouped, type GroupStep, handleGroupedEvent, isGrouped } from "../domain/notification/groupedAlarms.ts";
import { handleAlarmEvent } from "../domain/notification/handleAlarmEvent.ts";
import { nameWithPractice } from "../domain/notification/nameWithPractice.ts";
import { silenceAlarmAt } from "../domain/silence/feederSilence.ts";
import { type EmailGateway, type FeederRow, isStoreProblem, type Ports, type Transaction } from "../ports.ts";
import type { FeederUpdate } from "./pure/feederUpdate.ts";
import type { UnnotifiedEnd } from "./pure/unnotified.ts";

/**
 * Who is notified of alarms. A new alarm event is handled in the transaction of the state that made it: neither is stored without
 * the other. What depends on time alone becomes due by itself.
 */

export interface EscalationPorts extends Pick<Ports, "clock" | "store" | "outboxSignal"> {
  readonly email: Pick<EmailGateway, "isConfigured">;
}

/**
 * Handles the events of a feeder's alarms, after its new state was saved.
 * @returns which of the events ended an escalation before anybody was notified
 */
export async function handleAlarmEvents(
  { email }: Pick<EscalationPorts, "email">,
  tx: Transaction,
  { id, yard, state }: Pick<FeederUpdate, "id" | "yard" | "state">,
  events: readonly AlarmEvent[],
  now: Instant,
): Promise<readonly UnnotifiedEnd[]> {
  const recipients = await recipientsOf(tx, yard, email);
  if (recipients === null) return []; // its yard was removed: nobody is to be notified
  const ended: UnnotifiedEnd[] = [];
  for (const event of events) {
    if ((event.kind === "returned" || event.kind === "suppressed") && (await isUnnotified(tx, yard, id, event.fault))) {
      ended.push({ fault: event.fault, at: event.at });
    }
    if (isGrouped(event.fault)) {
      const groupByAlarm = await groupedYard(tx, yard, event.fault);
      if (groupByAlarm !== null)
        await keepGroup(tx, handleGroupedEvent(groupByAlarm, { feeder: id, event }, recipients, now), now);
      continue;
    }
    const topic = alarmTopic(id, event.fault);
    const of = { yard, feeder: id, topic, name: nameWithPractice(state.settings) };
    await saveStep(tx, topic, handleAlarmEvent(await tx.escalation(topic), event, of, recipients, now), now);
  }
  return ended;
}

/** Whether an alarm that stands has reached nobody so far, neither by its own escalation nor by the group's. */
async function isUnnotified(tx: Transaction, yard: string, feeder: string, fault: FaultKind): Promise<boolean> {
  const own = await tx.escalation(alarmTopic(feeder, fault));
  const ofYard = await tx.escalation(yardTopic(yard, fault));
  const speaksFor = isActive(ofYard) && ofYard.silentFeeders.some((part) => part.feeder === feeder) ? ofYard : null;
  const speaker = own?.groupedUnder ? await tx.escalation(own.groupedUnder) : (speaksFor ?? own);
  return isActive(speaker) && speaker.recipientStates.length === 0;
}

/**
 * Starts escalations for alarms that wait for an answer and have no escalation, as after a database was restored. For the start
 * of a server.
 * @returns how many feeders had such alarms
 */
export async function startMissingEscalations(ports: EscalationPorts): Promise<number> {
  let found = 0;
  const waiting = (await ports.store.yards.feeders()).filter(({ state }) => standingAlarmEvents(state).length > 0);
  for (const { id } of waiting) {
    const isMissing = await ports.store.transaction(async (tx) => {
      const [row] = await tx.feeders([id]);
      if (!row) return false;
      const uncalled = [];
      for (const event of standingAlarmEvents(row.state)) {
        const byYard = (await tx.escalation(yardTopic(row.yard, event.fault))) !== null;
        if (!byYard && (await tx.escalation(alarmTopic(id, event.fault))) === null) uncalled.push(event);
      }
      if (uncalled.length > 0) await handleAlarmEvents(ports, tx, row, uncalled, ports.clock.now());
      return uncalled.length > 0;
    });
    if (isMissing) found += 1;
  }
  if (found > 0) ports.outboxSignal.notify();
  return found;
}

/** More than are due in a night; the rest comes with the next tick. */
const escalationsPerRound = 500;

/**
 * Advances the escalations that are due: the next level, a reminder, an e-mail instead of a push that nobody saw. Each has its
 * own transaction, so that a failure delays no other.
 * @returns how many were due
 * @throws AggregateError with what failed, after all others were advanced; they stay due
 */
export async function advanceDueEscalations(ports: EscalationPorts): Promise<number> {
  const due = await ports.store.escalations.due(ports.clock.now(), escalationsPerRound);
  const errors: unknown[] = [];
  let sentCount = 0;
  for (const topic of due) {
    try {
      sentCount += await advanceOne(ports, topic);
    } catch (cause) {
      errors.push(new Error(`the escalation ${topic} could not be advanced`, { cause }));
    }
  }
  if (sentCount > 0) ports.outboxSignal.notify();
  if (errors.length > 0)
    throw new AggregateError(errors, `${errors.length} escalations failed and will be tried again`);
  return due.length;
}

/**
 * The same right after a person's action, which is stored already. If the store is busy or full, what is due stays due for the
 * next tick: the action must not be answered as failed.
 */
export async function tryDueEscalations(ports: EscalationPorts): Promise<void> {
  try {
    await advanceDueEscalations(ports);
  } catch (error) {
    if (!(error instanceof AggregateError && error.errors.every(({ cause }) => isStoreProblem(cause)))) throw error;
  }
}

const advanceOne = ({ clock, store, email }: EscalationPorts, topic: string): Promise<number> =>
  store.transaction(async (tx) => {
    const now = clock.now();
    const escalation = await tx.escalation(topic);
    if (escalation === null) return 0; // another process was first, or a feeder was removed
    const recipients = await recipientsOf(tx, escalation.yard, email);
    if (recipients === null) return 0;
    if (!isGrouped(escalation.fault)) return saveStep(tx, topic, advanceEscalation(escalation, recipients, now), now);
    const grouped = await groupedYard(tx, escalation.yard, escalation.fault);
    return grouped === null ? 0 : keepGroup(tx, advanceGrouped(grouped, recipients, now), now);
  });

/**
 * A phone confirms that it displayed a notification: so it can be reached, and its person knows.
 * @returns whether there is such a notification
 */
export async function recordDisplayReceipt(
  { clock, store }: EscalationPorts,
  item: string,
  stated: Instant | null,
): Promise<boolean> {
  return store.transaction(async (tx) => {
    const now = clock.now();
    const shown = await tx.saveDisplayReceipt(item, stated === null ? now : earlier(stated, now));
    if (shown === null) return false;
    const escalation = await tx.escalation(shown.topic);
    // Due at once: the escalation itself decides whether an e-mail is still needed.
    if (escalation !== null)
      await tx.saveEscalation(shown.topic, recordDisplay(escalation, shown.person, shown.at), now);
    return true;
  });
}

/** Where e-mail is not configured, nobody is counted as notified by e-mail. */
async function recipientsOf(
  tx: Transaction,
  yard: string,
  email: EscalationPorts["email"],
): Promise<Recipients | null> {
  const recipients = await tx.recipients(yard);
  if (recipients === null || email.isConfigured) return recipients;
  return { ...recipients, people: recipients.people.map((person) => ({ ...person, email: null })) };
}

/**
 * The present state of all feeders of a yard, with their escalations of this fault: the meaning of one feeder's alarm depends on
 * the others.
 */
async function groupedYard(tx: Transaction, id: string, fault: FaultKind): Promise<GroupedYard | null> {
  const name = await tx.yardName(id);
  if (name === null) return null;
  const feeders: GroupedFeeder[] = [];
  for (const row of await tx.feedersOf(id))
    feeders.push(groupedFeeder(row, await tx.escalation(alarmTopic(row.id, fault))));
  return { id, name, fault, escalation: await tx.escalation(yardTopic(id, fault)), feeders };
}

function groupedFeeder(
  { id, state: { settings, reporting }, lastReportAt }: FeederRow,
  escalation: Escalation | null,
): GroupedFeeder {
  return {
    id,
    name: nameWithPractice(settings),
    inService: (settings.placement ?? "inGarden") === "inGarden",
    lastReportAt,
    reportEvery: settings.reportEvery,
    silentFrom: silenceAlarmAt(reporting, settings),
    escalation: escalation,
  };
}

async function saveStep(
  tx: Transaction,
  topic: string,
  { escalation, notifications, nextAt }: EscalationStep,
  now: Instant,
) {
  await tx.saveEscalation(topic, escalation, nextAt);
  return enqueueNotifications(tx, notifications, now);
}

async function keepGroup(tx: Transaction, { escalations, notifications }: GroupStep, now: Instant): Promise<number> {
  for (const { topic, escalation, nextAt } of escalations) await tx.saveEscalation(topic, escalation, nextAt);
  return enqueueNotifications(tx, notifications, now);
}

/** @returns how many notifications were queued */
async function enqueueNotifications(
  tx: Transaction,
  notifications: readonly OutgoingNotification[],
  now: Instant,
): Promise<number> {
  for (const notification of notifications) await tx.enqueue(notification, now);
  return notifications.length;
}
