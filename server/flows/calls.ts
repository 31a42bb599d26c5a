import { standingWords } from "../domain/alarms/callWords.ts";
import { topicOf } from "../domain/alarms/notices.ts";
import type { FaultKind } from "../domain/faults.ts";
import { earlier, type Instant } from "../domain/instant.ts";
import { silentAlarmFrom } from "../domain/silence/feederSilence.ts";
import { advanceCall, isStanding, shownBy } from "../domain/telling/advanceCall.ts";
import type { Call, CallStep, CallWord, Circle, Telling } from "../domain/telling/call.ts";
import { type GroupedFeeder, type GroupedYard, yardTopic } from "../domain/telling/group.ts";
import { advanceGrouped, type GroupStep, hearGrouped, isGrouped } from "../domain/telling/groupedAlarms.ts";
import { hear } from "../domain/telling/hear.ts";
import { spokenName } from "../domain/telling/spokenName.ts";
import { type FeederRow, isStoreProblem, type MailGateway, type Ports, type Transaction } from "../ports.ts";
import type { Advanced } from "./pure/advanced.ts";
import type { EndedUntold } from "./pure/untold.ts";

/**
 * Who is told of alarms. A new word is heard in the transaction of the state that made it, so that neither is there without
 * the other; what time alone moves on comes due by itself.
 */

export interface CallPorts extends Pick<Ports, "clock" | "store" | "bell"> {
  readonly mail: Pick<MailGateway, "ready">;
}

/**
 * Hears what a feeder's alarms have to say, after its new state was saved.
 * @returns which of the words ended a call before anybody was told
 */
export async function hearWords(
  { mail }: Pick<CallPorts, "mail">,
  tx: Transaction,
  { id, yard, state }: Pick<Advanced, "id" | "yard" | "state">,
  words: readonly CallWord[],
  now: Instant,
): Promise<readonly EndedUntold[]> {
  const circle = await circleOf(tx, yard, mail);
  if (circle === null) return []; // its yard is gone, and nobody is left to be told
  const ended: EndedUntold[] = [];
  for (const word of words) {
    if ((word.kind === "returned" || word.kind === "setAside") && (await isUntold(tx, yard, id, word.fault))) {
      ended.push({ fault: word.fault, at: word.at });
    }
    if (isGrouped(word.fault)) {
      const grouped = await groupedYard(tx, yard, word.fault);
      if (grouped !== null) await keepGroup(tx, hearGrouped(grouped, { feeder: id, word }, circle, now), now);
      continue;
    }
    const topic = topicOf(id, word.fault);
    const of = { yard, feeder: id, topic, name: spokenName(state.settings) };
    await keep(tx, topic, hear(await tx.call(topic), word, of, circle, now), now);
  }
  return ended;
}

/** Whether an alarm that stands has reached nobody so far, neither by its own call nor by the one that speaks for it. */
async function isUntold(tx: Transaction, yard: string, feeder: string, fault: FaultKind): Promise<boolean> {
  const own = await tx.call(topicOf(feeder, fault));
  const ofYard = await tx.call(yardTopic(yard, fault));
  const speaksFor = isStanding(ofYard) && ofYard.silent.some((part) => part.feeder === feeder) ? ofYard : null;
  const speaker = own?.spokenForBy ? await tx.call(own.spokenForBy) : (speaksFor ?? own);
  return isStanding(speaker) && speaker.told.length === 0;
}

/**
 * Calls for alarms that wait for an answer and have none, since a database was brought back. Meant for the start of a server.
 * @returns how many feeders had such alarms
 */
export async function callStanding(ports: CallPorts): Promise<number> {
  let found = 0;
  const waiting = (await ports.store.yards.feeders()).filter(({ state }) => standingWords(state).length > 0);
  for (const { id } of waiting) {
    const called = await ports.store.transaction(async (tx) => {
      const [row] = await tx.feeders([id]);
      if (!row) return false;
      const uncalled = [];
      for (const word of standingWords(row.state)) {
        const byYard = (await tx.call(yardTopic(row.yard, word.fault))) !== null;
        if (!byYard && (await tx.call(topicOf(id, word.fault))) === null) uncalled.push(word);
      }
      if (uncalled.length > 0) await hearWords(ports, tx, row, uncalled, ports.clock.now());
      return uncalled.length > 0;
    });
    if (called) found += 1;
  }
  if (found > 0) ports.bell.ring();
  return found;
}

/** Together more than a house has in a night; the rest comes with the next tick. */
const callsAtOnce = 500;

