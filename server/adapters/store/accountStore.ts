import type { Instant } from "../../domain/instant.ts";
import type { AccountStore, SoleKeeperYard } from "../../ports.ts";
import { createExportKeyStore } from "./exportKeyStore.ts";
import type { Connections, Statements } from "./openStore.ts";
import { makeEscalationsDue } from "./peopleStore.ts";
import { dateOf, instantFrom } from "./rows.ts";
import { deleteYard } from "./yardStore.ts";

export const createAccountStore = (connections: Connections): AccountStore => ({
  ...passphrases(connections),
  ...sessions(connections),
  ...resets(connections),
  ...removal(connections),
  ...createExportKeyStore(connections),
});

function passphrases({
  reader,
  write,
}: Connections): Pick<AccountStore, "passphraseHashOf" | "names" | "changePassphrase"> {
  return {
    async passphraseHashOf(person) {
      const found = await reader.keeper.findUnique({ where: { id: person }, select: { passphraseHash: true } });
      return found?.passphraseHash ?? null;
    },

    async names() {
      const people = await reader.keeper.findMany({ orderBy: { createdAt: "asc" }, select: { name: true } });
      return people.map(({ name }) => name);
    },

    changePassphrase: (person, hashes, keep) =>
      write(async (statements) => {
        const changed = await statements.keeper.updateMany({
          where: { id: person, passphraseHash: hashes.old },
          data: { passphraseHash: hashes.new },
        });
        if (changed.count === 0) return false;
        await statements.session.deleteMany({ where: { keeperId: person, tokenHash: { not: keep } } });
        await statements.passphraseReset.deleteMany({ where: { keeperId: person } });
        await statements.exportKey.deleteMany({ where: { keeperId: person } });
        return true;
      }),
  };
}

function sessions({ reader, write }: Connections): Pick<AccountStore, "sessionsOf" | "endSessions"> {
  return {
    async sessionsOf(person, now) {
      const found = await reader.session.findMany({
        where: { keeperId: person, expiresAt: { gt: dateOf(now) } },
        orderBy: [{ lastSeenAt: "desc" }, { createdAt: "desc" }],
      });
      return found.map(({ tokenHash, device, createdAt, lastSeenAt, expiresAt }) => ({
        tokenHash,
        device,
        createdAt: instantFrom(createdAt),
        lastSeenAt: instantFrom(lastSeenAt),
        expiresAt: instantFrom(expiresAt),
      }));
    },

    endSessions: (person, tokenHashes, exportKeys) =>
      write(async (statements) => {
        await statements.session.deleteMany({ where: { keeperId: person, tokenHash: { in: [...tokenHashes] } } });
        if (exportKeys === "remove") await statements.exportKey.deleteMany({ where: { keeperId: person } });
      }),
  };
}

function resets({ reader, write }: Connections): Pick<AccountStore, "addReset" | "reset" | "useReset"> {
  return {
    addReset: (tokenHash, person, now, expiresAt) =>
      write(async (statements) => {
        await statements.passphraseReset.deleteMany({
          where: { OR: [{ keeperId: person }, { expiresAt: { lte: dateOf(now) } }] },
        });
        await statements.passphraseReset.create({
          data: { tokenHash, keeperId: person, createdAt: dateOf(now), expiresAt: dateOf(expiresAt) },
        });
      }),

    async reset(tokenHash, now) {
      const found = await reader.passphraseReset.findFirst({
        where: { tokenHash, expiresAt: { gt: dateOf(now) } },
        include: { keeper: { select: { id: true, name: true } } },
      });
      return found?.keeper ?? null;
    },

    useReset: (tokenHash, passphraseHash, now) =>
      write(async (statements) => {
        const open = await statements.passphraseReset.findFirst({
          where: { tokenHash, expiresAt: { gt: dateOf(now) } },
        });
        if (!open) return false;
        const { keeperId } = open;
        await statements.passphraseReset.deleteMany({ where: { keeperId } });
        await statements.session.deleteMany({ where: { keeperId } });
        await statements.exportKey.deleteMany({ where: { keeperId } });
        await statements.keeper.update({ where: { id: keeperId }, data: { passphraseHash } });
        return true;
      }),
  };
}

function removal({
  reader,
  write,
  eraseRemoved,
}: Connections): Pick<AccountStore, "soleKeeperYards" | "removeAccount"> {
  return {
    soleKeeperYards: (person) => soleKeeperYards(reader, person),

    async removeAccount(person, withYards, now) {
      const removed = await write(async (statements) => {
        const alone = await soleKeeperYards(statements, person);
        if (alone.some(({ id }) => !withYards.includes(id))) return null;
        const feeders: string[] = [];
        const people = [person];
        for (const { id } of alone) {
          const removed = await deleteYard(statements, id, person);
          feeders.push(...removed.feeders);
          people.push(...removed.people);
        }
        await leaveYards(statements, person, now);
        await statements.keeper.deleteMany({ where: { id: person } });
        return { feeders, people };
      });
      if (removed !== null) await eraseRemoved();
      return removed;
    },
  };
}

async function soleKeeperYards(statements: Statements, person: string): Promise<SoleKeeperYard[]> {
  const found = await statements.yard.findMany({
    where: {
      members: { some: { keeperId: person, role: "keeper" }, none: { keeperId: { not: person }, role: "keeper" } },
    },
    orderBy: { createdAt: "asc" },
    include: { _count: { select: { feeders: true, members: true } } },
  });
  return found.map(({ id, name, practice, _count }) => ({
    id,
    name,
    practice,
    feeders: _count.feeders,
    otherPeople: _count.members - 1,
  }));
}

/** The other people of these yards may be the next to be notified of an active alarm. */
async function leaveYards(statements: Statements, person: string, now: Instant): Promise<void> {
  const left = await statements.member.findMany({ where: { keeperId: person }, select: { yardId: true } });
  await statements.member.deleteMany({ where: { keeperId: person } });
  for (const { yardId } of left) await makeEscalationsDue(statements, { yardId }, now);
}
