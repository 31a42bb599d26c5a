import type { HistoryLevel } from "../../../server/domain/history/historyPlan.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import type { SavedStep, Store } from "../../../server/ports.ts";
import { MemoryDatabase } from "../../support/memoryStore/memoryDatabase.ts";
import { createMemoryStore } from "../../support/memoryStore/memoryStore.ts";
import { rollupKey, saveQuarters } from "../../support/memoryStore/rollups.ts";
import { changeWhere, copyTables, removeWhere, type Tables } from "../../support/memoryStore/tables.ts";
import { underTest } from "./adapters.ts";
import { inPart, inTransactions } from "./distortedStore.ts";
import { pagePlants } from "./pagePlants.ts";
import type { Plant } from "./plant.ts";
import type { StoreUnderTest } from "./storeUnderTest.ts";

export const openPlanted = ({ plant, copy = copyTables }: Plant): StoreUnderTest =>
  underTest(new MemoryDatabase(copy), (database = new MemoryDatabase()) =>
    plant(createMemoryStore(database), database),
  );

const asItIs = (store: Store) => store;
const always = (result: boolean) => async () => result;

const transactionPlants: readonly Plant[] = [
  {
    fault: "forgets to roll back",
    rule: "a transaction returns what its work returns, and rolls back as a whole where that fails",
    plant: asItIs,
    copy: (tables) => tables,
  },
  {
    fault: "shows a step before its commit",
    rule: "a step is visible in its own transaction, and not outside before the commit",
    plant: asItIs,
    copy: (tables) => tables,
  },
  {
    fault: "lets another write overtake",
    rule: "writes come one after the other, in the order in which they were requested",
    plant: (store) => ({
      ...store,
      async transaction(work) {
        for (let turn = 0; turn < 50; turn += 1) await Promise.resolve();
        return store.transaction(work);
      },
    }),
  },
  {
    fault: "doesn't tell what it committed",
    rule: "what was committed is told before the transaction ends, and what was rolled back isn't",
    plant: (store) => ({ ...store, transaction: (work) => store.transaction(work) }),
  },
  {
    fault: "tells what it rolls back",
    rule: "what was committed is told before the transaction ends, and what was rolled back isn't",
    plant: (store) => ({
      ...store,
      transaction: (work, committed) =>
        store.transaction(work).catch((error: unknown) => {
          committed?.(undefined as never);
          throw error;
        }),
    }),
  },
  {
    fault: "ignores the revision that a step was computed from",
    rule: "a step that was computed from an old revision is refused, with all else of its transaction",
    plant: inTransactions((tx) => ({
      async saveSteps(steps) {
        for (const step of steps) {
          const [present] = await tx.feeders([step.id]);
          await tx.saveSteps([{ ...step, revision: present?.revision ?? step.revision }]);
        }
      },
    })),
  },
  {
    fault: "stores damage and goes on writing",
    rule: "nothing is stored once the store is known to be damaged; the worst damage is remembered",
    plant: inPart("condition", () => ({ recordDamage: () => undefined })),
  },
];

const onceOnlyPlants: readonly Plant[] = [
  {
    fault: "gives the same item to two callers",
    rule: "never hands the same item to two callers",
    plant: inPart("outbox", ({ claim }) => ({
      claim: (channel, now, _until, most, capacity) => claim(channel, now, now, most, capacity),
    })),
  },
  {
    fault: "claims a digest's date twice",
    rule: "a digest of a date is written once, also where two servers write it at once",
    plant: inTransactions(() => ({ claimDigest: always(true) })),
  },
  {
    fault: "takes an action twice",
    rule: "an action's id is used once by feeder, also on two servers at once",
    plant: inTransactions(() => ({ claimActionId: always(true) })),
  },
  {
    fault: "counts a display receipt again",
    rule: "a display receipt counts once, for the item and its phone, and the item isn't sent again",
    plant: (store, database) =>
      inTransactions((tx) => ({
        async saveDisplayReceipt(id, at) {
          for (const tables of [database.read()])
            changeWhere(tables.items, (item) => item.id === id, { displayedAt: null });
          const receipt = await tx.saveDisplayReceipt(id, at);
          return receipt === null ? null : { ...receipt, at };
        },
      }))(store),
  },
  {
    fault: "lets an invite be used again",
    rule: "an invite is open until it expires, is used or is withdrawn; a used one is known until it expires",
    plant: (store, database) =>
      inPart("people", ({ useInvite }) => ({
        async useInvite(...given) {
          const result = await useInvite(...given);
          await database.write(({ invites }) => changeWhere(invites, () => true, { usedAt: null }));
          return result;
        },
      }))(store),
  },
  {
    fault: "accepts any counter of a passkey",
    rule: "a passkey's counter only increases, also where it is used twice at once; 0 doesn't count",
    plant: inPart("keepers", () => ({ usePasskey: always(true) })),
  },
];

