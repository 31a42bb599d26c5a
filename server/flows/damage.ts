import { randomUUID } from "node:crypto";
import type { Email } from "../domain/email/email.ts";
import { notificationEmail } from "../domain/email/notificationEmail.ts";
import { after, days, hours, type Instant, minutes, type Span } from "../domain/instant.ts";
import type { NotificationContent } from "../domain/notification/content.ts";
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
 * What notifying keepers of a damaged database needs. The outbox is in that database, so nothing goes through it; the recipients
 * were read while the database could be read.
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
  /** Reads from the database who is to be notified; cheap enough to be called each minute. */
  updateRecipients(): Promise<void>;
  /** Notifies each recipient who is due: at once, after a failure with growing gaps, and once a day while the damage lasts. */
  notify(): Promise<void>;
}

const notifyAgainAfter = days(1);
const retryAfterMax = hours(1);

export function damageNotifier(ports: DamagePorts, publicUrl: string | null, log: DamageLog): DamageNotifier {
  const { clock, store } = ports;
  const list = createRecipientList(ports);
  const schedule = createNotificationSchedule(list);
  let underWay: Promise<void> | null = null;

  const send = async (to: string, sent: Promise<PushOutcome | EmailOutcome>) => {
    const outcome = await sent.catch((err: unknown): PushOutcome => {
      log.error({ err }, "a notification of the damaged database failed");
      return { kind: "tryLater", notBefore: null, text: "internal error" };
    });
    schedule.recordOutcome(to, outcome, clock.now());
    if (outcome.kind !== "accepted") log.warn({ outcome }, "a notification of the damaged database was not accepted");
  };

  const notifyAll = async (damage: StoreDamage) => {
    const now = clock.now();
    const content = damageNotification(damage, store.condition.restoreAdvice());
    const { phones, addresses } = list.recipients();
    const email = damageEmail(content, publicUrl);
    const isDue = schedule.dueAt(damage, now);
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
    updateRecipients: list.update,
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

const damageEmail = (content: NotificationContent, publicUrl: string | null): Email => {
  const link = publicUrl === null ? null : pageAddress(null, publicUrl);
  return notificationEmail(content, { yardName: null, feederName: null, link });
};

interface RecipientList {
  recipients(): DamageRecipients;
  update(): Promise<void>;
  /** When each endpoint or address last got a notification of the present damage. */
  notifiedAt(): Readonly<Record<string, Instant>>;
  recordNotified(to: string, at: Instant): void;
}

/** Who is to be notified, in memory and in a file that can be read without the database. */
function createRecipientList({ store, recipientsFile }: DamagePorts): RecipientList {
  let latest: DamageRecipients | null = null;
  const recipients = (): DamageRecipients => latest ?? recipientsFile.read() ?? { phones: [], addresses: [] };
  const notifiedAt = () => recipientsFile.read()?.notifiedAt ?? {};
  return {
    recipients,
    notifiedAt,
    recordNotified(to, at) {
      const { phones, addresses } = recipients();
      recipientsFile.write({ phones, addresses, notifiedAt: { ...notifiedAt(), [to]: at } });
    },
    async update() {
      const isDamaged = store.condition.damage()?.kind === "damaged";
      if (isDamaged && (latest ?? recipientsFile.read()) !== null) return; // a damaged database may name the wrong people
      const read = await store.damageRecipients();
      const isSame = latest !== null && JSON.stringify(latest) === JSON.stringify(read);
      latest = read;
      const isDamageOver = store.condition.damage() === null && Object.keys(notifiedAt()).length > 0;
      if (isSame && recipientsFile.read() !== null && !isDamageOver) return;
      recipientsFile.write({ ...read, notifiedAt: isDamageOver ? {} : notifiedAt() });
    },
  };
}

interface NotificationSchedule {
  dueAt(damage: StoreDamage, now: Instant): (to: string) => boolean;
  recordOutcome(to: string, outcome: PushOutcome | EmailOutcome, now: Instant): void;
}

/** Lost commits are notified of once; any other damage again after a day. */
function createNotificationSchedule(list: RecipientList): NotificationSchedule {
  const failures = new Map<string, { readonly count: number; readonly nextAt: Instant }>();
  return {
    dueAt(damage, now) {
      const notifiedAt = list.notifiedAt();
      return (to) => {
        const last = notifiedAt[to];
        if (last !== undefined && (damage.kind === "commitsLost" || now < after(last, notifyAgainAfter))) return false;
        return now >= (failures.get(to)?.nextAt ?? now);
      };
    },
    recordOutcome(to, outcome, now) {
      if (outcome.kind === "accepted") {
        failures.delete(to);
        list.recordNotified(to, now);
        return;
      }
      const count = (failures.get(to)?.count ?? 0) + 1;
      const wait = outcome.kind === "tryLater" ? Math.min(retryAfterMax, minutes(2 ** (count - 1))) : notifyAgainAfter;
      failures.set(to, { count, nextAt: after(now, wait as Span) });
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
 * Checks the whole database file and records damage that is found.
 * @returns the result, for the log
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
