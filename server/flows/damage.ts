import { randomUUID } from "node:crypto";
import { notificationEmail } from "../domain/email/notificationEmail.ts";
import { after, days, hours, type Instant, minutes, type Span } from "../domain/instant.ts";
import type { EmailOutcome, PushOutcome } from "../domain/push/outcome.ts";
import { pageAddress } from "../domain/push/payload.ts";
import { damageNotification, type StoreDamage } from "../domain/storeDamage.ts";
import type {
  Clock,
  DamageFile,
  DamageRecipients,
  EmailGateway,
  Phone,
  PushGateway,
  Store,
  StoreCheck,
} from "../ports.ts";

/**
 * Notifies keepers of a damaged database without it: whom, it has learnt while the database could be read. Nothing of this goes
 * through the outbox, which is in that database.
 */
export interface DamagePorts {
  readonly clock: Clock;
  readonly store: Pick<Store, "condition" | "damageRecipients">;
  readonly push: PushGateway;
  readonly email: EmailGateway;
  readonly recipientsFile: DamageFile;
}

export interface DamageLog {
  error(details: object, text: string): void;
  warn(details: object, text: string): void;
}

export interface DamageNotifier {
  /** Learns who is to be notified; to be called now and then, and cheap. */
  updateRecipients(): Promise<void>;
  /** Notifies whoever is due: at once, after a failure with growing gaps, and once a day while the damage lasts. */
  notify(): Promise<void>;
}

const notifyAgainAfter = days(1);
const retryAfterMax = hours(1);

export function damageNotifier(ports: DamagePorts, publicUrl: string | null, log: DamageLog): DamageNotifier {
  const { clock, store, recipientsFile } = ports;
  let known: DamageRecipients | null = null;
  let underWay: Promise<void> | null = null;
  const failures = new Map<string, { readonly count: number; readonly nextAt: Instant }>();

  const recipients = (): DamageRecipients => known ?? recipientsFile.read() ?? { phones: [], addresses: [] };
  const ended = (to: string, outcome: PushOutcome | EmailOutcome, now: Instant) => {
    if (outcome.kind === "accepted") {
      failures.delete(to);
      const { phones, addresses } = recipients();
      recipientsFile.write({ phones, addresses, notifiedAt: { ...recipientsFile.read()?.notifiedAt, [to]: now } });
      return;
    }
    const count = (failures.get(to)?.count ?? 0) + 1;
    const wait = outcome.kind === "tryLater" ? Math.min(retryAfterMax, minutes(2 ** (count - 1))) : notifyAgainAfter;
    failures.set(to, { count, nextAt: after(now, wait as Span) });
    log.warn({ outcome }, "a notification of the damaged database was not taken");
  };
  const send = async (to: string, sent: Promise<PushOutcome | EmailOutcome>) => {
    const outcome = await sent.catch((err: unknown): PushOutcome => {
      log.error({ err }, "a notification of the damaged database failed");
      return { kind: "tryLater", notBefore: null, text: "internal error" };
    });
    ended(to, outcome, clock.now());
  };

  const notifyAll = async (damage: StoreDamage) => {
    const now = clock.now();
    const content = damageNotification(damage, store.condition.restoreAdvice());
    const notifiedAt = recipientsFile.read()?.notifiedAt ?? {};
    const isDue = (to: string) => {
      const last = notifiedAt[to];
      if (last !== undefined && (damage.kind === "commitsLost" || now < after(last, notifyAgainAfter))) return false;
      return now >= (failures.get(to)?.nextAt ?? now);
    };
    const { phones, addresses } = recipients();
    const link = publicUrl === null ? null : pageAddress(null, publicUrl);
    const email = notificationEmail(content, { yardName: null, feederName: null, link });
    await Promise.all([
      ...phones
        .filter(({ endpoint }) => isDue(endpoint))
        .map((phone) => send(phone.endpoint, ports.push.send(phoneOf(phone, now), null, content, now, randomUUID()))),
      ...(ports.email.isConfigured ? addresses : [])
        .filter(isDue)
        .map((to) => send(to, ports.email.send(to, email, randomUUID(), now))),
    ]);
  };

  return {
    async updateRecipients() {
      const isDamaged = store.condition.damage()?.kind === "damaged";
      if (isDamaged && (known ?? recipientsFile.read()) !== null) return; // the last good reading counts
      const read = await store.damageRecipients();
      const isSame = known !== null && JSON.stringify(known) === JSON.stringify(read);
      known = read;
      const kept = recipientsFile.read();
      const isForgotten = store.condition.damage() === null && Object.keys(kept?.notifiedAt ?? {}).length > 0;
      if (isSame && kept !== null && !isForgotten) return;
      recipientsFile.write({ ...read, notifiedAt: isForgotten ? {} : (kept?.notifiedAt ?? {}) });
    },
    async notify() {
      const damage = store.condition.damage();
      if (damage === null) return;
      underWay ??= notifyAll(damage).finally(() => {
        underWay = null;
      });
      await underWay;
    },
  };
}

const phoneOf = (phone: DamageRecipients["phones"][number], now: Instant): Phone => ({
  ...phone,
  addedAt: now,
  lastAcceptedAt: null,
  lastDisplayedAt: null,
  problem: null,
  blockedAt: null,
});

/**
 * Has the whole file read, and notes what is found.
 * @returns what came of it, for the log
 */
export async function checkStore(
  { clock, store }: Pick<DamagePorts, "clock"> & { readonly store: Pick<Store, "condition"> },
  check: StoreCheck,
  within: Span,
): Promise<"whole" | "damaged" | "notFinished"> {
  const problems = await check(within);
  if (problems === null) return "notFinished";
  if (problems.length === 0) return "whole";
  store.condition.recordDamage({ kind: "damaged", foundAt: clock.now(), problem: problems.join("; ") });
  return "damaged";
}
