import { rmSync } from "node:fs";
import Database from "better-sqlite3";
import { inject } from "vitest";
import webpush from "web-push";
import { endpointGuard } from "../../server/adapters/endpointGuard.ts";
import { smtpGateway } from "../../server/adapters/smtpGateway.ts";
import { type OpenStore, openStore } from "../../server/adapters/store/prismaStore.ts";
import { webPush } from "../../server/adapters/webPush.ts";
import { type Instant, instantOf } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import { rebuildState } from "../../server/flows/pure/rebuildState.ts";
import type { EmailGateway, PushGateway } from "../../server/ports.ts";
import { copyDatabase } from "../support/migratedDatabase.ts";
import { type PushService, startPushService } from "../support/pushService.ts";
import { type SmtpServer, startSmtpServer } from "../support/smtpServer.ts";

/** Two openings of one database with a keeper in it who has two phones and a mailbox, and the servers on the way to them. */
export interface OutboxTestbed {
  readonly stores: readonly OpenStore[];
  readonly push: PushService;
  readonly smtp: SmtpServer;
  readonly pushes: PushGateway;
  readonly emails: EmailGateway;
  readonly clock: { now(): Instant; moveTo(at: Instant): void };
  /**
   * Runs one piece of database work after the other. Both processes run in this one, where a lock that the other holds can't be
   * waited for: the wait would stop the other too.
   */
  runExclusively<T>(work: () => Promise<T>): Promise<T>;
  enqueue(channel: "push" | "email", content: NotificationContent): Promise<void>;
  /** The database's state of each item that was ever stored. */
  items(): readonly StoredItem[];
  /** As if nobody had claimed anything. */
  forgetClaims(): void;
  close(): Promise<void>;
}

export interface StoredItem {
  readonly id: string;
  readonly status: string;
  readonly problem: string | null;
  readonly channel: "push" | "email";
  readonly phone: string | null;
  readonly title: string;
  readonly topic: string;
}

const vapid = { subject: "mailto:keeper@pieward.example", ...webpush.generateVAPIDKeys() };
const patience = 60; // of the gateways, in real ms: the servers are on this machine

export async function openOutboxTestbed(): Promise<OutboxTestbed> {
  const start = instantOf("2026-01-15T06:30:00Z");
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  const stores = [await openStore(`file:${file}`, rebuildState), await openStore(`file:${file}`, rebuildState)];
  const database = new Database(file);
  const push = await startPushService();
  const smtp = await startSmtpServer({ tls: "none" });
  const store = stores[0] as OpenStore;
  const ada = { id: "ada", name: "Ada", passphraseHash: "-" };
  await store.keepers.openFirstSignIn("claim", start);
  await store.keepers.useFirstSignIn("claim", ada, start);
  await store.people.changeEmail(ada.id, "ada@alder.example", start);
  const place = { zone: "Europe/Stockholm", place: null, practice: false, digestTime: "07:30", digestWanted: false };
  await store.yards.addYard(
    { id: "alder", name: "Alder Croft", ...place, escalateMinutes: 15, diseaseNotice: null, stillsKeptDays: 30 },
    ada.id,
    start,
  );
  for (const label of ["pocket", "kitchen"]) {
    await store.keepers.savePhone({ ...push.subscribe({ label }), keeper: ada.id });
  }

  let now: Instant = start;
  let last: Promise<unknown> = Promise.resolve();
  const runExclusively = <T>(work: () => Promise<T>): Promise<T> => {
    const own = last.then(work);
    last = own.catch(() => undefined); // its own caller gets the error
    return own;
  };
  const guard = endpointGuard({ allowPrivateEndpoints: true });
  return {
    stores,
    push,
    smtp,
    pushes: webPush({ vapid, publicUrl: null, guard, timeoutMs: patience, tls: { ca: push.ca } }),
    emails: smtpGateway(
      {
        host: "127.0.0.1",
        port: smtp.port,
        tls: "ifOffered",
        login: null,
        from: { name: "Pieward", address: "pieward@alder.example" },
      },
      { connectTimeoutMs: patience, timeoutMs: patience },
    ),
    clock: {
      now: () => now,
      moveTo: (at) => {
        now = at;
      },
    },
    runExclusively,
    enqueue: (channel, content) =>
      store.transaction((tx) => tx.enqueue({ person: ada.id, channel, yard: "alder", feeder: null, content }, now)),
    items: () =>
      database
        .prepare<[], StoredItem>(
          `SELECT "id", "status", "problem", "channel", "phoneId" AS "phone", "topic",
             json_extract("content", '$.title') AS "title" FROM "OutboxItem" ORDER BY rowid`,
        )
        .all(),
    forgetClaims: () => void database.prepare(`UPDATE "OutboxItem" SET "claimedUntil" = NULL`).run(),
    async close() {
      await push.close();
      await smtp.close();
      database.close();
      for (const one of stores) await one.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