/**
 * Moves on the calls that are due: the next turn, a reminder, mail instead of a push that nobody saw. Each has a transaction
 * of its own, so that one that fails holds up no other.
 * @returns how many were looked at
 * @throws AggregateError with what failed, after all others had their turn; they stay due
 */
export async function advanceDueCalls(ports: CallPorts): Promise<number> {
  const due = await ports.store.calls.due(ports.clock.now(), callsAtOnce);
  const errors: unknown[] = [];
  let told = 0;
  for (const topic of due) {
    try {
      told += await advanceOne(ports, topic);
    } catch (cause) {
      errors.push(new Error(`the call ${topic} could not be moved on`, { cause }));
    }
  }
  if (told > 0) ports.bell.ring();
  if (errors.length > 0) throw new AggregateError(errors, `${errors.length} calls failed and will be tried again`);
  return due.length;
}

/**
 * The same right after a person's act, which is stored by then. Where the store is busy or full what is due stays due and the
 * next tick takes it: the act must not be answered as if it had failed.
 */
export async function tryDueCalls(ports: CallPorts): Promise<void> {
  try {
    await advanceDueCalls(ports);
  } catch (error) {
    if (!(error instanceof AggregateError && error.errors.every(({ cause }) => isStoreProblem(cause)))) throw error;
  }
}

const advanceOne = ({ clock, store, mail }: CallPorts, topic: string): Promise<number> =>
  store.transaction(async (tx) => {
    const now = clock.now();
    const call = await tx.call(topic);
    if (call === null) return 0; // another process was faster, or a feeder was removed
    const circle = await circleOf(tx, call.yard, mail);
    if (circle === null) return 0;
    if (!isGrouped(call.fault)) return keep(tx, topic, advanceCall(call, circle, now), now);
    const grouped = await groupedYard(tx, call.yard, call.fault);
    return grouped === null ? 0 : keepGroup(tx, advanceGrouped(grouped, circle, now), now);
  });

/**
 * A phone says that a notice stood on its screen, by its own clock: so it can be reached, and its person knows.
 * @returns whether there is such a notice
 */
export async function noteShown({ clock, store }: CallPorts, item: string, said: Instant | null): Promise<boolean> {
  return store.transaction(async (tx) => {
    const now = clock.now();
    const shown = await tx.markShown(item, said === null ? now : earlier(said, now));
    if (shown === null) return false;
    const call = await tx.call(shown.topic);
    // Due at once: whether a letter is still wanted is for the call itself to say.
    if (call !== null) await tx.saveCall(shown.topic, shownBy(call, shown.person, shown.at), now);
    return true;
  });
}

/** Where no letter can be sent, nobody is counted as told by one. */
async function circleOf(tx: Transaction, yard: string, mail: CallPorts["mail"]): Promise<Circle | null> {
  const circle = await tx.circle(yard);
  if (circle === null || mail.ready) return circle;
  return { ...circle, people: circle.people.map((person) => ({ ...person, mail: null })) };
}

/** All feeders of a yard as they stand, with their calls of this fault: what one feeder's alarm means lies with the others. */
async function groupedYard(tx: Transaction, id: string, fault: FaultKind): Promise<GroupedYard | null> {
  const name = await tx.yardName(id);
  if (name === null) return null;
  const feeders: GroupedFeeder[] = [];
  for (const row of await tx.feedersOf(id)) feeders.push(groupedFeeder(row, await tx.call(topicOf(row.id, fault))));
  return { id, name, fault, call: await tx.call(yardTopic(id, fault)), feeders };
}

function groupedFeeder({ id, state: { settings, link }, lastHeardAt }: FeederRow, call: Call | null): GroupedFeeder {
  return {
    id,
    name: spokenName(settings),
    inService: (settings.duty ?? "inGarden") === "inGarden",
    lastHeardAt,
    reportEvery: settings.reportEvery,
    silentFrom: silentAlarmFrom(link, settings),
    call,
  };
}

async function keep(tx: Transaction, topic: string, { call, tellings, nextAt }: CallStep, now: Instant) {
  await tx.saveCall(topic, call, nextAt);
  return tell(tx, tellings, now);
}

async function keepGroup(tx: Transaction, { calls, tellings }: GroupStep, now: Instant): Promise<number> {
  for (const { topic, call, nextAt } of calls) await tx.saveCall(topic, call, nextAt);
  return tell(tx, tellings, now);
}

/** @returns how many words went out */
async function tell(tx: Transaction, tellings: readonly Telling[], now: Instant): Promise<number> {
  for (const telling of tellings) await tx.enqueue(telling, now);
  return tellings.length;
}