const leakPlants: readonly Plant[] = [
  {
    fault: "shows the feeders of another yard",
    rule: "feeders are listed in the order in which they were added, a yard's own for their yard",
    plant: inTransactions(({ feeders }) => ({ feedersOf: () => feeders(["z", "a", "b", "c"]) })),
  },
  {
    fault: "shows the open invites of another yard",
    rule: "open invites are a yard's own, those that expire first first",
    plant: inPart("people", ({ openInvites }) => ({
      openInvites: async (_, now) => [...(await openInvites("alder", now)), ...(await openInvites("other", now))],
    })),
  },
  {
    fault: "makes the escalations of another yard due",
    rule: "the escalations of a yard come due at once, and no others, where somebody joins",
    plant: (store, database) =>
      inPart("people", ({ useInvite }) => ({
        async useInvite(...given) {
          const result = await useInvite(...given);
          await database.write(({ escalations }) => changeWhere(escalations, () => true, { nextAt: given[3] }));
          return result;
        },
      }))(store),
  },
  {
    fault: "ends the sessions of other people",
    rule: "a person's sessions are listed, the last used first, and ended by their person only",
    plant: inPart("accounts", (_, { keepers }) => ({
      async endSessions(_person, hashes) {
        for (const hash of hashes) await keepers.removeSession(hash);
      },
    })),
  },
  {
    fault: "leaves a removed feeder's alarm changes to the next one with its id",
    rule: "a removed feeder leaves nothing that happened to it, also for one that gets its id",
    plant: (store, database) =>
      inPart("yards", ({ removeFeeder }) => ({
        async removeFeeder(id) {
          const left = database.read().alarmChanges.get(id) ?? [];
          await removeFeeder(id);
          await database.write(({ alarmChanges }) => alarmChanges.set(id, left));
        },
      }))(store),
  },
  {
    fault: "keeps the other sessions after a new passphrase",
    rule: "a new passphrase replaces the one that is stored, and ends all other sessions and open links",
    plant: inPart("accounts", ({ changePassphrase }, { keepers }) => ({
      async changePassphrase(person, hashes, keep) {
        const isChanged = await changePassphrase(person, hashes, keep);
        const at = 0 as Instant;
        if (isChanged)
          await keepers.addSession({ tokenHash: "another", keeper: person, expiresAt: Infinity as Instant }, at);
        return isChanged;
      },
    })),
  },
];

const orderPlants: readonly Plant[] = [
  {
    fault: "mixes the alarm changes of one moment",
    rule: "alarm changes are read in order, those of one moment as they were appended",
    plant: inTransactions(({ appendAlarmChanges }) => ({
      appendAlarmChanges: (feeder, changes) => appendAlarmChanges(feeder, changes.toReversed()),
    })),
  },
  {
    fault: "reads a log from the step itself on",
    rule: "the lines of a log are read in order, as they were written",
    plant: inPart("records", ({ lines }) => ({
      lines: (feeder, after, through, most) => lines(feeder, after - 1, through, most),
    })),
  },
  {
    fault: "counts an event at the end of a span",
    rule: "events are read by when they happened, in order of time",
    plant: inPart("records", ({ events }) => ({
      events: (feeder, from, to, most) => events(feeder, from, (to + 1) as Instant, most),
    })),
  },
  {
    fault: "thins a day that is too young",
    rule: "a thinned day keeps its events and what keepers did; a younger day stays whole",
    plant: inPart("packs", ({ thinNext }) => ({ thinNext: (before) => thinNext((before + 1) as Instant) })),
  },
  {
    fault: "has the oldest alarm changes where there are too many",
    rule: "the latest alarm changes of several feeders are read in order of time",
    plant: inPart("records", ({ latestAlarmChanges }) => ({
      latestAlarmChanges: async (feeders, from, to, most) =>
        (await latestAlarmChanges(feeders, from, to, 1_000)).slice(0, most),
    })),
  },
];

/** Does something to the rows after each commit of steps. */
const afterSteps =
  (change: (tables: Tables, step: SavedStep, before: Tables) => void): Plant["plant"] =>
  (store, database) => ({
    ...store,
    async transaction(work) {
      const [before, saved] = [copyTables(database.read()), [] as SavedStep[]];
      const result = await store.transaction((tx) =>
        work({
          ...tx,
          async saveSteps(steps) {
            await tx.saveSteps(steps);
            saved.push(...steps);
          },
        }),
      );
      await database.write((tables) => {
        for (const step of saved) change(tables, step, before);
      });
      return result;
    },
  });

const mergedRule =
  "a quarter that is closed again is merged into the stored one, all of it, and so are its hour and its day";
const stillThere = ({ rollups }: Tables, level: HistoryLevel, before: Tables) => {
  for (const [key, row] of before.rollups) if (row.level === level && !rollups.has(key)) rollups.set(key, row);
};

const rollupPlants: readonly Plant[] = [
  {
    fault: "replaces a stored quarter by what closes again of it",
    rule: mergedRule,
    plant: afterSteps(({ rollups }, { id: feeder, closedQuarters }) => {
      for (const { from, rollup } of closedQuarters) {
        const row = { feeder, level: "quarter", from, rollup } as const;
        rollups.set(rollupKey(row), row);
      }
    }),
  },
  {
    fault: "merges a late quarter into no hour",
    rule: mergedRule,
    plant: afterSteps(({ rollups }, { id }, before) => {
      for (const [key, row] of before.rollups) if (row.feeder === id && row.level === "hour") rollups.set(key, row);
    }),
  },
  {
    fault: "forgets the hours",
    rule: "the quarters that a step closes are stored with its commit, and merged into hours and days of the zone",
    plant: afterSteps(({ rollups }) => removeWhere(rollups, ({ level }) => level === "hour")),
  },
  {
    fault: "shows roll-ups before the commit",
    rule: "the quarters that a step closes are stored with its commit, and merged into hours and days of the zone",
    plant: asItIs,
    copy: (tables) => ({ ...copyTables(tables), rollups: tables.rollups }),
  },
  {
    fault: "keeps the roll-ups of a transaction that failed",
    rule: "roll-ups of a transaction that fails are as they were, of each level",
    plant: asItIs,
    copy: (tables) => ({ ...copyTables(tables), rollups: tables.rollups }),
  },
  {
    fault: "shows the roll-ups of another feeder",
    rule: "a feeder's roll-ups are its own, also where both have the same quarters",
    plant: inPart("history", ({ rollups }) => ({
      async rollups(feeder, planOf) {
        const [own, other] = [await rollups(feeder, planOf), await rollups("larch", planOf)];
        return own && { ...own, rollups: [...own.rollups, ...(other?.rollups ?? [])] };
      },
    })),
  },
  {
    fault: "makes the hours of every feeder by the zone of the one that moves",
    rule: "another zone has its own hours and days of all quarters, those that close in that step included",
    plant: afterSteps((tables, { state }) => {
      const { zone } = state.settings;
      for (const feeder of tables.feeders.keys()) saveQuarters(tables, feeder, [], { before: "", now: zone });
    }),
  },
  {
    fault: "keeps the hours of the zone before",
    rule: "another zone has its own hours and days of all quarters, those that close in that step included",
    plant: afterSteps((tables, _, before) => stillThere(tables, "hour", before)),
  },
  {
    fault: "has the roll-up that begins where a span ends",
    rule: "the roll-ups of a span are those that begin in it, its end left out, in order of time",
    plant: inPart("history", ({ rollups }) => ({
      rollups: (feeder, planOf) =>
        rollups(feeder, (row) => {
          const plan = planOf(row);
          return { ...plan, to: (plan.to + 1) as Instant };
        }),
    })),
  },
  {
    fault: "leaves out the roll-up that begins with a span",
    rule: "the roll-ups of a span are those that begin in it, its end left out, in order of time",
    plant: inPart("history", ({ rollups }) => ({
      rollups: (feeder, planOf) =>
        rollups(feeder, (row) => {
          const plan = planOf(row);
          return { ...plan, from: (plan.from + 1) as Instant };
        }),
    })),
  },
  {
    fault: "has roll-ups with the newest first",
    rule: "the roll-ups of a span are those that begin in it, its end left out, in order of time",
    plant: inPart("history", ({ rollups }) => ({
      async rollups(feeder, planOf) {
        const found = await rollups(feeder, planOf);
        return found && { ...found, rollups: found.rollups.toReversed() };
      },
    })),
  },
  {
    fault: "leaves a removed feeder's roll-ups to the next one with its id",
    rule: "a removed feeder leaves no roll-ups, also for one that gets its id",
    plant: (store, database) =>
      inPart("yards", ({ removeFeeder }) => ({
        async removeFeeder(id) {
          const before = copyTables(database.read());
          await removeFeeder(id);
          await database.write((tables) => stillThere(tables, "day", before));
        },
      }))(store),
  },
  {
    fault: "keeps roll-ups that the log doesn't give",
    rule: "roll-ups are made again from the log: missing, wrong and needless ones, and no other feeder's",
    plant: (store, database) =>
      inPart("rollups", ({ rebuild }) => ({
        async rebuild(feeder) {
          const before = copyTables(database.read());
          const result = await rebuild(feeder);
          await database.write((tables) => stillThere(tables, "quarter", before));
          return result;
        },
      }))(store),
  },
  {
    fault: "drops the roll-ups whose readings are gone",
    rule: "roll-ups stay as they are where their readings are gone, and are made again after that",
    plant: (store, database) =>
      inPart("rollups", ({ rebuild }) => ({
        async rebuild(feeder) {
          const result = await rebuild(feeder);
          const isOlder = (from: Instant) => result.from !== null && from < result.from;
          await database.write(({ rollups }) =>
            removeWhere(rollups, (row) => row.feeder === feeder && isOlder(row.from)),
          );
          return result;
        },
      }))(store),
  },
];

export const plants = [
  ...transactionPlants,
  ...onceOnlyPlants,
  ...leakPlants,
  ...orderPlants,
  ...rollupPlants,
  ...pagePlants,
];
